package alerts

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// Of a closed season the evening tells one thing, under the year's key; between evenings
// nothing is told, whatever the outlook says.
func TestAClosedSeason(t *testing.T) {
	o := quiet()
	o.Days[1].RunProbability = 0.9
	o.Source.AgeHours = 60
	hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Gather, GoAt: at(21, 9), Latest: at(21, 9), AloneProbability: 0.9,
		AloneOverAt: at(21, 12)})
	o.Season.End.P50 = "2026-03-21"
	o.Season.Stage, o.Season.Closed = season.Closed, &forecast.Closed{On: "2026-03-19", Visits: 34, SapL: 3100}
	before := said{Evening: {Key: "evening:2026-03-19", Facts: Facts{Date: "2026-03-20", Chance: 0.9, VolumeL: 100}}}
	if got := decide(t, o, before, Moment{Now: dusk.Add(-6 * time.Hour)}); len(got) != 0 {
		t.Errorf("%+v", got)
	}
	got := decide(t, o, before, Moment{Now: dusk, Evening: true})
	if len(got) != 1 || got[0].Kind != Closed || got[0].Key != "closed:2026" || got[0].Urgent || got[0].Facts.Visits != 34 ||
		got[0].Facts.VolumeL != 3100 || got[0].Facts.What != "" {
		t.Errorf("%+v", got)
	}
	litres := 74.0
	for what, c := range map[string]*forecast.Closed{"nothing": {On: "2026-03-19"},
		"syrup": {On: "2026-03-19", Visits: 1, SapL: 3100, SyrupL: &litres}} {
		if f := FactsOfClosed(c); f.What != what {
			t.Errorf("%s: %+v", what, f)
		}
	}
}

// Taps that are put in or pulled are no change in the weather: what is left is held
// against its part of what was announced.
func TestTapsAreNoChange(t *testing.T) {
	for _, c := range []struct {
		then, now, pulled int
		litres            float64
		told              bool
	}{{100, 100, 0, 100, false}, {100, 100, 0, 250, true}, {50, 100, 0, 250, false}, {100, 100, 60, 40, false},
		{100, 100, 60, 90, true}, {0, 100, 0, 250, true}} {
		o := quiet()
		o.Bush = forecast.Bush{Name: "Hill", Taps: c.now,
			Groups: []forecast.GroupName{{ID: "a", Taps: c.now - c.pulled}, {ID: "b", Taps: c.pulled, Pulled: c.pulled > 0}}}
		o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, c.litres
		last := said{Evening: {Key: "evening:2026-03-20", Facts: Facts{Date: "2026-03-21", Chance: 0.9, VolumeL: 100, Taps: c.then}}}
		told := false
		for _, d := range decide(t, o, last, Moment{Now: dusk.Add(12 * time.Hour)}) {
			told = told || d.Kind == Change && strings.HasSuffix(d.Key, ":more")
		}
		if told != c.told {
			t.Errorf("%d taps of which %d are pulled, %.0f L: told %t", c.now, c.pulled, c.litres, told)
		}
	}
}

// What is about one group says which, so that it goes no further once its taps are pulled.
func TestWarningsOfAGroupNameIt(t *testing.T) {
	all, n := occasions(), 0
	for _, k := range KindsWhere((*Profile).ByRole) {
		if !k.OfGroup() {
			continue
		}
		o, c := quiet(), all[k]
		c.change(o)
		for _, d := range decide(t, o, c.memory, c.at) {
			if d.Kind == k && d.Facts.GroupID != "pails" {
				t.Errorf("%s is of group %q", k, d.Facts.GroupID)
			}
			n++
		}
	}
	if n < 3 {
		t.Errorf("%d warnings", n)
	}
}
