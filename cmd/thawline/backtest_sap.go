package main

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/chart"
	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/verify"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// sapFiles are the flags of the sap backtest that name files and places.
type sapFiles struct {
	weather, train                            []string
	records, at, zone, container, warmer, dir string
	prior                                     string
	taps                                      int
	canopy                                    string
	without                                   []string
}

func backtestSapCommand(g *cli.Globals) *cobra.Command {
	f := &sapFiles{}
	cmd := &cobra.Command{
		Use:   "sap",
		Short: "How well it predicts volumes from weather and earlier visits",
		Long: "Predicts each volume of the records from the weather and the visits before it. Weather is an hourly file " +
			"(time, temperature_c, …) or a daily one (date, tmin_c, tmax_c), of which hours are made: half a cosine from " +
			"each low, at half past five by the sun, to the high, at half past two. --train, several times, takes records " +
			"of this bush's earlier seasons and, where --weather does not cover them, their weather, which --warmer moves " +
			"too. A later season is an error.",
		Example: "  thawline backtest sap --weather hourly.csv --records log.csv --at 42.45,-72.68 --tz America/New_York\n" +
			"  thawline backtest sap --weather hourly.csv --records log.csv --train log-before.csv --train daily-before.csv --at 42.45,-72.68 --tz America/New_York --chart pictures",
		RunE: func(cmd *cobra.Command, args []string) error { return runBacktestSap(cmd, g, f, args) },
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.weather, "weather", nil, "weather `FILE`, hourly or daily")
	fl.StringVar(&f.records, "records", "", "tap records `FILE` to predict")
	fl.StringArrayVar(&f.train, "train", nil, "`FILE` of this bush's earlier records, or of their weather; may be repeated")
	fl.StringVar(&f.at, "at", "", "`LAT,LON` of the bush, degrees north and east")
	fl.StringVar(&f.zone, "tz", "", "its time `ZONE` (default: from the map)")
	fl.IntVar(&f.taps, "taps", 0, "`NUMBER` of taps, if the records do not say")
	fl.StringVar(&f.container, "container", "", "`VOLUME` of each container, such as 7.5L; without it nothing counts as full")
	fl.StringVar(&f.canopy, "canopy", string(trunk.Closed), "`CANOPY`: closed, thinned or open")
	fl.StringVar(&f.warmer, "warmer", "", "how many `KELVIN` warmer the bush is than where --weather was measured, such as 0.6")
	fl.StringVar(&f.prior, "prior", "", "`FILE` of flow constants fitted elsewhere, as backtest fit --leave NAME --json writes it")
	fl.StringArrayVar(&f.without, "without", nil, "leave a `PART` of the model out: "+strings.Join(verify.Parts(), ", "))
	cli.ChartFlag(cmd, &f.dir)
	cmd.Args = func(c *cobra.Command, args []string) error {
		if len(f.train) > 0 { // --train a.csv b.csv
			return nil
		}
		return cli.NoArguments(c, args)
	}
	return cmd
}

func runBacktestSap(cmd *cobra.Command, g *cli.Globals, f *sapFiles, args []string) error {
	f.train = append(f.train, args...)
	o, err := f.options(g.Clock())
	if err != nil {
		return err
	}
	w, err := cli.ReadWeathers(f.weather, o.Place)
	if err != nil {
		return err
	}
	visits, err := cli.ReadRecords(f.records, o.Zone)
	if err != nil {
		return err
	}
	train, err := f.seasons(w, &o)
	if err != nil {
		return err
	}
	var end func()
	o.Progress, end = cli.Progress(cmd, "visits")
	result, err := verify.BacktestSap(cmd.Context(), w, visits, train, o)
	end()
	if err != nil {
		return fmt.Errorf("%s: %w", f.records, err)
	}
	if f.dir != "" {
		if err := cli.WriteChart(f.dir, "sap-visits.svg",
			chart.Visits(result.Visits, chart.EnglishVisits("Sap collected and foretold", result.Visits), chart.Wide).SVG()); err != nil {
			return err
		}
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(), result)
	}
	for _, path := range f.weather {
		if daily, _, err := cli.KindOf(path); err == nil && daily {
			_, _ = fmt.Fprintf(cmd.ErrOrStderr(),
				"%s has lows and highs alone: their hours are drawn, as evenings and mornings usually go\n", path)
		}
	}
	return cli.Print(cmd.OutOrStdout(), sapReport(&result))
}

