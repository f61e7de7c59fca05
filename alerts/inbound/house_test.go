package inbound

import (
	"math"
	"testing"

	"thawline/forecast/units"
)

// Lines of the sugarhouse's book, in both languages and in the units of who writes.
func TestLinesOfTheSugarhouse(t *testing.T) {
	l, _ := spoken(t, Table)
	nan := math.NaN()
	for _, c := range []struct {
		text                           string
		system                         units.System
		kind                           Kind
		sap, syrup, sugar, wood, hours float64
	}{
		{"boiled 220 L 5.1 L syrup", units.Metric, Boiled, 220, 5.1, nan, nan, nan},
		{"Boiled 220 L, 5.1 L of syrup, 0.2 cord, 6 h.", units.Metric, Boiled, 220, 5.1, nan, 0.2, 6},
		{"boiled 60 gal", units.US, Boiled, 60 * units.LitresPerUSGallon, nan, nan, nan, nan},
		{"boiled 60 1.4 syrup", units.US, Boiled, 60 * units.LitresPerUSGallon, 1.4 * units.LitresPerUSGallon, nan, nan, nan},
		{"220 L boiled 5.1", units.Metric, Boiled, 220, 5.1, nan, nan, nan},
		{"boiled syrup 5 L sap 200 L", units.Metric, Boiled, 200, 5, nan, nan, nan},
		{"boiled 220 L of sap to 5 L of syrup", units.Metric, Boiled, 220, 5, nan, nan, nan},
		{"boiled 220 L 4 kg sugar", units.Metric, Boiled, 220, nan, 4, nan, nan},
		{"wood 0.4 cord", units.US, WoodLeft, nan, nan, nan, 0.4, nan},
		{"wood 0.4", units.Metric, WoodLeft, nan, nan, nan, 0.4, nan},
		{"bois 2 stères", units.Metric, WoodLeft, nan, nan, nan, 2 / units.SteresPerCord, nan},
		{"sap 120 L", units.Metric, SapLeft, 120, nan, nan, nan, nan},
		{"stock 0", units.Metric, SapLeft, 0, nan, nan, nan, nan},
		{"syrup 6 L", units.Metric, SyrupLeft, nan, 6, nan, nan, nan},
		{"tipped out 40 L", units.Metric, TippedOut, 40, nan, nan, nan, nan},
		{"tipped out", units.Metric, TippedOut, nan, nan, nan, nan, nan},
		{"bouilli 220 L 5,1 L de sirop", units.Metric, Boiled, 220, 5.1, nan, nan, nan},
		{"jeté 40 L", units.Metric, TippedOut, 40, nan, nan, nan, nan},
	} {
		for _, groups := range [][]Group{two, two[:1]} {
			u := l.Understand(c.text, groups, c.system)
			if u.Kind != c.kind || u.House == nil {
				t.Errorf("%q: %+v", c.text, u)
				continue
			}
			for i, pair := range [][2]float64{{u.House.SapL, c.sap}, {u.House.SyrupL, c.syrup}, {u.House.SugarKg, c.sugar}, {u.House.WoodCords, c.wood}, {u.House.Hours, c.hours}} {
				if math.Abs(pair[0]-pair[1]) > 1e-9 || math.IsNaN(pair[0]) != math.IsNaN(pair[1]) {
					t.Errorf("%q: figure %d is %g, want %g", c.text, i, pair[0], pair[1])
				}
			}
		}
	}
}

// What is no line of the sugarhouse's book stays what it was, and what is not clear is
// asked back and never guessed.
func TestNoLineOfTheSugarhouse(t *testing.T) {
	l, _ := spoken(t, Table)
	for text, kind := range map[string]Kind{
		"where sap": Where, "sap tomorrow?": Tomorrow, "north 60 L": Collected, "ok": Seen,
		"boiled": Question, "boiled 220 L 5 L syrup 3 L": Question, "boiled 1,200 L": Question, "sap 120 days": Question,
		"boiled a lot 220 L": Question, "boiled north 220 L": Question, "syrup": Question,
	} {
		if u := l.Understand(text, two, units.Metric); u.Kind != kind || u.House != nil && kind != Boiled {
			t.Errorf("%q: %+v", text, u)
		}
	}
}
