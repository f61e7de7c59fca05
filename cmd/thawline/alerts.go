package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/ledger"
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
	cmd.AddCommand(list, explain)
	cmd.RunE = func(c *cobra.Command, _ []string) error {
		return &wrongUse{"list or explain? see " + c.CommandPath() + " --help"}
	}
	return cmd
}

func withLedger(cmd *cobra.Command, g *globals, do func(*ledger.Ledger) error) error {
	settings, err := g.settings()
	if err != nil {
		return err
	}
	a, err := openArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(ledger.New(a.DB()))
}
