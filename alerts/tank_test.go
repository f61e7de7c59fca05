package alerts

import (
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
)

// Sap in the sugarhouse that will not keep is told once, and so is what has gone bad there,
// as of sap that hangs; not where nobody writes down what is boiled, not little, not what
// keeps, and by day only what cannot wait. A new batch is news, and what is boiled is not.
func TestSapInTheSugarhouseIsTold(t *testing.T) {
	evening, noon := Moment{Now: dusk, Evening: true}, Moment{Now: dusk.Add(-6 * time.Hour)}
	batch := func(day string, litres float64, keeps time.Duration, at Moment) forecast.SapBatch {
		return forecast.SapBatch{Batch: day, Litres: litres, BoilBy: at.Now.Add(keeps), Spoilt: keeps <= 0}
	}
	for name, c := range map[string]struct {
		at      Moment
		unknown bool
		sap     []forecast.SapBatch
		want    string
	}{
		"keeps until the next noon": {evening, false, []forecast.SapBatch{batch("18", 90, 18*time.Hour, evening)}, "boil_by:tank:18"},
		"nobody writes boils down":  {evening, true, []forecast.SapBatch{batch("18", 90, 18*time.Hour, evening)}, ""},
		"keeps for two days":        {evening, false, []forecast.SapBatch{batch("18", 90, 48*time.Hour, evening)}, ""},
		"little":                    {evening, false, []forecast.SapBatch{batch("18", 19, 18*time.Hour, evening)}, ""},
		"the forecast ends first": {evening, false, []forecast.SapBatch{{Batch: "18", Litres: 90, BoilBy: evening.Now.Add(9 * time.Hour),
			KeepsLonger: true}}, ""},
		"by day, until tonight":  {noon, false, []forecast.SapBatch{batch("18", 90, 4*time.Hour, noon)}, "boil_by:tank:18"},
		"by day, until tomorrow": {noon, false, []forecast.SapBatch{batch("18", 90, 23*time.Hour, noon)}, ""},
		"gone bad":               {evening, false, []forecast.SapBatch{batch("18", 90, -time.Hour, evening)}, "boil_by:tank_tip_out:18"},
		"gone bad, by day":       {noon, false, []forecast.SapBatch{batch("18", 90, -time.Hour, noon)}, ""},
		"one bad, one soon": {evening, false, []forecast.SapBatch{batch("17", 30, -time.Hour, evening), batch("18", 90, 9*time.Hour, evening)},
			"boil_by:tank:18 boil_by:tank_tip_out:17"},
		// By its newest: the same sap has the same key once the oldest of it has gone bad.
		"sap of two days": {evening, false, []forecast.SapBatch{batch("17", 30, 2*time.Hour, evening), batch("18", 90, 9*time.Hour, evening)},
			"boil_by:tank:18"},
		"more has gone bad": {evening, false, []forecast.SapBatch{batch("17", 30, -30*time.Hour, evening), batch("18", 90, 0, evening)},
			"boil_by:tank_tip_out:18"},
	} {
		o := quiet()
		o.Work.Until = dusk.Add(24 * time.Hour)
		o.Stock = forecast.Stock{BoilsKnown: !c.unknown, Sap: c.sap}
		list, err := Decide(o, past{}, c.at, Usual)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for i := range list {
			d := &list[i]
			if d.Kind != BoilBy {
				continue
			}
			got = append(got, d.Key)
			if d.Overtaken(o) {
				t.Errorf("%s: %s is overtaken as it is told", name, d.Key)
			}
			boiled := *o
			boiled.Stock.Sap = nil
			if !d.Overtaken(&boiled) {
				t.Errorf("%s: %s is told of sap that is boiled", name, d.Key)
			}
			if asked := Questions([]Told{{Decision: *d, MadeAt: dusk}}, nil, nil, dusk.Add(24*time.Hour), dusk.Location()); len(asked) != 0 {
				t.Errorf("%s: asked of %s though the book says it", name, d.Key)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
	}
}

// What stays in the tank of a large bush from boil to boil is no news, which as much would be in a
// small one.
func TestTheRestOfATankIsNoNews(t *testing.T) {
	for taps, want := range map[int]bool{60: true, 480: false} {
		o := quiet()
		o.Bush.Taps = taps
		o.Stock = forecast.Stock{BoilsKnown: true, Sap: []forecast.SapBatch{{Batch: "18", Litres: 45, BoilBy: dusk.Add(10 * time.Hour)},
			{Batch: "19", Litres: 30, BoilBy: dusk.Add(90 * time.Hour)}}}
		list, err := Decide(o, past{}, Moment{Now: dusk, Evening: true}, Usual)
		if err != nil {
			t.Fatal(err)
		}
		if told := slices.ContainsFunc(list, func(d Decision) bool { return d.Kind == BoilBy }); told != want {
			t.Errorf("%d taps: told %v", taps, told)
		}
	}
}
