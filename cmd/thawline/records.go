package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

func recordsCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "records", Short: "What you gathered, tapped and pulled: add, import, list, export, undo"}
	cmd.AddCommand(recordsAddCommand(g), recordsImportCommand(g), recordsListCommand(g), recordsExportCommand(g),
		recordsChangeCommand(g, "remove"), recordsChangeCommand(g, "undo"),
		recordsTapsCommand(g, "pull", records.Pulled), recordsTapsCommand(g, "tap", records.Tapped), recordsNoteCommand(g),
		recordsNotesCommand(g), recordsWeatherCommand(g))
	cmd.RunE = cli.NeedsMore("add, import, list, export, remove, undo, pull, tap, note, notes or weather?")
	return cmd
}

func recordsAddCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var group, volume, at, note string
	var brix cli.Decimal
	var taps int
	var doubtful, correct bool
	cmd := &cobra.Command{
		Use: "add", Short: "Adds one round",
		Example: "  thawline records add --group ridge --volume 40gal --brix 2.1\n  thawline records add --group ridge --when 2026-03-20 --note \"not checked\"",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			site, err := bush.Choose(settings)
			if err != nil {
				return err
			}
			v := records.Visit{Group: group, Taps: taps, VolumeL: math.NaN(), BrixPct: math.NaN(), Note: note}
			if volume != "" {
				if v.VolumeL, err = units.ParseVolume(volume, settings.Units); err != nil {
					return cli.WrongUse("--volume: " + err.Error())
				}
			}
			if volume == "" && note == "" {
				return cli.WrongUse("say what was found: give --volume, or --note such as \"not checked\"")
			}
			if cmd.Flags().Changed("brix") {
				if v.BrixPct = float64(brix); brix < 0 || brix > 20 {
					return cli.WrongUse("--brix: sap has 1 to 5 per cent of sugar")
				}
			}
			if taps < 0 {
				return cli.WrongUse("--taps: give how many taps were collected from")
			}
			if at != "" {
				if v.CollectedAt, v.DateOnly, err = cli.When("--when", at, g.Clock(), site.Zone, false); err != nil {
					return err
				}
			}
			return cli.KeepVisits(cmd, g, settings, site, cli.Visits{List: []records.Visit{v}, Doubtful: doubtful, Correct: correct})
		},
	}
	bush.Register(cmd)
	f := cmd.Flags()
	f.StringVar(&group, "group", "", "`ID` or name of the group, if there are several")
	f.StringVar(&volume, "volume", "", "`VOLUME` you gathered, such as 40gal or 150L; leave it out if nothing was gathered")
	f.Var(&brix, "brix", "`PERCENT` of sugar in the sap")
	f.StringVar(&at, "when", "", "`WHEN`: yesterday 5 pm, Mar 20, 2026-03-20 17:30 (default: now)")
	f.StringVar(&at, "at", "", "what --when was called")
	_ = f.MarkHidden("at") // it is there
	f.StringVar(&note, "note", "", "any other `REMARK`, such as \"ice in most of them\"")
	f.IntVar(&taps, "taps", 0, "`NUMBER` of taps, if not all of the group")
	f.BoolVar(&doubtful, "doubtful", false, "keep figures that look like slips")
	f.BoolVar(&correct, "correct", false, "replace what is recorded for the same group and moment; the old figure is kept")
	cmd.Args = cli.NoArguments
	return cmd
}

func recordsImportCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var doubtful, without bool
	cmd := &cobra.Command{
		Use: "import FILE…", Short: "Reads notebooks and a weather station's temperatures (CSV); a file read twice adds nothing, a changed row corrects",
		Example: "  thawline records import notebook-2025.csv",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.WrongUse("name one or more files; see " + cmd.CommandPath() + " --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			site, err := bush.Choose(settings)
			if err != nil {
				return err
			}
			defer g.Busy(cmd, "reading")()
			for _, path := range args {
				if station, err := importSeen(cmd, g, site, path); station || err != nil {
					if err != nil {
						return err
					}
					continue
				}
				notebook, err := cli.ReadNotebook(path, site.Zone)
				if err != nil {
					return err
				}
				read := g.Clock() // before its visits, so that undo begins with these
				if err := checkTaps(g, settings, site, path, notebook.Taps); err != nil {
					return err
				}
				if err := cli.KeepVisits(cmd, g, settings, site,
					cli.Visits{Name: path, List: notebook.Visits, NotRead: notebook.NotRead, Doubtful: doubtful}); err != nil {
					return err
				}
				if err := keepTaps(cmd, g, settings, notebook.Taps, read); err != nil {
					return err
				}
			}
			if without {
				return nil
			}
			if err := fetchPastWeather(cmd, g, settings, site); err != nil { // the records are kept
				_, _ = fmt.Fprintln(cmd.ErrOrStderr(), err)
			}
			return nil
		},
	}
	bush.Register(cmd)
	cmd.Flags().BoolVar(&doubtful, "doubtful", false, "keep figures that look like slips")
	cmd.Flags().BoolVar(&without, "no-weather", false, "leave the weather of earlier seasons for later")
	return cmd
}

// stored reads the records of a site.
func stored(cmd *cobra.Command, g *cli.Globals, bush *cli.SiteFlag) (visits []archive.Stored, events []archive.StoredTap,
	site *forecast.Site, settings *config.Config, err error) {
	err = cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		settings = c
		if site, err = bush.Choose(c); err != nil {
			return err
		}
		if visits, err = a.Visits(cmd.Context(), site.ID, time.Time{}, site.Zone); err != nil {
			return err
		}
		events, err = a.TapEvents(cmd.Context(), site.ID, time.Time{}, site.Zone)
		return err
	})
	return visits, events, site, settings, err
}

func recordsListCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "list", Short: "Lists the records, oldest first",
		RunE: func(cmd *cobra.Command, _ []string) error {
			list, events, site, settings, err := stored(cmd, g, &bush)
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), append(recordsDocument(list), tapsDocument(events)...))
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			if len(list)+len(events) == 0 {
				return cli.Print(cmd.OutOrStdout(), words.Say("records_list_empty", nil)+"\n")
			}
			return cli.Print(cmd.OutOrStdout(), listed(words, site, list, events))
		},
	}
	bush.Register(cmd)
	cmd.Args = cli.NoArguments
	return cmd
}

// listed are the records of a site in columns under their heads, oldest first.
func listed(words *message.Words, site *forecast.Site, list []archive.Stored, events []archive.StoredTap) string {
	name := func(id string) string {
		for i := range site.Groups {
			if site.Groups[i].ID == id {
				return site.Groups[i].Name
			}
		}
		return id
	}
	head := func(key string) string { return words.Say("records_head_"+key, nil) }
	rows := [][]string{{head("when"), head("group"), head("volume"), head("sugar"), head("id"), head("note")}}
	when := func(at time.Time, dateOnly bool) string {
		if dateOnly {
			return at.Format(time.DateOnly)
		}
		return at.Format(cli.ToTheMinute)
	}
	tap := func(s *archive.StoredTap) []string {
		return []string{when(s.On, s.DateOnly), name(s.Group), words.Say("records_list_"+string(s.Kind), nil), "", cli.ShortID(s.ID), ""}
	}
	for _, s := range list {
		for len(events) > 0 && events[0].On.Before(s.CollectedAt) {
			rows, events = append(rows, tap(&events[0])), events[1:]
		}
		volume, brix := "-", ""
		if s.Collected() {
			n, unit := words.Volume(s.VolumeL)
			volume = n + " " + unit
		}
		if !math.IsNaN(s.BrixPct) {
			brix = words.Share(s.BrixPct) + "\u00a0%"
		}
		rows = append(rows, []string{when(s.CollectedAt, s.DateOnly), name(s.Group), volume, brix, cli.ShortID(s.ID), words.Note(s.Note)})
	}
	for i := range events {
		rows = append(rows, tap(&events[i]))
	}
	return cli.Columns(rows)
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
		out = append(out, map[string]any{"id": s.ID, "site": s.Site, "group": s.Group, "collected_at": s.CollectedAt,
			"date_only": s.DateOnly, "taps": s.Taps,
			"volume_l": maybe(s.VolumeL), "brix": maybe(s.BrixPct), "note": s.Note, "revision": s.Revision, "recorded_at": s.RecordedAt,
			"recorded_by": s.RecordedBy})
	}
	return out
}

func recordsExportCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "export [FILE]", Short: "Writes all records as CSV; import reads it back without loss",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return cli.WrongUse("name one file, or none for standard output; see " + cmd.CommandPath() + " --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			list, events, site, _, err := stored(cmd, g, &bush)
			if err != nil {
				return err
			}
			var notebook records.Notebook
			for _, s := range list {
				notebook.Visits = append(notebook.Visits, s.Visit)
			}
			for i := range events {
				notebook.Taps = append(notebook.Taps, events[i].TapEvent)
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
			return records.WriteNotebook(out, notebook, site.Zone)
		},
	}
	bush.Register(cmd)
	return cmd
}

func recordsChangeCommand(g *cli.Globals, verb string) *cobra.Command {
	short := map[string]string{"remove": "Deletes a record; undo brings it back",
		"undo": "Undoes your last entry, even a whole import; with ID, a record's last change"}
	var bush cli.SiteFlag
	since := ""
	cmd := &cobra.Command{
		Use: map[string]string{"remove": "remove ID", "undo": "undo [ID]"}[verb], Short: short[verb],
		Args: func(cmd *cobra.Command, args []string) error {
			if since != "" || verb == "undo" && len(args) == 0 {
				return cli.NoArguments(cmd, args)
			}
			return cli.OneArgument("the id of a record, from list")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if since != "" {
				return undoSince(cmd, g, &bush, since)
			}
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				if len(args) == 0 {
					site, err := bush.Choose(c)
					if err != nil {
						return err
					}
					return cli.UndoLast(cmd, g, c, a, site)
				}
				return cli.ChangeRecord(cmd, g, c, a, verb, args[0])
			})
		},
	}
	if verb == "undo" {
		cmd.Long = short[verb] + ".\n\nWith --since, all records of the site become again what they were then."
		bush.Register(cmd)
		cmd.Flags().StringVar(&since, "since", "", "a `MOMENT` like 2026-03-20T18:00:00-04:00, or how long ago, like 2h")
	}
	return cmd
}

// undoSince gives a site's records back as they were at a moment.
func undoSince(cmd *cobra.Command, g *cli.Globals, bush *cli.SiteFlag, since string) error {
	return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		site, err := bush.Choose(c)
		if err != nil {
			return err
		}
		moment, dateOnly, err := records.ReadWhen(since, g.Clock(), site.Zone, false)
		if err != nil || dateOnly {
			ago, err := time.ParseDuration(since)
			if err != nil || ago <= 0 {
				return cli.WrongUse("--since " + since +
					": write a moment like 2026-03-20T18:00:00-04:00 or yesterday 6 pm, or how long ago, like 2h")
			}
			moment = g.Clock().Add(-ago)
		}
		n, err := a.UndoSince(cmd.Context(), site.ID, moment, cli.Author(), g.Clock())
		if err != nil {
			return err
		}
		words, err := app.Words(c)
		if err != nil {
			return err
		}
		return cli.Print(cmd.OutOrStdout(),
			words.PluralWith("records_undone_since", n, map[string]any{"When": moment.In(site.Zone).Format(cli.ToTheMinute)})+"\n")
	})
}
