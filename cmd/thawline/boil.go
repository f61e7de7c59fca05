package main

import (
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/boil"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// batchFlags describe one batch without a site.
type batchFlags struct {
	sap, pressure, pan, area, rate, fuel string
	brix, syrup, concentrate             cli.Decimal
}

func boilCommand(g *cli.Globals) *cobra.Command {
	f := &cli.OutlookFlags{}
	b := &batchFlags{brix: 2, syrup: boil.SyrupBrix}
	cmd := &cobra.Command{
		Use:   "boil",
		Short: "What to boil, when, and the wood, syrup and draw-off points; or the same for one batch",
		Example: "  thawline boil --sap 400L --brix 2.1 --pressure 985hPa\n" +
			"  thawline boil --config thawline.yaml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if b.sap != "" {
				return boilBatch(cmd, g, f, b)
			}
			settings, o, err := f.Make(cmd, g, nil)
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(),
					map[string]any{"site": o.Site, "issued_at": o.IssuedAt, "stock": o.Stock, "boil": o.Boil, "sugar": o.Sugar,
						"teaching": o.Teaching})
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			return sections.PrintFire(cmd.OutOrStdout(), o, words, settings.Units)
		},
	}
	f.Register(cmd)
	fl := cmd.Flags()
	fl.StringVar(&b.sap, "sap", "", "`VOLUME` of sap, such as 400L: answers for this batch, without a site")
	fl.Var(&b.brix, "brix", "its `PERCENT` of sugar")
	fl.StringVar(&b.pressure, "pressure", "",
		"air `PRESSURE` at the pan, such as 985hPa, not reduced to sea level (default: usual for --elevation)")
	fl.Var(&b.syrup, "syrup", "`PERCENT` of sugar in the finished syrup")
	fl.Var(&b.concentrate, "concentrate", "`PERCENT` of sugar after reverse osmosis, 0 without it")
	fl.StringVar(&b.pan, "pan", string(boil.Flat), "`KIND` of pan: flat or flue")
	fl.StringVar(&b.area, "area", "12sqft", "`AREA` of the pan, such as 12sqft or 1.1m2")
	fl.StringVar(&b.rate, "rate", "", "`VOLUME` of water boiled away in an hour, if you measured it, such as 45L")
	fl.StringVar(&b.fuel, "fuel", string(boil.Wood), "`FUEL`: wood or gas")
	cmd.AddCommand(boilNoteCommand(g), boilImportCommand(g), boilBookCommand(g), boilSugarCommand(g), boilSchoolCommand(g))
	return cmd
}

func boilBatch(cmd *cobra.Command, g *cli.Globals, of *cli.OutlookFlags, f *batchFlags) error {
	settings, err := g.Settings()
	if err != nil {
		return err
	}
	var wrong []string
	read := func(flag, text string, parse func(string) (float64, error)) float64 {
		if text == "" {
			return 0
		}
		v, err := parse(text)
		if err != nil {
			wrong = append(wrong, flag+": "+err.Error())
		}
		return v
	}
	volume := func(s string) (float64, error) { return units.ParseVolume(s, settings.Units) }
	sap := read("--sap", f.sap, volume)
	pressure := weather.StandardPressureHPa(read("--elevation", of.Elevation, units.ParseLength))
	if f.pressure != "" {
		pressure = read("--pressure", f.pressure, units.ParsePressure)
	}
	pan := boil.Pan{Kind: boil.Kind(f.pan), Fuel: boil.Fuel(f.fuel), AreaM2: read("--area", f.area, units.ParseArea),
		RateLH: read("--rate", strings.TrimSuffix(f.rate, "/h"), volume), ReachBrix: float64(f.concentrate)}
	if pan.Kind != boil.Flat && pan.Kind != boil.Flue {
		wrong = append(wrong, "--pan "+f.pan+": write flat or flue")
	}
	if pan.Fuel != boil.Wood && pan.Fuel != boil.Gas {
		wrong = append(wrong, "--fuel "+f.fuel+": write wood or gas")
	}
	if len(wrong) > 0 {
		return cli.WrongUse(strings.Join(wrong, "\n"))
	}
	batch, err := boil.Boil(sap, float64(f.brix), float64(f.syrup), pressure, pan)
	if err != nil {
		return cli.WrongUse(err.Error())
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(), batch)
	}
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	return sections.PrintBatch(cmd.OutOrStdout(), &batch, words, settings.Units)
}
