package main

import (
	"fmt"
	"math"
	"strings"
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

// boilSugarCommand says where sugar leaves the fire in this house, or keeps a batch.
func boilSugarCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var left, water, outcome, when, syrup string
	humidity := cli.Decimal(math.NaN())
	sugarKg := cli.Decimal(math.NaN())
	cmd := &cobra.Command{
		Use: "sugar", Short: "Says where sugar leaves the fire in your house, or keeps a batch to learn from",
		Example: "  thawline boil sugar --humidity 45\n  thawline boil sugar --left 253F --water 210.5F --humidity 45 --outcome poured",
		Args:    cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return inBook(cmd, g, &bush, func(c *config.Config, a *archive.Archive, site *forecast.Site, words *message.Words) (err error) {
				if left == "" {
					return sayFinish(cmd, g, c, a, site, float64(humidity))
				}
				nan := math.NaN()
				e := records.HouseEntry{Kind: records.Stirred, SapL: nan, SyrupL: nan, SugarKg: float64(sugarKg), WoodCords: nan,
					Hours: nan,
					Sugar: &records.SugarBatch{LeftC: nan, WaterC: nan, HumidityPct: float64(humidity), Outcome: outcome}}
				for _, one := range []struct {
					flag, text string
					parse      func(string) (float64, error)
					into       *float64
				}{{"--left", left, units.ParseTemperature, &e.Sugar.LeftC}, {"--water", water, units.ParseTemperature, &e.Sugar.WaterC},
					{"--syrup", syrup, func(s string) (float64, error) { return units.ParseVolume(s, c.Units) }, &e.SyrupL}} {
					if one.text == "" {
						continue
					}
					if *one.into, err = one.parse(one.text); err != nil {
						return cli.WrongUse(one.flag + ": " + err.Error())
					}
				}
				if when != "" {
					if e.At, _, err = cli.When("--when", when, g.Clock(), site.Zone, false); err != nil {
						return err
					}
				}
				return noteHouse(cmd, g, a, words, site, e)
			})
		},
	}
	bush.Register(cmd)
	fl := cmd.Flags()
	fl.StringVar(&left, "left", "", "`TEMPERATURE` at which the batch left the fire, such as 253F or 123C")
	fl.StringVar(&water, "water", "", "`TEMPERATURE` that the same thermometer showed in boiling water that day")
	fl.Var(&humidity, "humidity", "`PERCENT` of humidity in the room")
	fl.StringVar(&outcome, "outcome", "", "how it came out, the `OUTCOME`: "+strings.Join(records.SugarOutcomes, ", "))
	fl.StringVar(&syrup, "syrup", "", "`VOLUME` of syrup that went into it")
	fl.Var(&sugarKg, "sugar", "`KILOGRAMS` of sugar that came of it")
	fl.StringVar(&when, "when", "", "`WHEN`: yesterday 8:30 pm, Mar 20, 2026-03-20 20:30 (default: now)")
	return cmd
}

func sayFinish(cmd *cobra.Command, g *cli.Globals, c *config.Config, a *archive.Archive, site *forecast.Site, humidity float64) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	stored, err := a.House(cmd.Context(), site.ID, time.Time{}, site.Zone)
	if err != nil {
		return err
	}
	var book []records.HouseEntry
	for i := range stored {
		book = append(book, stored[i].HouseEntry)
	}
	point, err := forecast.FinishOf(book, humidity)
	if err != nil {
		return fmt.Errorf("the batches of %s: %w", site.Name, err)
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(),
			map[string]any{"site": site.ID, "above_water_k": math.Round(point.RiseK*100) / 100, "batches": point.Batches,
				"chance_it_pours": math.Round(point.Right*100) / 100})
	}
	learnt := words.Say("sugarpot_handbook", nil)
	if point.Batches > 0 {
		learnt = words.Plural("sugarpot_learnt", point.Batches)
	}
	return cli.Print(cmd.OutOrStdout(), words.Say("sugarpot_above",
		map[string]any{"Rise": words.Rise(point.RiseK)})+"\n"+learnt+" "+words.Say("sugarpot_right",
		map[string]any{"InTen": units.InTen(point.Right)})+"\n"+words.Say("sugarpot_stay", nil)+"\n")
}
