package inbound

import (
	"fmt"
	"math"
	"regexp"
	"testing"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

// spoken is what came with the program, with words of a community's own where a test
// has some.
func spoken(t testing.TB, table []Row, files ...string) (*Lexicon, []Clash) {
	t.Helper()
	c, err := message.LoadCatalogue(files...)
	if err != nil || len(c.LeftOut) > 0 {
		t.Fatal(err, c.LeftOut)
	}
	return NewLexicon(table, c)
}

var (
	alike = []Group{{"r", "Ridge"}, {"r2", "Ridge 2"}}
	haut  = []Group{{"haut", "Chaudières du haut"}, {"bas", "D'en bas"}}
)

var two = []Group{{"north", "North slope"}, {"brook", "Along the brook"}}

func TestUnderstand(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct {
		text   string
		groups []Group
		system units.System
		want   Understood
	}{
		{"north 180 L 2.1", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 180, BrixPct: 2.1}},
		{"North slope 40 gal", two, units.US, Understood{Kind: Collected, Group: "north", VolumeL: 40 * 3.785411784}},
		{"north 10 imp gal", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 45.4609}},
		{"north 10 gal", two, units.Imperial, Understood{Kind: Collected, Group: "north", VolumeL: 45.4609}},
		{"north 10", two, units.Imperial, Understood{Kind: Collected, Group: "north", VolumeL: 45.4609}},
		{"north 10 us gal", two, units.Imperial, Understood{Kind: Collected, Group: "north", VolumeL: 37.85411784}},
		{"north 10 gallons impériaux 2,1", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 45.4609, BrixPct: 2.1}},
		{"north 10 US gallons full", two, units.Imperial, Understood{Kind: Collected, Group: "north", VolumeL: 37.85411784, Note: "full"}},
		{"brook emptied 24 litres at 2.0 brix thanks", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 24, BrixPct: 2}},
		{"brook 12,5 2,3%", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 12.5, BrixPct: 2.3}},
		{"  NORTH 180l  2.1 brix. ", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 180, BrixPct: 2.1}},
		{"60 gal full", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 60 * 3.785411784, Note: "full"}},
		{"20 gal spilled some", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 20 * 3.785411784, Note: "some spilled"}},
		{"20 gal, spilled a bit", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 20 * 3.785411784, Note: "some spilled"}},
		{"brook 20 gal 2.1, some spilled, thanks", two, units.US, Understood{Kind: Collected, Group: "brook", VolumeL: 20 * 3.785411784,
			BrixPct: 2.1, Note: "some spilled"}},
		{"20 gal, un peu renversé", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 20 * 3.785411784, Note: "some spilled"}},
		{"haut 80 litres, j'en ai renversé un peu", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 80, Note: "some spilled"}},
		{"20 gal full, some spilled", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 20 * 3.785411784, Note: "full, some spilled"}},
		{"20 gal, some ran over", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 20 * 3.785411784, Note: "full"}},
		{"haut 80 L, ça a débordé", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 80, Note: "full"}},
		{"north spilled some", two, units.Metric, Understood{Kind: Question, Unclear: "volume", Group: "north"}},
		{"north 20 L spilled", two, units.Metric, Understood{Kind: Question, Unclear: "words", Group: "north"}}, // all of it?
		{"north 0", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 0}},
		{"I got 60 gal", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 60 * 3.785411784}},
		{"j'ai ramassé 110 litres", two[:1], units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 110}},
		{"encore 40 litres", two[:1], units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 40}},
		{"another 10 gallons", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 10 * 3.785411784}},
		{"brook not checked", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: -1, Note: "not checked"}},
		{"180 L", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
		{"north", two, units.Metric, Understood{Kind: Question, Unclear: "volume", Group: "north"}},
		{"north 40 gal", two, units.Metric, Understood{Kind: Question, Unclear: "unit", Group: "north"}},
		{"north 40 L 66", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 40, BrixPct: 66}},
		{"what a day", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
		{"north about 40", two, units.Metric, Understood{Kind: Question, Unclear: "words", Group: "north"}},
		{"north 40 L full ice", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 40, Note: "full, ice"}},
		{"north empty", two, units.Metric, Understood{Kind: Collected, Group: "north"}},
		{"north 40 L empty", two, units.Metric, Understood{Kind: Question, Unclear: "words", Group: "north"}},
		{"ridge 2 3", alike, units.Metric, Understood{Kind: Collected, Group: "r2", VolumeL: 3}},
		{"ridge 3", alike, units.Metric, Understood{Kind: Collected, Group: "r", VolumeL: 3}},
		{"Haut 180 litres à 2,1\u00a0%", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 180, BrixPct: 2.1}},
		{"haut 180 gelées", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 180, Note: "ice"}},
		{"haut: 180 pleines", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 180, Note: "full"}},
		{"chaudieres du haut 180", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: 180}},
		{"D’en bas, rien", haut, units.Metric, Understood{Kind: Collected, Group: "bas"}},
		{"D’en bas rien", haut, units.Metric, Understood{Kind: Collected, Group: "bas"}},
		{"haut pas vérifiées", haut, units.Metric, Understood{Kind: Collected, Group: "haut", VolumeL: -1, Note: "not checked"}},
		{"Merci!", haut, units.Metric, Understood{Kind: Seen}},
		{"arrêter", haut, units.Metric, Understood{Kind: Stop}},
		{"OK!", two, units.Metric, Understood{Kind: Seen}},
		{"stop", two, units.Metric, Understood{Kind: Stop}},
		{"UNDO.", two, units.Metric, Understood{Kind: Undo}},
		{"Annuler", haut, units.Metric, Understood{Kind: Undo}},
		{"brook 1,200 L", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "1,200"}},
		{"brook 1.200L", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "1.200"}},
		{"brook 1,200", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "1,200"}},
		{"brook,1,200, full", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "1,200"}},
		{"brook 12,500 gal 2.1", two, units.US, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "12,500"}},
		{"brook 180 L 2,125", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "2,125"}},
		{"brook 180 L 2.125 %", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "2.125"}},
		{"1,200 L", two[:1], units.Metric, Understood{Kind: Question, Unclear: "number", Group: "north", Number: "1,200"}},
		{"1,200 L", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
		{"brook 1,200.5 L", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"brook 1.200,5 L", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"brook 1,200,000", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"brook 1 200 L", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"brook 2 000", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"brook 1 005", two, units.Metric, Understood{Kind: Question, Unclear: "thousands", Group: "brook"}},
		{"ridge 2 300 L", alike, units.Metric, Understood{Kind: Collected, Group: "r2", VolumeL: 300}},
		{"ridge 2\u00a0300 L", alike, units.Metric, Understood{Kind: Collected, Group: "r2", VolumeL: 300}},
		{"ridge\u00a02 1\u00a0300 L", alike, units.Metric, Understood{Kind: Collected, Group: "r2", VolumeL: 1300}},
		{"brook 1\u202f200 L", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 1200}},
		{"brook 1\u00a0200,5L 2,1", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 1200.5, BrixPct: 2.1}},
		{"brook 1\u2009200,500 L", two, units.Metric, Understood{Kind: Question, Unclear: "number", Group: "brook", Number: "1200,500"}},
		{"brook 180\u00a02,1", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 180, BrixPct: 2.1}},
		{"brook 1,2 L", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 1.2}},
		{"brook 12.5", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 12.5}},
		{"brook 1.25", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 1.25}},
		{"brook 0,125", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 0.125}},
		{"brook 1200 L 2.1", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 1200, BrixPct: 2.1}},
		{"", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
	} {
		got := l.Understand(c.text, c.groups, c.system)
		if got.Kind != c.want.Kind || got.Group != c.want.Group || math.Abs(got.VolumeL-c.want.VolumeL) > 1e-9 &&
			c.want.Kind == Collected || math.Abs(got.BrixPct-c.want.BrixPct) > 1e-9 || got.Note != c.want.Note ||
			got.Unclear != c.want.Unclear || got.Number != c.want.Number {
			t.Errorf("%q: %+v, want %+v", c.text, got, c.want)
		}
	}
}