func (f *sapFiles) options(now time.Time) (verify.SapOptions, error) {
	var wrong []string
	fail := func(flag, what string) { wrong = append(wrong, flag+": "+what) }
	if len(f.weather) == 0 {
		fail("--weather", "name an hourly or a daily weather file")
	}
	if f.records == "" {
		fail("--records", "name a file of tap records")
	}
	o := verify.SapOptions{Method: volume.Pail, TreeDiameterM: 0.3, Taps: f.taps, Now: now, Canopy: trunk.Canopy(f.canopy)}
	o.Place.LatitudeDeg, o.Place.LongitudeDeg, o.Zone = cli.PlaceFromFlags(f.at, f.zone, fail)
	o.Place.ElevationM = math.NaN()
	if o.Canopy != trunk.Closed && o.Canopy != trunk.Thinned && o.Canopy != trunk.Open {
		fail("--canopy "+f.canopy, "write closed, thinned or open")
	}
	if f.taps < 0 {
		fail("--taps", "give one or more")
	}
	if f.container != "" {
		litres, err := units.ParseVolume(f.container, units.Metric)
		if err != nil {
			fail("--container", err.Error())
		}
		o.ContainerL = litres
	}
	if f.warmer != "" {
		if _, err := fmt.Sscan(f.warmer, &o.WarmerK); err != nil || math.Abs(o.WarmerK) > 15 {
			fail("--warmer "+f.warmer, "write a number of kelvin, such as 0.6 or -1")
		}
	}
	for _, part := range f.without {
		if err := o.Without.Leave(part); err != nil {
			fail("--without", err.Error())
		}
	}
	if f.prior != "" {
		file, err := os.Open(f.prior)
		if err == nil {
			o.Flow, err = verify.ReadConstants(file, f.prior)
			_ = file.Close()
		}
		if err != nil {
			fail("--prior", err.Error())
		}
	}
	if len(wrong) > 0 {
		return o, cli.WrongUse(strings.Join(wrong, "\n"))
	}
	if o.Zone == nil {
		zone, err := cli.ZoneOf("", o.Place)
		if err != nil {
			return o, err
		}
		o.Zone = zone
	}
	return o, nil
}

// seasons reads the training files, each a file of records or of weather, and
// gives each year's records the weather that covers them; the oldest first.
func (f *sapFiles) seasons(w *weather.Series, o *verify.SapOptions) ([]verify.Season, error) {
	weathers := []*weather.Series{w}
	var visits []records.Visit
	for _, path := range f.train {
		daily, hourly, err := cli.KindOf(path)
		switch {
		case err != nil:
			return nil, err
		case daily || hourly:
			own, err := cli.ReadWeathers([]string{path}, o.Place)
			if err != nil {
				return nil, err
			}
			weathers = append(weathers, own)
		default:
			more, err := cli.ReadRecords(path, o.Zone)
			if err != nil {
				return nil, err
			}
			visits = append(visits, more...)
		}
	}
	// A season has one year and one weather; where none covers it, it is passed over, and counted.
	type of struct{ year, weather int }
	seasons := map[of]*verify.Season{}
	var taught []of
	for _, v := range visits {
		at := of{year: v.CollectedAt.Year()}
		for i := len(weathers) - 1; i >= 0; i-- {
			if s := weathers[i]; !v.CollectedAt.Before(s.Start()) && !v.CollectedAt.After(s.End()) {
				at.weather = i
			}
		}
		if seasons[at] == nil {
			seasons[at] = &verify.Season{Weather: weathers[at.weather]}
			taught = append(taught, at)
		}
		seasons[at].Visits = append(seasons[at].Visits, v)
	}
	slices.SortStableFunc(taught, func(a, b of) int { return cmp.Compare(a.year, b.year) })
	var out []verify.Season
	for _, at := range taught {
		out = append(out, *seasons[at])
	}
	return out, nil
}

