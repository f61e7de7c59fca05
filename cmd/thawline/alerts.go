package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast/archive"
)

func alertsCommand(g *globals) *cobra.Command {
	cmd := &cobra.Command{Use: "alerts", Short: "What people were told, and why"}
	list := &cobra.Command{
		Use: "list", Short: "Lists the last messages, the newest first",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withLedger(cmd, g, func(l *ledger.Ledger) error {
				recent, err := l.Recent(cmd.Context(), 50)
				if err != nil {
					return err
				}
				if g.json {
					return writeJSON(cmd.OutOrStdout(), recent)
				}
				var b strings.Builder
				for _, v := range recent {
					fmt.Fprintf(&b, "%s  %s %s %s %s  %s\n", v.MadeAt.Format("2006-01-02 15:04"), padded(v.Site, 10), padded(string(v.Kind), 12), padded(v.Person, 10), padded(string(v.State), 8), v.DecisionID)
				}
				return printAll(cmd.OutOrStdout(), b.String())
			})
		},
	}
	list.Args = noArguments
	explain := &cobra.Command{
		Use: "explain ID", Short: "Says why something was told, and how it went",
		Args: oneArgument("the id of a decision or a delivery, from list"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withLedger(cmd, g, func(l *ledger.Ledger) error {
				d, at, deliveries, err := l.Decision(cmd.Context(), args[0])
				if errors.Is(err, ledger.ErrNone) {
					return fmt.Errorf("%s: %w; thawline alerts list shows the ids", args[0], err)
				}
				if err != nil {
					return err
				}
				var b strings.Builder
				fmt.Fprintf(&b, "%s at %s, decided %s, of use until %s\n", d.Kind, d.Site, at.Format("2006-01-02 15:04 UTC"), d.Until.UTC().Format("2006-01-02 15:04 UTC"))
				for _, w := range d.Why {
					fmt.Fprintf(&b, "  because: %s\n", w)
				}
				for i := range deliveries {
					v := &deliveries[i]
					fmt.Fprintf(&b, "to %s, %s: %s\n", v.Person, v.State, v.Words)
					tries, err := l.Attempts(cmd.Context(), v.ID)
					if err != nil {
						return err
					}
					for _, a := range tries {
						fmt.Fprintf(&b, "  %s %s %s: %s\n", a.At.Format("01-02 15:04:05"), a.Channel, a.Outcome, a.Said)
					}
					if !v.AckedAt.IsZero() {
						fmt.Fprintf(&b, "  seen %s\n", v.AckedAt.Format("01-02 15:04"))
					}
				}
				return printAll(cmd.OutOrStdout(), b.String())
			})
		},
	}
	addresses := &cobra.Command{
		Use: "addresses", Short: "The unguessable addresses of calendars, feeds and of texts that come in",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.settings()
			if err != nil {
				return err
			}
			base := settings.Serve.Link
			if base == "" {
				base = "http://" + settings.Serve.Listen
			}
			return withLedger(cmd, g, func(l *ledger.Ledger) error {
				var b strings.Builder
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
				return printAll(cmd.OutOrStdout(), b.String())
			})
		},
	}
	addresses.Args = noArguments
	cmd.AddCommand(list, explain, addresses)
	cmd.RunE = func(c *cobra.Command, _ []string) error {
		return &wrongUse{"list, explain or addresses? see " + c.CommandPath() + " --help"}
	}
	return cmd
}

func withLedger(cmd *cobra.Command, g *globals, do func(*ledger.Ledger) error) error {
	return withArchive(cmd, g, func(_ *config.Config, a *archive.Archive) error { return do(ledger.New(a.DB())) })
}
