package main

import (
	"errors"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/intake"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// recordsTapsCommand writes down what was done to the taps of a group.
func recordsTapsCommand(g *cli.Globals, verb string, kind records.TapKind) *cobra.Command {
	short := map[records.TapKind]string{
		records.Pulled: "Records that a group's taps are pulled: no more is said of it",
		records.Tapped: "Records that a group is tapped, or tapped again",
	}
	var bush cli.SiteFlag
	on := ""
	cmd := &cobra.Command{
		Use: verb + " GROUP", Short: short[kind], Example: "  thawline records " + verb + " ridge\n  thawline records " + verb +
			" ridge --on 2026-04-08",
		Args: cli.OneArgument("one group, by its id or name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				e := records.TapEvent{Group: args[0], Kind: kind, On: g.Clock().In(site.Zone).Truncate(time.Second)}
				if on != "" {
					at, dateOnly, err := cli.When("--on", on, g.Clock(), site.Zone, false)
					if err != nil {
						return err
					}
					if e.On = at; dateOnly {
						e.OnDay(at, site.Zone)
					}
				}
				return noteTap(cmd, g, c, a, site, e)
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().StringVar(&on, "on", "", "`DAY` it was done: yesterday, Apr 8, 2026-04-08 (default: now)")
	return cmd
}

func noteTap(cmd *cobra.Command, g *cli.Globals, c *config.Config, a *archive.Archive, site *forecast.Site, e records.TapEvent) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	noted, err := intake.Service{Archive: a}.NoteTap(cmd.Context(), site, cli.Writer(), e, g.Clock())
	if said, known := intake.SayTapFault(words, err); known {
		return cli.WrongUse(said)
	}
	if err != nil {
		return err
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(),
			map[string]any{"id": noted.ID, "site": site.ID, "group": noted.Event.Group, "taps_event": noted.Event.Kind,
				"on": noted.Event.On, "date_only": noted.Event.DateOnly,
				"outcome": noted.Outcome, "pulled": !noted.Pulled.IsZero()})
	}
	return cli.Print(cmd.OutOrStdout(), noted.Say(words, site)+"\n")
}

// checkTaps refuses a file whose records of taps can't be kept.
func checkTaps(g *cli.Globals, c *config.Config, site *forecast.Site, path string, events []records.TapEvent) error {
	faults := intake.CheckTaps(site, events, g.Clock())
	if len(faults) == 0 {
		return nil
	}
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	said := []string{words.Say("records_refused", nil)}
	for _, f := range faults {
		line, _ := intake.SayTapFault(words, f)
		said = append(said, path+": "+line)
	}
	return errors.New(strings.Join(append(said, words.Say("records_put_right", nil)), "\n"))
}

// keepTaps keeps what a file says of taps, as of the moment when it was read, and says how
// much of it is new.
func keepTaps(cmd *cobra.Command, g *cli.Globals, c *config.Config, events []records.TapEvent, now time.Time) error {
	if len(events) == 0 {
		return nil
	}
	return cli.WithArchive(cmd, g, func(_ *config.Config, a *archive.Archive) error {
		words, err := app.Words(c)
		if err != nil {
			return err
		}
		puts, err := a.PutTaps(cmd.Context(), events, cli.Author(), now)
		if err != nil {
			return err
		}
		fresh := 0
		for i := range puts {
			if puts[i].Outcome != archive.Same {
				fresh++
			}
		}
		if g.JSON { // what becomes of the visits is told
			return nil
		}
		return cli.Print(cmd.OutOrStdout(), words.PluralWith("records_taps_added", fresh, nil)+"\n")
	})
}

// tapsDocument is a list of records of taps as JSON, with the keys that visits have.
func tapsDocument(list []archive.StoredTap) []map[string]any {
	var out []map[string]any
	for i := range list {
		s := &list[i]
		out = append(out, map[string]any{"id": s.ID, "site": s.Site, "group": s.Group, "collected_at": s.On, "date_only": s.DateOnly,
			"taps": 0, "volume_l": nil, "brix": nil, "note": "",
			"taps_event": s.Kind, "revision": s.Revision, "recorded_at": s.RecordedAt, "recorded_by": s.RecordedBy})
	}
	return out
}
