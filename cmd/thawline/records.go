package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

func recordsCommand(g *globals) *cobra.Command {
	cmd := &cobra.Command{Use: "records", Short: "What was collected: adds, imports, lists, exports"}
	cmd.AddCommand(recordsAddCommand(g), recordsImportCommand(g), recordsListCommand(g), recordsExportCommand(g), recordsChangeCommand(g, "remove"), recordsChangeCommand(g, "undo"))
	cmd.RunE = needsMore("add, import, list, export, remove or undo?")
	return cmd
}

// holdsOf tells what a site's groups can hold.
func holdsOf(s *forecast.Site) func(v *records.Visit) records.Holds {
	return func(v *records.Visit) records.Holds {
		for i := range s.Groups {
			g := &s.Groups[i]
			if g.ID != v.Group && (v.Group != "" || len(s.Groups) != 1) {
				continue
			}
			h := records.Holds{Taps: g.Taps, CapacityL: g.ContainerL * float64(g.Taps)}
			for _, t := range s.Tanks {
				if t.ID == g.TankID {
					h.CapacityL = t.VolumeL
				}
			}
			return h
		}
		return records.Holds{}
	}
}

func recordsAddCommand(g *globals) *cobra.Command {
	var bush bushFlag
	var group, volume, at, note string
	var brix decimal
	var taps int
	var doubtful, correct bool
	cmd := &cobra.Command{
		Use: "add", Short: "Adds one collection",
		Example: "  thawline records add --group ridge --volume 40gal --brix 2.1\n  thawline records add --group ridge --when 2026-03-20 --note \"not checked\"",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.settings()
			if err != nil {
				return err
			}
			site, err := bush.choose(settings)
			if err != nil {
				return err
			}
			v := records.Visit{Site: site.ID, Group: group, Taps: taps, VolumeL: math.NaN(), BrixPct: math.NaN(), Note: note, CollectedAt: g.clock().In(site.Zone).Truncate(time.Second)}
			if volume != "" {
				if v.VolumeL, err = units.ParseVolume(volume, settings.Units); err != nil {
					return wrongUse("--volume: " + err.Error())
				}
			}
			if volume == "" && note == "" {
				return wrongUse("say what was found: give --volume, or --note such as \"not checked\"")
			}
			if cmd.Flags().Changed("brix") {
				if v.BrixPct = float64(brix); brix < 0 || brix > 20 {
					return wrongUse("--brix: sap has 1 to 5 per cent of sugar")
				}
			}
			if taps < 0 {
				return wrongUse("--taps: give how many taps were collected from")
			}
			if at != "" {
				if v.CollectedAt, v.DateOnly, err = records.ParseMoment(at, site.Zone); err != nil {
					return wrongUse("--when " + at + ": " + err.Error())
				}
			}
			return keepVisits(cmd, g, settings, site, kept{visits: []records.Visit{v}, doubtful: doubtful, only: !correct})
		},
	}
	bush.flag(cmd)
	f := cmd.Flags()
	f.StringVar(&group, "group", "", "`ID` of the group; needed where there are several")
	f.StringVar(&volume, "volume", "", "what was carried away, such as 40gal or 150L; without it nothing was collected")
	f.Var(&brix, "brix", "sugar of the sap in per cent")
	f.StringVar(&at, "when", "", "`WHEN`: a day (2026-03-20), a local time (2026-03-20 17:30) or RFC 3339; now without it")
	f.StringVar(&at, "at", "", "what --when was called")
	_ = f.MarkHidden("at") // it is there
	f.StringVar(&note, "note", "", "anything else, such as \"ice in most of them\"")
	f.IntVar(&taps, "taps", 0, "number of taps, where it is not the group's")
	f.BoolVar(&doubtful, "doubtful", false, "keep figures that look like slips")
	f.BoolVar(&correct, "correct", false, "replace what is written for the same group and moment; what it said is kept")
	cmd.Args = noArguments
	return cmd
}

func recordsImportCommand(g *globals) *cobra.Command {
	var bush bushFlag
	var doubtful bool
	cmd := &cobra.Command{
		Use: "import FILE…", Short: "Reads notebooks (CSV); the same file twice adds nothing, a changed row corrects",
		Example: "  thawline records import notebook-2025.csv",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrongUse("name one or more files; see " + cmd.CommandPath() + " --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			settings, err := g.settings()
			if err != nil {
				return err
			}
			site, err := bush.choose(settings)
			if err != nil {
				return err
			}
			for _, path := range args {
				notebook, err := readNotebook(path, site.Zone)
				if err != nil {
					return err
				}
				if err := keepVisits(cmd, g, settings, site, kept{name: path, visits: notebook.Visits, notRead: notebook.NotRead, doubtful: doubtful}); err != nil {
					return err
				}
			}
			return nil
		},
	}
	bush.flag(cmd)
	cmd.Flags().BoolVar(&doubtful, "doubtful", false, "keep figures that look like slips")
	return cmd
}

// stored reads the records of a site.
func stored(cmd *cobra.Command, g *globals, bush *bushFlag) ([]archive.Stored, *forecast.Site, *config.Config, error) {
	settings, err := g.settings()
	if err != nil {
		return nil, nil, nil, err
	}
	site, err := bush.choose(settings)
	if err != nil {
		return nil, nil, nil, err
	}
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return nil, nil, nil, err
	}
	defer a.Close()
	list, err := a.Visits(cmd.Context(), site.ID, time.Time{}, site.Zone)
	return list, site, settings, err
}

