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
		{"wood 1.5 cords left", units.US, WoodLeft, nan, nan, nan, 1.5, nan},
		{"il reste 1,5 corde de bois", units.Metric, WoodLeft, nan, nan, nan, 1.5, nan},
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
			for i, pair := range [][2]float64{{u.House.SapL, c.sap}, {u.House.SyrupL, c.syrup}, {u.House.SugarKg, c.sugar},
				{u.House.WoodCords, c.wood}, {u.House.Hours, c.hours}} {
				if math.Abs(pair[0]-pair[1]) > 1e-9 || math.IsNaN(pair[0]) != math.IsNaN(pair[1]) {
					t.Errorf("%q: figure %d is %g, want %g", c.text, i, pair[0], pair[1])
				}
			}
		}
	}
}

// A boil in one of several pans names it, whatever the order; a pan without a name is asked
// back, and where nothing was boiled it means nothing.
func TestABoilInOnePan(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct {
		text, pan string
		hours     float64
	}{
		{"boiled 220 L 6 h pan front", "front", 6}, {"boiled 220 L in the pan front 6 h", "front", 6},
		{"boiled in pan 2: 220 L, 6 h", "2", 6}, {"bouilli 220 L 6 h dans la panne avant", "avant", 6},
	} {
		u := l.Understand(c.text, two, units.Metric)
		if u.Kind != Boiled || u.House == nil || u.House.Pan != c.pan || u.House.SapL != 220 || u.House.Hours != c.hours {
			t.Errorf("%q: %+v %+v", c.text, u, u.House)
		}
	}
	for _, text := range []string{"boiled 220 L pan", "wood 0.4 cord pan front"} {
		if u := l.Understand(text, two, units.Metric); u.Kind != Question {
			t.Errorf("%q: %+v", text, u)
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

// With a question mark a noun asks what there is; without one, and without a number, it is asked
// back. What is asked of a group is what hangs there. A day that is over is left to who knows
// today, and sugar to its page.
func TestQuestionsAboutWhatThereIs(t *testing.T) {
	l, _ := spoken(t, Table)
	for text, want := range map[string]Kind{
		"wood?": Stock, "how much syrup is left?": Stock, "sap?": Stock, "bois?": Stock, "il reste combien de sirop?": Stock, "in stock": Stock,
		"wood": Question, "pails?": Where, "north?": Where, "how is north slope?": Where, "where brook": Where, "chaudières?": Where,
		"where is the sap?": Where, "north 20?": Collected, "when can I help?": Next, "when can I come?": Question, "boiled 60 gal yesterday": Question,
		"boiled 60 gal Sunday": Question, "sugar 8 lb": Question, "north 20 left": Question, "who goes?": Next, "qui y va?": Next,
		"ridge": Question, "back": Start, "I'm sick": Cannot, "sick today, can't go": Cannot, "je suis malade": Cannot,
		"north taps are in": Tapped,
	} {
		if u := l.Understand(text, two, units.US); u.Kind != want {
			t.Errorf("%q is %s (%+v), want %s", text, u.Kind, u, want)
		}
	}
	if u := l.Understand("how is north slope?", two, units.US); u.Group != "north" {
		t.Errorf("%+v", u)
	}
	if u := l.Understand("sugar 8 lb", two, units.US); u.Unclear != string(Made) {
		t.Errorf("%+v", u)
	}
}
