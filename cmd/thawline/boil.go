package main

import (
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/report"
	"thawline/config"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// batchFlags describe one batch without a site.
type batchFlags struct {
	sap, pressure, pan, area, rate, fuel string
	brix, syrup, concentrate             float64
}

func boilCommand(g *globals) *cobra.Command {
	f := &forecastFlags{}
	b := &batchFlags{}
	cmd := &cobra.Command{
		Use:   "boil",
		Short: "Syrup, hours, wood and boiling points: of a batch, or of a site's coming days",
		Example: "  thawline boil --sap 400L --brix 2.1 --pressure 985hPa\n" +
			"  thawline boil --config thawline.yaml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if b.sap != "" {
				return boilBatch(cmd, g, b)
			}
			settings, o, err := f.outlook(cmd, g, nil)
			if err != nil {
				return err
			}
			if g.json {
				return writeJSON(cmd.OutOrStdout(), map[string]any{"site": o.Site, "issued_at": o.IssuedAt, "boil": o.Boil, "sugar": o.Sugar, "teaching": o.Teaching})
			}
			words, err := newWords(settings)
			if err != nil {
				return err
			}
			return report.PrintFire(cmd.OutOrStdout(), o, words, settings.Units)
		},
	}
	f.flags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&b.sap, "sap", "", "how much sap there is, such as 400L: answers without a site")
	fl.Float64Var(&b.brix, "brix", 2, "its sugar in per cent")
	fl.StringVar(&b.pressure, "pressure", "1013.25hPa", "air pressure at the pan (not reduced to sea level)")
	fl.Float64Var(&b.syrup, "syrup", boil.SyrupBrix, "sugar of the finished syrup in per cent")
	fl.Float64Var(&b.concentrate, "concentrate", 0, "sugar that sap is brought to before boiling, 0 without")
	fl.StringVar(&b.pan, "pan", config.FlatPan, "flat or flue")
	fl.StringVar(&b.area, "area", "12sqft", "of the pan, such as 12sqft or 1.1m2")
	fl.StringVar(&b.rate, "rate", "", "water boiled away in an hour, measured, such as 45L")
	fl.StringVar(&b.fuel, "fuel", config.Wood, "wood or gas")
	return cmd
}

func boilBatch(cmd *cobra.Command, g *globals, f *batchFlags) error {
	settings, err := g.settings()
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
	pressure := read("--pressure", f.pressure, units.ParsePressure)
	pan := boil.Pan{Kind: boil.Kind(f.pan), Fuel: boil.Fuel(f.fuel), AreaM2: read("--area", f.area, units.ParseArea), RateLH: read("--rate", strings.TrimSuffix(f.rate, "/h"), volume), ReachBrix: f.concentrate}
	if pan.Kind != boil.Flat && pan.Kind != boil.Flue {
		wrong = append(wrong, "--pan "+f.pan+": write flat or flue")
	}
	if pan.Fuel != boil.Wood && pan.Fuel != boil.Gas {
		wrong = append(wrong, "--fuel "+f.fuel+": write wood or gas")
	}
	if len(wrong) > 0 {
		return &wrongUse{strings.Join(wrong, "\n")}
	}
	batch, err := boil.Boil(sap, f.brix, f.syrup, pressure, pan)
	if err != nil {
		return &wrongUse{err.Error()}
	}
	if g.json {
		return writeJSON(cmd.OutOrStdout(), batch)
	}
	words, err := newWords(settings)
	if err != nil {
		return err
	}
	return report.PrintBatch(cmd.OutOrStdout(), &batch, words, settings.Units)
}