func recordsListCommand(g *globals) *cobra.Command {
	var bush bushFlag
	cmd := &cobra.Command{
		Use: "list", Short: "Lists what is kept, oldest first",
		RunE: func(cmd *cobra.Command, _ []string) error {
			list, _, settings, err := stored(cmd, g, &bush)
			if err != nil {
				return err
			}
			if g.json {
				return writeJSON(cmd.OutOrStdout(), recordsDocument(list))
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			if len(list) == 0 {
				return printAll(cmd.OutOrStdout(), words.Say("records_list_empty", nil)+"\n")
			}
			var b strings.Builder
			for _, s := range list {
				when := s.CollectedAt.Format(toTheMinute)
				if s.DateOnly {
					when = s.CollectedAt.Format("2006-01-02      ")
				}
				volume := "-"
				if s.Collected() {
					n, unit := words.Volume(s.VolumeL)
					volume = n + " " + unit
				}
				brix := ""
				if !math.IsNaN(s.BrixPct) {
					brix = words.Share(s.BrixPct) + "\u00a0%"
				}
				fmt.Fprintf(&b, "%s  %s %s %s %s  %s\n", when, padded(s.Group, 12), padded(volume, 14), padded(brix, 6), s.ID, words.Note(s.Note))
			}
			return printAll(cmd.OutOrStdout(), b.String())
		},
	}
	bush.flag(cmd)
	cmd.Args = noArguments
	return cmd
}

// recordsDocument is a list of records as JSON; null stands for what is not
// known.
func recordsDocument(list []archive.Stored) []map[string]any {
	maybe := func(x float64) any {
		if math.IsNaN(x) {
			return nil
		}
		return json.Number(fmt.Sprint(x))
	}
	out := []map[string]any{}
	for _, s := range list {
		out = append(out, map[string]any{"id": s.ID, "site": s.Site, "group": s.Group, "collected_at": s.CollectedAt, "date_only": s.DateOnly, "taps": s.Taps,
			"volume_l": maybe(s.VolumeL), "brix": maybe(s.BrixPct), "note": s.Note, "revision": s.Revision, "recorded_at": s.RecordedAt, "recorded_by": s.RecordedBy})
	}
	return out
}

func recordsExportCommand(g *globals) *cobra.Command {
	var bush bushFlag
	cmd := &cobra.Command{
		Use: "export [FILE]", Short: "Writes what is kept as CSV, which import reads back without loss",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return wrongUse("name one file, or none for standard output; see " + cmd.CommandPath() + " --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			list, site, _, err := stored(cmd, g, &bush)
			if err != nil {
				return err
			}
			var visits []records.Visit
			for _, s := range list {
				visits = append(visits, s.Visit)
			}
			out := cmd.OutOrStdout()
			if len(args) == 1 {
				file, err := os.OpenFile(args[0], os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
				if err != nil {
					return fmt.Errorf("export: %w; name a new file", err)
				}
				defer file.Close()
				out = file
			}
			return records.WriteCSV(out, visits, site.Zone)
		},
	}
	bush.flag(cmd)
	return cmd
}

func recordsChangeCommand(g *globals, verb string) *cobra.Command {
	short := map[string]string{"remove": "Takes a record out of the lists; undo gives it back", "undo": "Gives a record back as it was before its last change"}
	var bush bushFlag
	since := ""
	cmd := &cobra.Command{
		Use: verb + " ID", Short: short[verb], Args: func(cmd *cobra.Command, args []string) error {
			if since != "" {
				return noArguments(cmd, args)
			}
			return oneArgument("the id of a record, from list")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if since != "" {
				return undoSince(cmd, g, &bush, since)
			}
			return withArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				return changeRecord(cmd, g, c, a, verb, args[0])
			})
		},
	}
	if verb == "undo" {
		cmd.Long = short[verb] + ". With --since all records of the site are given back as they were then: what was removed or changed by mistake, or brought in."
		bush.flag(cmd)
		cmd.Flags().StringVar(&since, "since", "", "a `MOMENT` like 2026-03-20T18:00:00-04:00, or how long ago, like 2h")
	}
	return cmd
}

// undoSince gives a site's records back as they were at a moment.
func undoSince(cmd *cobra.Command, g *globals, bush *bushFlag, since string) error {
	moment, err := time.Parse(time.RFC3339, since)
	if err != nil {
		ago, err := time.ParseDuration(since)
		if err != nil || ago <= 0 {
			return wrongUse("--since " + since + ": write a moment like 2026-03-20T18:00:00-04:00, or how long ago, like 2h")
		}
		moment = g.clock().Add(-ago)
	}
	return withArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		site, err := bush.choose(c)
		if err != nil {
			return err
		}
		n, err := a.UndoSince(cmd.Context(), site.ID, moment, by(), g.clock())
		if err != nil {
			return err
		}
		words, err := app.Words(c)
		if err != nil {
			return err
		}
		return printAll(cmd.OutOrStdout(), words.PluralWith("records_undone_since", n, map[string]any{"When": moment.In(site.Zone).Format(toTheMinute)})+"\n")
	})
}
