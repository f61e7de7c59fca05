package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
)

func membersCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "members", Short: "An association's bushes and people, kept in the database"}
	cmd.AddCommand(membersKeyCommand(g), membersResealCommand(g), membersImportCommand(g), membersListCommand(g), membersShowCommand(g),
		membersSetCommand(g), membersPauseCommand(g), membersInviteCommand(g), membersRemoveCommand(g), membersLogCommand(g),
		membersGiveCommand(g), membersForgetCommand(g))
	cmd.RunE = cli.NeedsMore("key, reseal, import, list, show, set, pause, invite, remove, log, give or forget?")
	return cmd
}

// withDesk opens the office of the settings for one piece of work.
func withDesk(cmd *cobra.Command, g *cli.Globals,
	do func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error) error {
	base, err := g.Settings()
	if err != nil {
		return err
	}
	if !base.MembersKey.Given() {
		return cli.WrongUse(`the settings keep no members in the database: "thawline members key FILE" writes a key; name it with members_key_file`)
	}
	a, err := app.OpenArchive(cmd.Context(), base)
	if err != nil {
		return err
	}
	defer a.Close()
	l := ledger.New(a.DB())
	service := auth.New(a.DB(), l.Key, g.Log, g.Clock)
	service.SetSettings(app.AuthSettings(base))
	d, err := app.OpenDesk(base, a, l, service, func() *config.Config { return base })
	if err != nil {
		return err
	}
	err = do(cmd.Context(), d, members.Author{Name: cli.Author(), Way: members.ByCommand}, g.Clock())
	var wrong members.Wrong
	if errors.As(err, &wrong) || errors.Is(err, members.ErrNone) {
		return cli.WrongUse(err.Error())
	}
	return err
}

func membersKeyCommand(g *cli.Globals) *cobra.Command {
	change := false
	cmd := &cobra.Command{
		Use: "key FILE", Short: "Writes a new key with which members' numbers are sealed", Args: cli.OneArgument("a new file to write to"),
		Example: "  thawline members key /etc/thawline/members-key\n  thawline members key /etc/thawline/members-key-2027 --change",
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := os.Stat(args[0]); err == nil {
				return cli.WrongUse(args[0] + " is there already: what was sealed with it can't be read without it; name a new file")
			}
			key, err := members.NewKey()
			if err != nil {
				return err
			}
			then := ""
			if change {
				base, err := g.Settings()
				if err != nil {
					return err
				}
				if !base.MembersKey.Given() {
					return cli.WrongUse("the settings have no key yet: leave out --change")
				}
				key += " " + base.MembersKey.Reveal()
				then = g.Words().Phrase("restart thawline, then: thawline members reseal") + "\n"
			}
			if err := renameio.WriteFile(args[0], []byte(key+"\n"), 0o600); err != nil {
				return err
			}
			full, err := filepath.Abs(args[0])
			if err != nil {
				full = args[0]
			}
			return g.Tell(cmd, map[string]string{"file": full},
				g.Words().Phrase("written; keep a copy apart from the backups of the database, and name it in the settings:")+"\nmembers_key_file: "+full+"\n"+then)
		},
	}
	cmd.Flags().BoolVar(&change, "change", false,
		"in the place of the settings' key, which stays behind the new one until all is sealed anew")
	return cmd
}

func membersResealCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "reseal", Short: "Seals members' numbers with the first key of the file; may be cut short and begun again",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, _ members.Author, _ time.Time) error {
				n, err := d.Reseal(ctx)
				if err != nil {
					return err
				}
				return g.Tell(cmd, map[string]int{"resealed": n},
					fmt.Sprintf("%d %s\n", n,
						g.Words().Phrase(
							"sealed anew; take the old key out of the file when every daemon has been restarted with the new one")))
			})
		},
	}
}

func membersImportCommand(g *cli.Globals) *cobra.Command {
	invite := ""
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Takes bushes and people from a CSV table; the same table again changes nothing",
		Args:    cli.OneArgument("a CSV table, or - for what is piped in"),
		Example: "  thawline members import members.csv --invite text",
		RunE: func(cmd *cobra.Command, args []string) error {
			data, err := readTable(cmd, args[0])
			if err != nil {
				return err
			}
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				by.Way = members.ByCSV
				done, err := d.Import(ctx, args[0], data, invite, by, now)
				if err != nil {
					return err
				}
				var b strings.Builder
				for _, line := range done.LeftOut {
					b.WriteString(line + "\n")
				}
				for _, i := range done.Invited {
					if !i.Sent {
						b.WriteString(i.Person + " " + i.Link + "\n")
					}
				}
				fmt.Fprintf(&b, "%s\n", g.Words().Say("desk_imported",
					map[string]any{"Added": done.Added, "Changed": done.Changed, "Same": done.Same, "LeftOut": len(done.LeftOut)}))
				return g.Tell(cmd, done, b.String())
			})
		},
	}
	cmd.Flags().StringVar(&invite, "invite", "", "invite the people who are new by `WAY`: link or text")
	return cmd
}

func readTable(cmd *cobra.Command, name string) ([]byte, error) {
	if name == "-" {
		return io.ReadAll(cmd.InOrStdin())
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, cli.WrongUse(err.Error())
	}
	return data, nil
}

// memberArgument reads "bush hill" or "person robin".
func memberArgument(cmd *cobra.Command, args []string) error {
	if len(args) < 2 || !slices.Contains([]string{config.Bush, config.Member}, args[0]) {
		return cli.WrongUse("write bush or person, and its id; see " + cmd.CommandPath() + " --help")
	}
	return nil
}

func membersListCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "Lists the bushes and people that the database keeps",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, _ members.Author, _ time.Time) error {
				all, err := d.All(ctx)
				if err != nil {
					return err
				}
				documents, rows := []map[string]any{}, [][]string{}
				for i := range all {
					k := &all[i]
					documents = append(documents, map[string]any{"kind": k.Kind, "revision": k.Revision, "values": k.Shown()})
					rows = append(rows, []string{k.Kind, k.ID, fmt.Sprint(cli.Or(asText(k.Values["name"]), "–")), members.Masked(k.Phone)})
				}
				return g.Tell(cmd, documents, cli.Columns(rows))
			})
		},
	}
}

func asText(value any) string {
	if value == nil {
		return ""
	}
	return fmt.Sprint(value)
}

func membersShowCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "show bush|person ID", Short: "Shows what is kept of a bush or person", Args: memberArgument,
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, _ members.Author, _ time.Time) error {
				k, err := d.One(ctx, args[0], args[1])
				if err != nil {
					return err
				}
				return cli.WriteJSON(cmd.OutOrStdout(), k.Shown())
			})
		},
	}
}

func membersSetCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "set bush|person ID KEY=VALUE...", Short: "Changes settings of a bush or person; KEY= takes one away", Args: memberArgument,
		Example: "  thawline members set person robin quiet_hours=21:00-06:00 phone=+18025550123\n  thawline members set bush hill shares.place=yes",
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				before, err := d.One(ctx, args[0], args[1])
				if err != nil {
					return err
				}
				for _, pair := range args[2:] {
					key, value, given := strings.Cut(pair, "=")
					if !given {
						return cli.WrongUse(pair + ": write it like KEY=VALUE")
					}
					members.Set(before.Values, key, value)
				}
				_, changed, err := d.Save(ctx,
					[]members.Kept{members.Written(before.Kind, before.ID, before.Values, before.Revision, &before)}, by, now)
				if err != nil {
					return err
				}
				return g.Tell(cmd, map[string]int{"changed": changed}, g.Words().Phrase("kept")+"\n")
			})
		},
	}
}

func membersPauseCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "pause ID HOW-LONG", Short: `Keeps messages from a person: "5 days", until a date, or "no" to end it`,
		Example: `  thawline members pause robin "5 days"`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return cli.WrongUse("write the person's id and how long; see " + cmd.CommandPath() + " --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				until, err := d.Pause(ctx, args[0], strings.Join(args[1:], " "), by, now)
				if err != nil {
					return cli.WrongUse(err.Error())
				}
				return g.Tell(cmd, map[string]string{"paused_until": until}, cli.Or(until, g.Words().Phrase("no pause"))+"\n")
			})
		},
	}
}

func membersInviteCommand(g *cli.Globals) *cobra.Command {
	way := members.InviteByLink
	cmd := &cobra.Command{
		Use: "invite ID...", Short: "Invites people: they choose a password by a link, which is printed or sent",
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				list, err := d.Invite(ctx, args, way, by, now)
				if err != nil {
					return err
				}
				var b strings.Builder
				for _, i := range list {
					b.WriteString(i.Person + " " + cli.Or(i.Link, g.Words().Phrase("sent")) + "\n")
				}
				return g.Tell(cmd, list, b.String())
			})
		},
	}
	cmd.Flags().StringVar(&way, "by", way, "invite by `WAY`: link or text")
	return cmd
}

func membersRemoveCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "remove bush|person ID", Short: "Takes a bush or person out; its records stay", Args: memberArgument,
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				if err := d.Remove(ctx, args[0], args[1], by, now); err != nil {
					return err
				}
				return g.Tell(cmd, map[string]string{"removed": args[1]}, g.Words().Phrase("taken out")+"\n")
			})
		},
	}
}

// mostLogged is how many changes the command prints.
const mostLogged = 200

func membersLogCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "log [bush|person ID]", Short: "Shows who changed what, before and after, the newest first",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return memberArgument(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, _ members.Author, _ time.Time) error {
				kind, id := "", ""
				if len(args) > 1 {
					kind, id = args[0], args[1]
				}
				list, err := d.Log(ctx, kind, id, mostLogged)
				if err != nil {
					return err
				}
				var b strings.Builder
				for _, c := range list {
					fmt.Fprintf(&b, "%s %s (%s) %s %s %s\n  %s\n  %s\n", c.At.UTC().Format(time.RFC3339), c.By, c.Way, c.What, c.Kind,
						c.Member, c.Said, c.Says)
				}
				return g.Tell(cmd, members.Lines(list), b.String())
			})
		},
	}
}

func membersGiveCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "give ID", Short: "Prints all that is kept of a person and their bushes, for them", Args: cli.OneArgument("the person's id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				all, err := d.Give(ctx, args[0], by, now)
				if err != nil {
					return err
				}
				return cli.WriteJSON(cmd.OutOrStdout(), all)
			})
		},
	}
}

func membersForgetCommand(g *cli.Globals) *cobra.Command {
	sure := false
	cmd := &cobra.Command{
		Use: "forget ID", Short: "Forgets a person, and the bushes that nobody else has with all their records",
		Args: cli.OneArgument("the person's id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !sure {
				return cli.WrongUse("nothing of it comes back but from a backup: say --sure, and \"thawline members give\" first if they want it")
			}
			return withDesk(cmd, g, func(ctx context.Context, d *members.Desk, by members.Author, now time.Time) error {
				gone, err := d.ForgetAll(ctx, args[0], by, now)
				if err != nil {
					return err
				}
				return g.Tell(cmd, gone,
					g.Words().Say("desk_forgotten",
						map[string]any{"Person": gone.Person, "Bushes": strings.Join(gone.Bushes, ", "), "Rows": gone.Rows})+"\n")
			})
		},
	}
	cmd.Flags().BoolVar(&sure, "sure", false, "yes, forget all of it")
	return cmd
}