func FuzzUnderstand(f *testing.F) {
	l, _ := spoken(f, Table)
	for _, s := range []string{"north 180 L 2.1", "ok", "brook not checked", "north 1e9 L", "°%¨", "north 9999999999999999999999 L",
		"north 1,200 L", "north 1.200,5", "north 1 200", "north 1\u202f200 2,125 %", "brook 2 000"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		u := l.Understand(text, two, units.US)
		if u.Kind == Collected && (u.Group == "" || math.IsNaN(u.VolumeL) || u.BrixPct < 0) {
			t.Fatalf("%q: %+v", text, u)
		}
		if n := thousands.FindString(text); n != "" && u.Kind == Collected {
			t.Fatalf("%q: %s is guessed: %+v", text, n, u)
		}
	})
}

// thousands are numbers that some write for 1200 and some for 1.2.
var thousands = regexp.MustCompile(`(?:^|[^0-9])[1-9][0-9]*[.,][0-9]{3}(?:[^0-9]|$)`)

// Both readings of an unclear number, written again, are understood.
func TestReadings(t *testing.T) {
	l, _ := spoken(t, Table)
	for number, want := range map[string][2]float64{"1,200": {1200, 1.2}, "1.200": {1200, 1.2}, "12,345": {12345, 12.35},
		"2.125": {2125, 2.13}, "1,001": {1001, 1}} {
		whole, decimal := Understood{Number: number}.Readings()
		if whole != want[0] || math.Abs(decimal-want[1]) > 1e-9 {
			t.Errorf("%s: %g or %g, want %v", number, whole, decimal, want)
		}
		for _, one := range want {
			if u := l.Understand(fmt.Sprintf("north %g L", one), two, units.Metric); u.Kind != Collected || u.VolumeL != one {
				t.Errorf("%g is asked back again: %+v", one, u)
			}
		}
	}
}