func sapReport(r *verify.SapResult) string {
	known := func(x float64) string { // where volumes never vary there is no skill over them
		if math.IsNaN(x) {
			return "none"
		}
		return fmt.Sprintf("%.2f", x)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Sap of %d visits, each foretold from weather and earlier visits\n", r.N)
	fmt.Fprintf(&b, "Rank correlation %s (nine in ten resamples: %.2f to %.2f); days that pass the threshold rule %.2f, degree hours %.2f\n",
		known(r.Spearman), r.Spearman90.Low, r.Spearman90.High, r.RuleSpearman, r.HeatSpearman)
	fmt.Fprintf(&b, "Of the flow worked out from weather alone: rank correlation %s\n", known(r.FlowSpearman))
	fmt.Fprintf(&b, "Linear correlation %s; CRPS %.1f L, skill %s over the volumes of the other visits; the keeper's habit alone %s\n",
		known(r.Pearson), r.CRPSL, known(r.CRPSSkill), known(r.HabitSkill))
	fmt.Fprintf(&b, "%.0f %% of visits fell within the range that four in five should\n\n", 100*r.Coverage80)
	b.WriteString("Date         collected   foretold   (range), litres\n")
	for _, v := range r.Visits {
		mark := " "
		if v.AtLeast {
			mark = "+"
		}
		fmt.Fprintf(&b, "%s   %8.0f%s   %8.0f   (%.0f to %.0f) %s\n", v.Date, v.ObservedL, mark, v.P50, v.P10, v.P90, v.Group)
	}
	if len(r.Notes) > 0 {
		b.WriteString("\nNot scored:\n")
	}
	for _, n := range r.Notes {
		b.WriteString("  " + n + "\n")
	}
	return b.String()
}

func backtestSensitivityCommand(g *cli.Globals) *cobra.Command {
	f := &sapFiles{canopy: string(trunk.Closed), records: "none"}
	cmd := &cobra.Command{
		Use:     "sensitivity",
		Short:   "How much each parameter of the flow changes a season's volume and the rank of its days",
		Example: "  thawline backtest sensitivity --weather hourly.csv --at 42.45,-72.68 --tz America/New_York",
		RunE: func(cmd *cobra.Command, _ []string) error {
			o, err := f.options(g.Clock())
			if err != nil {
				return err
			}
			w, err := cli.ReadWeathers(f.weather, o.Place)
			if err != nil {
				return err
			}
			rows, err := verify.Sensitivities(w, o)
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), rows)
			}
			var b strings.Builder
			b.WriteString("Parameter          value  (range)            season's volume       rank of days    source\n")
			for _, r := range rows {
				fmt.Fprintf(&b, "%s %8s  %s %+6.0f %% to %+4.0f %%   %5.2f and %5.2f   %s\n", cli.Pad(r.Parameter, 16),
					fmt.Sprintf("%.4g", r.Value), cli.Pad(fmt.Sprintf("(%.4g to %.4g %s)", r.Low, r.High, r.Unit), 26), r.VolumePct[0],
					r.VolumePct[1], r.DayRank[0], r.DayRank[1], r.Source)
			}
			return cli.Print(cmd.OutOrStdout(), b.String())
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.weather, "weather", nil, "weather `FILE` of a season, hourly or daily")
	fl.StringVar(&f.at, "at", "", "`LAT,LON` of the bush, degrees north and east")
	fl.StringVar(&f.zone, "tz", "", "its time `ZONE` (default: from the map)")
	cmd.Args = cli.NoArguments
	return cmd
}
