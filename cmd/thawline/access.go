package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/units"
)

func accessCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "access", Short: "Logins: set-up code, links for helpers, tokens for programs"}
	cmd.AddCommand(accessCodeCommand(g), accessLinkCommand(g), accessTokenCommand(g), accessListCommand(g), accessWithdrawCommand(g))
	cmd.RunE = cli.NeedsMore("code, link, token, list or withdraw?")
	return cmd
}

// withAuth opens the way in of the settings for one piece of work.
func withAuth(cmd *cobra.Command, g *cli.Globals, do func(*auth.Service) error) error {
	return withAuthOf(cmd, g, func(_ *config.Config, service *auth.Service) error { return do(service) })
}

// withAuthOf is withAuth for those who need the settings as well.
func withAuthOf(cmd *cobra.Command, g *cli.Globals, do func(*config.Config, *auth.Service) error) error {
	return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		service := auth.New(a.DB(), ledger.New(a.DB()).Key, g.Log, g.Clock)
		service.SetSettings(app.AuthSettings(c))
		return do(c, service)
	})
}

func accessCodeCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use:   "code",
		Short: "Makes a new set-up code; the first keeper chooses a password with it",
		Args:  cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withAuth(cmd, g, func(service *auth.Service) error {
				needed, err := service.SetUpNeeded(cmd.Context())
				if err != nil {
					return err
				}
				if !needed {
					return cli.WrongUse(
						"nothing is to be set up: no login is asked for, or a keeper has a password; thawline access link --person ID invites somebody")
				}
				code, err := service.SetUpCode(cmd.Context())
				if err != nil {
					return err
				}
				return g.Tell(cmd, map[string]string{"code": code, "page": service.Address("/setup")}, code+"\n")
			})
		},
	}
}

