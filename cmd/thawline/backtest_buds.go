package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/chart"
	"thawline/forecast/season"
	"thawline/forecast/verify"
	"thawline/forecast/weather"
)

func backtestBudsCommand(g *cli.Globals) *cobra.Command {
	var temperatures, buds, charts string
	o := verify.BudOptions{}
	cmd := &cobra.Command{
		Use:   "buds",
		Short: "How well it predicts the day leaf buds open",
		Long: "Learns from the years up to one, and predicts the later ones. Without --train-until each year is predicted " +
			"from all the others. Temperatures: date, tmin_c, tmax_c; buds: year, species, leaf_bud_break_doy. Where both " +
			"files have a column site (buds also lat_deg), years of each site are left out, then whole sites, before and " +
			"after one of their springs is noted.",
		Example: `  thawline backtest buds --temperatures daily.csv --buds buds.csv --species "sugar maple" --train-until 1993`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if temperatures != "" && buds != "" {
				if places, err := readBudPlaces(temperatures, buds); err != nil || places != nil {
					return errors.Join(err, backtestBudPlaces(cmd, g, places))
				}
			}
			if temperatures == "" || buds == "" || o.Species == "" {
				return cli.WrongUse("give --temperatures FILE, --buds FILE and --species NAME")
			}
			d, err := cli.ReadDaily(temperatures)
			if err != nil {
				return err
			}
			seen, err := readBuds(buds)
			if err != nil {
				return err
			}
			var end func()
			o.Progress, end = cli.Progress(cmd, "years")
			result, err := verify.BacktestBuds(cmd.Context(), d, seen, o)
			end()
			if err != nil {
				return err
			}
			if charts != "" {
				picture := chart.BudYears("Leaf buds of "+result.Species, result.Years).SVG()
				if err := cli.WriteChart(charts, "buds-years.svg", picture); err != nil {
					return err
				}
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), budsReport(&result))
		},
	}
	f := cmd.Flags()
	f.StringVar(&temperatures, "temperatures", "", "`FILE` of daily lows and highs")
	f.StringVar(&buds, "buds", "", "`FILE` of bud dates")
	f.StringVar(&o.Species, "species", "", "`NAME` of the species, as the file spells it")
	f.IntVar(&o.TrainUntil, "train-until", 0, "last `YEAR` to learn from")
	f.Float64Var(&o.LatitudeDeg, "latitude", 43, "`DEGREES` north of the trees, for the length of the day")
	cli.ChartFlag(cmd, &charts)
	cmd.Args = cli.NoArguments
	return cmd
}

func readBuds(path string) ([]season.BudYear, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("buds file: %w", err)
	}
	defer file.Close()
	return season.ReadBuds(file, path)
}

// readBudPlaces reads files of several sites; nil where the buds are of one.
func readBudPlaces(temperatures, buds string) ([]verify.BudPlace, error) {
	file, err := os.Open(buds)
	if err != nil {
		return nil, fmt.Errorf("buds file: %w", err)
	}
	defer file.Close()
	sheet := bufio.NewReader(file)
	if head, _ := sheet.Peek(1024); !season.AreBudPlaces(head) {
		return nil, nil
	}
	seen, err := season.ReadBudPlaces(sheet, buds)
	if err != nil {
		return nil, err
	}
	air, err := os.Open(temperatures)
	if err != nil {
		return nil, fmt.Errorf("temperatures file: %w", err)
	}
	defer air.Close()
	days, err := weather.ReadDailySitesCSV(air, temperatures)
	if err != nil {
		return nil, err
	}
	var places []verify.BudPlace
	for _, p := range seen {
		if days[p.Place] != nil {
			places = append(places, verify.BudPlace{Name: p.Place, LatitudeDeg: p.LatitudeDeg, Days: days[p.Place], Seen: p.Seen})
		}
	}
	if len(places) == 0 {
		return nil, fmt.Errorf("%s: no site of %s; check how both spell them", temperatures, buds)
	}
	return places, nil
}

func backtestBudPlaces(cmd *cobra.Command, g *cli.Globals, places []verify.BudPlace) error {
	if places == nil {
		return nil
	}
	progress, end := cli.Progress(cmd, "sites")
	r, err := verify.BacktestBudPlaces(cmd.Context(), places, progress)
	end()
	if err != nil {
		return err
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(), r)
	}
	var b strings.Builder
	o := &r.OwnYears
	fmt.Fprintf(&b, "Leaf buds at %d sites, %d springs, temperatures known; errors (RMSE) in days\n\n", r.Places, r.Springs)
	fmt.Fprintf(&b, "Each year from the others of its site, %d sites of four springs or more:\n", o.Places)
	fmt.Fprintf(&b, "  model %.1f, blend of published ways %.1f, degree days from 15 March %.1f, mean date %.1f\n", o.RMSEDays,
		o.BlendDays, o.PlainDays, o.MeanDateDays)
	fmt.Fprintf(&b, "  worse than the mean date: the model at %d sites, the blend at %d\n\n", o.Worse, o.BlendWorse)
	fmt.Fprintf(&b, "Sites left out                over all springs   of the middle site\n")
	fmt.Fprintf(&b, "nothing known of the site     %16.1f   %18.1f\nonce one spring was noted     %16.1f   %18.1f\n",
		r.Unknown.RMSEDays, r.Unknown.MedianDays, r.Noted.RMSEDays, r.Noted.MedianDays)
	for _, n := range r.Notes {
		b.WriteString(n + "\n")
	}
	return cli.Print(cmd.OutOrStdout(), b.String())
}

func budsReport(r *verify.BudResult) string {
	var b strings.Builder
	how := "after them"
	if r.LeaveOneOut {
		how = "each foretold by the others"
	}
	fmt.Fprintf(&b, "Leaf buds of %s: learnt from %d years, tested on %d, %s\n", r.Species, r.NTrain, r.NTest, how)
	fmt.Fprintf(&b, "Error (RMSE): %.1f days; the mean date errs by %.1f, plain degree days from 15 March by %.1f,\na blend of published ways to count by %.1f, the one of them that fits best by %.1f\n", r.RMSEDays, r.ClimatologyRMSE, r.PlainRMSE, r.BlendRMSE, r.BestFitRMSE)
	fmt.Fprintf(&b, "%.0f %% of years fell within the range that four in five should\n\n", 100*r.Coverage80)
	b.WriteString("Year   opened   foretold   (range), day of the year\n")
	for _, y := range r.Years {
		fmt.Fprintf(&b, "%d   %6.1f   %8.1f   (%.0f to %.0f)\n", y.Year, y.ObservedDOY, y.PredictedDOY, y.P10, y.P90)
	}
	b.WriteString("\nAsked on   error    four in five within\n")
	for _, a := range r.Asked {
		fmt.Fprintf(&b, "%s   %4.1f days   %4.1f days, which held %.0f %% of the time\n", cli.Pad(a.On, 8), a.RMSEDays, a.Width80,
			100*a.Coverage80)
	}
	b.WriteString("\nPublished ways to count, best of each kind on years left out, and its share in the blend:\n")
	for _, f := range r.Families {
		fmt.Fprintf(&b, "  %s %5.1f days left out, %4.1f fitted, weight %.0f %%: %s\n", cli.Pad(f.Family, 38), f.RMSEDays, f.FitDays,
			100*f.Weight, f.BestCount)
	}
	if r.FilledDays > 0 {
		fmt.Fprintf(&b, "%d days of the temperature file had a gap that was filled\n", r.FilledDays)
	}
	for _, n := range r.Notes {
		b.WriteString(n + "\n")
	}
	return b.String()
}
