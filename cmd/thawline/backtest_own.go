package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/verify"
	"thawline/forecast/weather"
)

// ownSeason is how well one season of a keeper's own would have been foretold.
type ownSeason struct {
	Year   int               `json:"year"`
	Result *verify.SapResult `json:"result,omitempty"`
	Why    string            `json:"left_out,omitempty"` // no_weather, or few_visits
}

// fewestOwn is from how many foretold visits on a season says something.
const fewestOwn = 5

func backtestOwnCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use:   "own",
		Short: "How good it would have been on your own notebook, season by season, beside the plain rule",
		Long: "Foretells each visit of each season in the notebook from its weather, the visits before it and the seasons before. " +
			"Seasons whose weather is not kept are named; “thawline records weather” fetches it.",
		Example: "  thawline backtest own",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				list, err := ownSeasons(cmd, g, a, site)
				if err != nil {
					return err
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), map[string]any{"seasons": list})
				}
				words, err := app.Words(c)
				if err != nil {
					return err
				}
				return cli.Print(cmd.OutOrStdout(), ownReport(list, words.Say))
			})
		},
	}
	bush.Register(cmd)
	cmd.Args = cli.NoArguments
	return cmd
}

// ownSeasons foretells the seasons of a site that are kept, this winter's too, the oldest first.
func ownSeasons(cmd *cobra.Command, g *cli.Globals, a *archive.Archive, site *forecast.Site) ([]ownSeason, error) {
	now := g.Clock()
	first, this := forecast.EarlierWinters(now, site.Zone)
	kept, _, err := a.EarlierSeasons(cmd.Context(), site.ID, app.PlaceKey(site), first, this.AddDate(1, 0, 0))
	if err != nil {
		return nil, err
	}
	step, end := cli.Progress(cmd, "seasons")
	defer end()
	list := []ownSeason{}
	var train []verify.Season
	for i := range kept {
		s := &kept[i]
		if len(s.Visits) == 0 {
			continue
		}
		one := ownSeason{Year: s.To.In(site.Zone).Year()}
		before := verify.Season{Visits: withTaps(s, site)}
		if s.Weather.Has(weather.TemperatureC) {
			before.Weather = &s.Weather
			r, err := verify.BacktestSap(cmd.Context(), &s.Weather, before.Visits, train, ownOptions(site))
			switch {
			case err != nil:
				return nil, fmt.Errorf("%d: %w", one.Year, err)
			case r.N < fewestOwn:
				one.Why = "few_visits"
			default:
				one.Result = &r
			}
		} else {
			one.Why = "no_weather"
		}
		list, train = append(list, one), append(train, before)
		if step != nil {
			step(i+1, len(kept))
		}
	}
	return list, nil
}

// withTaps are a season's visits with the taps of their groups where they say none.
func withTaps(s *notebook.Season, site *forecast.Site) (visits []records.Visit) {
	for _, v := range s.Visits {
		for i := range site.Groups {
			if v.Taps == 0 && site.Groups[i].ID == v.Group {
				v.Taps = site.Groups[i].Taps
			}
		}
		visits = append(visits, v)
	}
	return visits
}

func ownOptions(site *forecast.Site) verify.SapOptions {
	o := verify.SapOptions{Place: site.Place, Zone: site.Zone, Method: site.Groups[0].Method, Exposure: &site.Exposure,
		TreeDiameterM: site.TreeDiameterM, Taps: site.Groups[0].Taps, ContainerL: site.Groups[0].ContainerL}
	for i := range site.Groups {
		if site.Groups[i].ContainerL != o.ContainerL {
			o.ContainerL = 0 // of several sizes none is full for sure
		}
	}
	return o
}

func ownReport(list []ownSeason, say func(key string, data map[string]any) string) string {
	if len(list) == 0 {
		return say("own_none", nil) + "\n"
	}
	figure := func(x float64) string {
		if math.IsNaN(x) {
			return "–"
		}
		return fmt.Sprintf("%.2f", x)
	}
	var b strings.Builder
	b.WriteString(say("own_head", nil) + "\n")
	for i := range list {
		s := &list[i]
		if s.Result == nil {
			b.WriteString(say("own_"+s.Why, map[string]any{"Year": s.Year}) + "\n")
			continue
		}
		r := s.Result
		key := "own_season"
		if r.CRPSSkill < 0 {
			key = "own_season_worse"
		}
		b.WriteString(say(key, map[string]any{"Year": s.Year, "N": r.N, "Rank": figure(r.Spearman), "Rule": figure(r.RuleSpearman),
			"Better": fmt.Sprintf("%.0f", 100*math.Abs(r.CRPSSkill)), "In": fmt.Sprintf("%.0f", r.Coverage80*float64(r.N))}) + "\n")
	}
	return b.String()
}
