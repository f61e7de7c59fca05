package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/verify/gain"
)

func backtestWorkCommand(g *cli.Globals) *cobra.Command {
	var files string
	o := gain.Options{}
	cmd := &cobra.Command{
		Use:   "work",
		Short: "What a maker gains by following the plan of rounds",
		Long: "Plays seasons through as their records have them: by every habit, by the plan, made each evening from that " +
			"evening's forecast alone, and with perfect foresight. It compares what overflows with the walks. What the " +
			"records leave open is drawn at random. --files is a table with a row a season: name, weather, records, " +
			"latitude, longitude, zone, taps, container_l, and if known elevation_m and warmer_k; a row without records " +
			"needs from and to, and is drawn from what handbooks say. Files are named as seen from the table. Two hundred " +
			"draws take some minutes a season.",
		Example: "  thawline backtest work --files seasons.csv\n" +
			"  thawline backtest work --files seasons.csv --draws 20 --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if files == "" {
				return cli.WrongUse("--files: name a table of seasons")
			}
			if o.Draws < 1 || o.Forecasts < 1 {
				return cli.WrongUse("--draws and --forecasts: give one or more")
			}
			seasons, err := readSeasons(files, gain.ReadTable, 2)
			if err != nil {
				return err
			}
			var end func()
			o.Progress, end = cli.Progress(cmd, "seasons")
			result, err := gain.Run(cmd.Context(), seasons, o)
			end()
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), workReport(&result))
		},
	}
	cmd.Flags().StringVar(&files, "files", "", "`TABLE` of seasons")
	cmd.Flags().IntVar(&o.Draws, "draws", 200, "`NUMBER` of courses the sap may have taken")
	cmd.Flags().IntVar(&o.Forecasts, "forecasts", 4, "`NUMBER` of forecasts for each evening, which the draws take in turn")
	cmd.Args = cli.NoArguments
	return cmd
}

// readSeasons reads a table of seasons, and the files that it names. Weather is kept from
// a day on, counted from the first of the year in which sap ran.
func readSeasons(path string, read func(r io.Reader, name string) ([]gain.Row, error), day int) ([]gain.Season, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("table of seasons: %w", err)
	}
	defer file.Close()
	rows, err := read(file, path)
	if err != nil {
		return nil, err
	}
	beside := func(name string) string {
		if filepath.IsAbs(name) {
			return name
		}
		return filepath.Join(filepath.Dir(path), name)
	}
	var seasons []gain.Season
	for i := range rows {
		s := rows[i].Season
		year := s.From.Year()
		if name := rows[i].RecordsFile; name != "" {
			if s.Visits, err = cli.ReadRecords(beside(name), s.Zone); err != nil {
				return nil, err
			}
			if len(s.Visits) == 0 {
				return nil, fmt.Errorf("%s: no records; leave the row %s out", beside(name), s.Name)
			}
			year = s.Visits[0].CollectedAt.Year()
		}
		w, err := cli.ReadWeathers([]string{beside(rows[i].WeatherFile)}, s.Place)
		if err != nil {
			return nil, err
		}
		// Of years of weather, the spring.
		s.Weather = *w
		from, to := time.Date(year, 1, day, 0, 0, 0, 0, time.UTC), time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC)
		if w.Start().Before(from) || w.End().After(to) {
			if w.Start().After(from) {
				from = w.Start()
			}
			if w.End().Before(to) {
				to = w.End()
			}
			s.Weather = w.Between(from, to)
		}
		seasons = append(seasons, s)
	}
	return seasons, nil
}

func workReport(r *gain.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "What runs over of the sap, %d draws of each season, with walks on a third of its days\n\n", r.Draws)
	b.WriteString("Season                              days   sap, L   habit    plan  foresight   value   as it is set: walks   lost   value\n")
	for i := range r.Seasons {
		s := &r.Seasons[i]
		third := float64(s.Days) / 3
		habit, plan, perfect := s.LossAt(third)
		value, usual := "nothing", "nothing"
		if s.Value != nil {
			value, usual = fmt.Sprintf("%.2f", *s.Value), fmt.Sprintf("%.2f", *s.UsualValue)
		}
		fmt.Fprintf(&b, "%s %4d %8.0f %6.1f %% %5.1f %% %8.1f %% %8s %20.1f %6.1f %% %7s\n", cli.Pad(s.Name, 35), s.Days, s.SapL,
			100*habit/s.SapL, 100*plan/s.SapL, 100*perfect/s.SapL, value, s.Usual.Walks, 100*s.Usual.LossL/s.SapL, usual)
	}
	b.WriteString("\nValue is the part of what foresight saves over the best habit that the plan does.\n")
	for _, v := range []struct {
		of           string
		third, usual *float64
	}{{"recorded seasons", r.Recorded, r.RecordedUsual}, {"richer ones and those without records", r.Twins, r.TwinsUsual}} {
		if v.third != nil {
			fmt.Fprintf(&b, "Mean of %s: %.2f, as it is set %.2f\n", v.of, *v.third, *v.usual)
		}
	}
	for i := range r.Seasons {
		if s := &r.Seasons[i]; s.Value == nil {
			fmt.Fprintf(&b, "%s: nothing to gain; walks saved at the same loss: %.1f\n", s.Name, s.WalksSaved)
		}
	}
	fmt.Fprintf(&b, "The ageing model calls %.1f %% of what the records carried in spoilt.\n\n", 100*r.CarriedInSpoilt)
	o := &r.Overflow
	fmt.Fprintf(&b, "Warnings of overflow, visits every third day, within 48 hours, from a chance of %.2f on:\n", o.Threshold)
	fmt.Fprintf(&b, "%d episodes, %.0f %% told before, %.0f %% of the warnings false; at the middle %.0f h before, %.0f of them light\n", o.Episodes, 100*o.Hits, 100*o.False, o.NoticeH, o.DaylightH)
	fmt.Fprintf(&b, "With a word each evening of how full the pails are %.0f %% of the warnings are false where %.0f %% are told, without it %.0f %%\n\n", 100*o.WordFalse75, 100*o.WordHits75, 100*o.False75)
	b.WriteString("When it said   it happened      (times)\n")
	for _, bin := range o.Bins {
		fmt.Fprintf(&b, "%8.0f %%   %8.0f %%        %6d  %s\n", 100*bin.MeanProbability, 100*bin.Frequency, bin.Count,
			cli.Bar(bin.Frequency))
	}
	return b.String()
}
