package alerts

import (
	"errors"
	"slices"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

type broken struct{}

func (broken) Last(string, Kind, string) (Decision, time.Time, bool, error) {
	return Decision{}, time.Time{}, false, errors.New("no memory")
}

// An overview counts bushes by the words that each one's own text has, names those that run
// over by when they do, and is told once for an evening; nothing is told where nothing comes,
// nor where nobody knows what was told.
func TestOverview(t *testing.T) {
	fresh := func(chance float64, over time.Time, name string) BushTomorrow {
		return BushTomorrow{Name: name, Chance: chance, OverAt: over, Fresh: true}
	}
	quiet := []BushTomorrow{fresh(0.1, time.Time{}, "a"), fresh(0.29, time.Time{}, "b")}
	stale := []BushTomorrow{fresh(0, time.Time{}, "a"), {Name: "b"}}
	ran := past{}.and(Overview, "office:2026-03-19", Facts{Bushes: &BushesFacts{Run: 3}}, dusk.Add(-24*time.Hour))
	for name, c := range map[string]struct {
		bushes []BushTomorrow
		memory Memory
		want   *BushesFacts
	}{
		"runs, and runs over": {[]BushTomorrow{fresh(0.9, *at(21, 15), "late"), fresh(0.56, time.Time{}, "b"), fresh(0.3, *at(21, 9), "soon")}, past{},
			&BushesFacts{All: 3, Run: 2, May: 1, Over: 2, First: []string{"soon", "late"}}},
		"nothing comes":              {quiet, past{}, nil},
		"no bush in season":          {nil, past{}, nil},
		"nothing comes after a run":  {quiet, ran, &BushesFacts{All: 2, May: 1}},
		"nothing comes after none":   {quiet, past{}.and(Overview, "office:2026-03-19", Facts{Bushes: &BushesFacts{May: 2}}, dusk.Add(-24*time.Hour)), nil},
		"a run long ago":             {quiet, past{}.and(Overview, "office:2026-03-17", Facts{Bushes: &BushesFacts{Run: 3}}, dusk.Add(-72*time.Hour)), nil},
		"somebody else's run":        {quiet, past{}.and(Overview, "desk:2026-03-19", Facts{Bushes: &BushesFacts{Run: 3}}, dusk.Add(-24*time.Hour)), nil},
		"no weather":                 {stale, past{}, &BushesFacts{All: 2, Stale: 1}},
		"no weather, as they know":   {stale, past{}.and(Overview, "office:2026-03-17", Facts{Bushes: &BushesFacts{Stale: 1}}, dusk.Add(-72*time.Hour)), nil},
		"no weather, after an age":   {stale, past{}.and(Overview, "office:2026-03-10", Facts{Bushes: &BushesFacts{Stale: 1}}, dusk.Add(-240*time.Hour)), &BushesFacts{All: 2, Stale: 1}},
		"just announced":             {[]BushTomorrow{fresh(Usual.RunProbability, time.Time{}, "a")}, past{}, &BushesFacts{All: 1, May: 1}},
		"no weather, after a week":   {stale, past{}.and(Overview, "office:2026-03-13", Facts{Bushes: &BushesFacts{Stale: 1}}, dusk.Add(-again)), nil},
		"five run over":              {[]BushTomorrow{fresh(0, *at(21, 9), "a"), fresh(0, *at(21, 9), "b"), fresh(0, *at(21, 9), "c"), fresh(0, *at(21, 9), "d"), fresh(0, *at(21, 9), "e")}, past{}, &BushesFacts{All: 5, Over: 5, First: []string{"a", "b", "c", "d"}}},
		"runs over without a run":    {[]BushTomorrow{fresh(0, *at(21, 9), "a")}, past{}, &BushesFacts{All: 1, Over: 1, First: []string{"a"}}},
		"nobody knows what was told": {[]BushTomorrow{fresh(0.9, time.Time{}, "a")}, broken{}, nil},
	} {
		d, tells, err := DecideOverview("office", c.bushes, c.memory, dusk, Usual)
		if (err != nil) != (c.memory == Memory(broken{})) || tells != (c.want != nil) {
			t.Errorf("%s: told %t, %v", name, tells, err)
			continue
		}
		if !tells {
			continue
		}
		got := d.Facts.Bushes
		if got.All != c.want.All || got.Run != c.want.Run || got.May != c.want.May || got.Over != c.want.Over || got.Stale != c.want.Stale ||
			!slices.Equal(got.First, c.want.First) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
		if d.Key != "overview:office:2026-03-20" || d.Urgent || d.Site != "" || d.Facts.VolumeL != 0 {
			t.Errorf("%s: %+v", name, d)
		}
	}
}

// What an overview knows of a bush is when the first of its groups that are told of runs over,
// and whether it is in season.
func TestWhatIsWatched(t *testing.T) {
	o := quiet()
	over := func(chance float64, at *time.Time) forecast.GroupWork {
		return forecast.GroupWork{Group: "pails", AloneProbability: chance, AloneOverAt: at}
	}
	o.Work.Groups = []forecast.GroupWork{over(0.9, at(21, 9)), over(0.9, at(20, 23)), over(0.9, at(21, 8)), over(0.01, at(20, 21)), over(0.9, nil)}
	if first, open := Watched(&o.Work, &o.Season, dusk, Usual); !first.Equal(*at(20, 23)) || !open {
		t.Errorf("runs over at %s, in season %t", first, open)
	}
	o.Work.Groups = o.Work.Groups[3:]
	if first, open := Watched(&o.Work, &o.Season, dusk, Usual); !first.IsZero() || !open {
		t.Errorf("runs over at %s, in season %t", first, open)
	}
	for name, change := range map[string]func(s *forecast.Season){
		"over":   func(s *forecast.Season) { s.Stage = season.Over },
		"closed": func(s *forecast.Season) { s.Closed = &forecast.Closed{} },
	} {
		o := quiet()
		change(&o.Season)
		if _, open := Watched(&o.Work, &o.Season, dusk, Usual); open {
			t.Errorf("%s: in season", name)
		}
	}
}
