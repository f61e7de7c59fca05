package inbound

import (
	"math"
	"testing"

	"thawline/forecast/units"
)

var (
	alike = []Group{{"r", "Ridge"}, {"r2", "Ridge 2"}}
	haut  = []Group{{"haut", "Chaudières du haut"}, {"bas", "D'en bas"}}
)

var two = []Group{{"north", "North slope"}, {"brook", "Along the brook"}}

func TestUnderstand(t *testing.T) {
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
		{"brook 12,5 2,3%", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: 12.5, BrixPct: 2.3}},
		{"  NORTH 180l  2.1 brix. ", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 180, BrixPct: 2.1}},
		{"60 gal full", two[:1], units.US, Understood{Kind: Collected, Group: "north", VolumeL: 60 * 3.785411784, Note: "full"}},
		{"north 0", two, units.Metric, Understood{Kind: Collected, Group: "north", VolumeL: 0}},
		{"brook not checked", two, units.Metric, Understood{Kind: Collected, Group: "brook", VolumeL: -1, Note: "not checked"}},
		{"180 L", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
		{"north", two, units.Metric, Understood{Kind: Question, Unclear: "volume", Group: "north"}},
		{"north 40 gal", two, units.Metric, Understood{Kind: Question, Unclear: "unit", Group: "north"}},
		{"north 40 L 66", two, units.Metric, Understood{Kind: Question, Unclear: "sugar", Group: "north"}},
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
		{"", two, units.Metric, Understood{Kind: Question, Unclear: "group"}},
	} {
		got := Understand(c.text, c.groups, c.system)
		if got.Kind != c.want.Kind || got.Group != c.want.Group || math.Abs(got.VolumeL-c.want.VolumeL) > 1e-9 && c.want.Kind == Collected || math.Abs(got.BrixPct-c.want.BrixPct) > 1e-9 || got.Note != c.want.Note || got.Unclear != c.want.Unclear {
			t.Errorf("%q: %+v, want %+v", c.text, got, c.want)
		}
	}
}

func FuzzUnderstand(f *testing.F) {
	for _, s := range []string{"north 180 L 2.1", "ok", "brook not checked", "north 1e9 L", "°%¨", "north 9999999999999999999999 L"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		u := Understand(text, two, units.US)
		if u.Kind == Collected && (u.Group == "" || math.IsNaN(u.VolumeL) || u.BrixPct < 0 || u.BrixPct > 12) {
			t.Fatalf("%q: %+v", text, u)
		}
	})
}
