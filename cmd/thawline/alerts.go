package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/api"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast/archive"
)

func alertsCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "alerts", Aliases: []string{"messages"}, Short: "Messages that were sent, and why"}
	list := &cobra.Command{
		Use: "list", Short: "Lists the last messages, newest first",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				recent, err := ledger.New(a.DB()).Recent(cmd.Context(), 50)
				if err != nil {
					return err
				}
				if g.JSON {
					messages := []api.Message{}
					for i := range recent {
						messages = append(messages, api.MessageOf(&recent[i]))
					}
					return cli.WriteJSON(cmd.OutOrStdout(), messages)
				}
				var b strings.Builder
				for _, v := range recent {
					fmt.Fprintf(&b, "%s  %s %s %s %s  %s\n", v.MadeAt.In(zoneOf(settings, v.Site)).Format("2006-01-02 15:04 MST"),
						cli.Pad(v.Site, 10), cli.Pad(string(v.Kind), 12), cli.Pad(v.Person, 10), cli.Pad(string(v.State), 8), v.DecisionID)
				}
				return cli.Print(cmd.OutOrStdout(), b.String())
			})
		},
	}
	list.Args = cli.NoArguments
	explain := &cobra.Command{
		Use: "explain ID", Short: "Says why a message was sent, and whether it arrived",
		Args: cli.OneArgument("the id of a decision or a delivery, from list"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				e, err := explained(cmd.Context(), ledger.New(a.DB()), args[0])
				if errors.Is(err, ledger.ErrNone) {
					return fmt.Errorf("%s: %w; thawline alerts list shows the ids", args[0], err)
				}
				if err != nil {
					return err
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), e)
				}
				return cli.Print(cmd.OutOrStdout(), e.text(zoneOf(settings, e.Site)))
			})
		},
	}
	addresses := &cobra.Command{
		Use: "addresses", Short: "Shows the secret addresses of calendars, feeds and incoming texts",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				base, l := settings.Serve.Link, ledger.New(a.DB())
				if base == "" {
					base = "http://" + settings.Serve.Listen
				}
				gateway, err := daemon.Address(cmd.Context(), l, "in", daemon.GatewayAddress)
				if err != nil {
					return err
				}
				var b strings.Builder
				fmt.Fprintf(&b, "%s\n  %s/in/%s\n", g.Words().Phrase("All texts of a gateway's number come in at"), base, gateway)
				for i := range settings.Sites {
					site := &settings.Sites[i]
					feeds, err1 := daemon.Address(cmd.Context(), l, "feed", site.ID)
					texts, err2 := daemon.Address(cmd.Context(), l, "in", site.ID)
					if err := errors.Join(err1, err2); err != nil {
						return err
					}
					fmt.Fprintf(&b, "%s\n  calendar      %[2]s/f/%[3]s/calendar.ics\n  news          %[2]s/f/%[3]s/news.atom\n  warnings      %[2]s/f/%[3]s/warning.cap\n  texts come in %[2]s/in/%[4]s\n", site.Name, base, feeds, texts)
				}
				for i := range settings.People {
					push, err := daemon.Address(cmd.Context(), l, "push", settings.People[i].ID)
					if err != nil {
						return err
					}
					fmt.Fprintf(&b, "%s\n  this device   %s/p/%s\n", settings.People[i].Name, base, push)
				}
				b.WriteString("Whoever knows an address can read along, or write as far as the number is known. Keep them to yourselves.\n")
				return cli.Print(cmd.OutOrStdout(), b.String())
			})
		},
	}
	addresses.Args = cli.NoArguments
	cmd.AddCommand(list, explain, verdictsCommand(g), addresses)
	cmd.RunE = cli.NeedsMore("list, explain, verdicts or addresses?")
	return cmd
}

// zoneOf is a site's zone, UTC for one that is not in the settings any more.
func zoneOf(c *config.Config, site string) *time.Location {
	for i := range c.Sites {
		if c.Sites[i].ID == site {
			return c.Sites[i].Zone
		}
	}
	return time.UTC
}

// explanation is why something was told, and how it went.
type explanation struct {
	Kind      string         `json:"kind"`
	Site      string         `json:"site"`
	DecidedAt time.Time      `json:"decided_at"`
	UsefulTo  time.Time      `json:"useful_to"`
	Urgent    bool           `json:"urgent"`
	Why       []string       `json:"why"`
	Messages  []triedMessage `json:"messages"`
}

type triedMessage struct {
	api.Message
	Attempts []attempt `json:"attempts"`
}

type attempt struct {
	At      time.Time `json:"at"`
	Channel string    `json:"channel"`
	Outcome string    `json:"outcome"`
	Said    string    `json:"said"`
}

func explained(ctx context.Context, l *ledger.Ledger, id string) (*explanation, error) {
	d, at, deliveries, err := l.Decision(ctx, id)
	if err != nil {
		return nil, err
	}
	e := &explanation{Kind: string(d.Kind), Site: d.Site, DecidedAt: at.UTC(), UsefulTo: d.Until.UTC(), Urgent: d.Urgent,
		Why: append([]string{}, d.Why...), Messages: []triedMessage{}}
	for i := range deliveries {
		m := triedMessage{api.MessageOf(&deliveries[i]), []attempt{}}
		tries, err := l.Attempts(ctx, deliveries[i].ID)
		if err != nil {
			return nil, err
		}
		for _, a := range tries {
			m.Attempts = append(m.Attempts, attempt{a.At, a.Channel, a.Outcome, a.Said})
		}
		e.Messages = append(e.Messages, m)
	}
	return e, nil
}

func (e *explanation) text(zone *time.Location) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s at %s, decided %s, of use until %s\n", e.Kind, e.Site, e.DecidedAt.In(zone).Format("2006-01-02 15:04 MST"),
		e.UsefulTo.In(zone).Format("2006-01-02 15:04 MST"))
	for _, w := range e.Why {
		fmt.Fprintf(&b, "  because: %s\n", w)
	}
	for _, m := range e.Messages {
		fmt.Fprintf(&b, "to %s, %s: %s\n", m.Person, m.State, m.Text)
		for _, a := range m.Attempts {
			fmt.Fprintf(&b, "  %s %s %s: %s\n", a.At.In(zone).Format("01-02 15:04:05"), a.Channel, a.Outcome, a.Said)
		}
		if m.SeenAt != nil {
			fmt.Fprintf(&b, "  seen %s\n", m.SeenAt.In(zone).Format("01-02 15:04"))
		}
	}
	return b.String()
}