func accessLinkCommand(g *cli.Globals) *cobra.Command {
	l := auth.Link{}
	role := ""
	cmd := &cobra.Command{
		Use:   "link",
		Short: "Makes a link: a helper comes in with it until it expires, or a person chooses a password",
		Example: "  thawline access link --name \"Saturday helpers\" --role crew --site hill --days 3\n" +
			"  thawline access link --person robin",
		Args: cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withAuthOf(cmd, g, func(c *config.Config, service *auth.Service) error {
				if err := errors.Join(knownSite(c, l.Site), knownPerson(c, l.Person)); err != nil {
					return cli.WrongUse(err.Error())
				}
				l.Kind, l.Role = auth.CrewLink, auth.Role(role)
				if l.Person != "" {
					l.Kind = auth.PasswordLink
				}
				token, err := service.MakeLink(cmd.Context(), l, web.ByCommand)
				if err != nil {
					return cli.WrongUse(err.Error())
				}
				address := service.Address("/l/" + token)
				return g.Tell(cmd, map[string]string{"link": address}, address+"\n")
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&l.Name, "name", "", "`NAME` of who gets it, for the list")
	f.StringVar(&l.Person, "person", "", "`ID` of a person in the settings, who chooses a password with it, once")
	f.StringVar(&role, "role", string(auth.Crew), "`ROLE`: crew or viewer")
	f.StringVar(&l.Site, "site", "", "`ID` of the only site it shows")
	f.IntVar(&l.Days, "days", 3, "for how many `DAYS`")
	return cmd
}

func accessTokenCommand(g *cli.Globals) *cobra.Command {
	t := auth.Token{}
	var scopes []string
	known := make([]string, 0, len(auth.Scopes()))
	for _, s := range auth.Scopes() {
		known = append(known, string(s))
	}
	cmd := &cobra.Command{
		Use:     "token",
		Short:   "Makes a token for a program that uses the API",
		Example: "  thawline access token --name \"scale in the sugarhouse\" --scopes records:write --days 120",
		Args:    cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withAuthOf(cmd, g, func(c *config.Config, service *auth.Service) error {
				if err := knownSite(c, t.Site); err != nil {
					return cli.WrongUse(err.Error())
				}
				for _, s := range scopes {
					if !slices.Contains(known, s) {
						return cli.WrongUse("--scopes " + s + ": tokens are not good for that; " +
							units.Suggest(s, known, "write some of "+strings.Join(known, ", ")))
					}
					t.Scopes = append(t.Scopes, auth.Scope(s))
				}
				token, err := service.MakeToken(cmd.Context(), t, web.ByCommand)
				if err != nil {
					return cli.WrongUse(err.Error())
				}
				return g.Tell(cmd, map[string]string{"token": token}, token+"\n")
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&t.Name, "name", "", "`NAME` of what it is for, for the list")
	f.StringSliceVar(&scopes, "scopes", nil, "what it may do: "+strings.Join(known, ", "))
	f.StringVar(&t.Site, "site", "", "`ID` of the only site it is for")
	f.IntVar(&t.Days, "days", 90, "for how many `DAYS`")
	return cmd
}

// knownSite fails where a site is named that the settings do not have.
func knownSite(c *config.Config, id string) error {
	ids := make([]string, len(c.Sites))
	for i := range c.Sites {
		ids[i] = c.Sites[i].ID
	}
	return knownID("--site", id, "site", ids)
}

func knownPerson(c *config.Config, id string) error {
	ids := make([]string, len(c.People))
	for i := range c.People {
		ids[i] = c.People[i].ID
	}
	return knownID("--person", id, "person", ids)
}

func knownID(flag, id, what string, ids []string) error {
	if id == "" || slices.Contains(ids, id) {
		return nil
	}
	const most = 20 // of an association's thousands
	list := strings.Join(ids[:min(len(ids), most)], ", ")
	if len(ids) > most {
		list += " …"
	}
	return fmt.Errorf("%s %s: there is no such %s; %s", flag, id, what, units.Suggest(id, ids, "the settings have "+cli.Or(list, "none")))
}

// granted is a link or token in a list.
type granted struct {
	ID    string    `json:"id"`
	Kind  string    `json:"kind"`
	Name  string    `json:"name"`
	Of    string    `json:"of"` // role or scopes
	Site  string    `json:"site,omitempty"`
	Until time.Time `json:"until"`
	Good  bool      `json:"good"`
}

func accessListCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "Lists links and tokens; the secrets themselves are not kept",
		Args:  cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withAuth(cmd, g, func(service *auth.Service) error {
				list := []granted{}
				links, err := service.Links(cmd.Context())
				if err != nil {
					return err
				}
				for _, l := range links {
					list = append(list, granted{l.ID, "link", l.Name, string(l.Role), l.Site, l.ExpiresAt, l.Good(g.Clock())})
				}
				tokens, err := service.Tokens(cmd.Context())
				if err != nil {
					return err
				}
				for _, t := range tokens {
					var scopes []string
					for _, s := range t.Scopes {
						scopes = append(scopes, string(s))
					}
					list = append(list, granted{t.ID, "token", t.Name, strings.Join(scopes, " "), t.Site, t.ExpiresAt, t.Good(g.Clock())})
				}
				var b strings.Builder
				for _, one := range list {
					state := "until " + one.Until.Format(time.DateOnly)
					if !one.Good {
						state = "ended"
					}
					fmt.Fprintf(&b, "%s %-6s %s (%s %s) %s\n", one.ID, one.Kind, one.Name, one.Of, cli.Or(one.Site, "all sites"), state)
				}
				return g.Tell(cmd, list, b.String())
			})
		},
	}
}

func accessWithdrawCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use:   "withdraw ID",
		Short: "Cancels a link or token, and logs out whoever used it",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return cli.WrongUse("name the link or token by its id; thawline access list shows the ids")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return withAuth(cmd, g, func(service *auth.Service) error { return service.Withdraw(cmd.Context(), args[0]) })
		},
	}
}
