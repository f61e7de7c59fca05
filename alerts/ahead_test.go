package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// bigOn is an outlook with chances of a big run by how many days ahead they lie.
func bigOn(now time.Time, chances map[int]float64) *forecast.Outlook {
	o := quiet()
	o.IssuedAt, o.Source.SeesDays, o.Days = now, 4, nil
	for k := range 9 {
		o.Days = append(o.Days, forecast.Day{Date: now.AddDate(0, 0, k).Format(time.DateOnly), BigProbability: chances[k],
			BigOrNextProbability: 1 - (1-chances[k])*(1-chances[k+1])})
	}
	return o
}

// evenings decides on one evening after another and returns what was told of big runs,
// "" on evenings without.
func evenings(t *testing.T, n *notes, each ...map[int]float64) (out []string) {
	t.Helper()
	for k, chances := range each {
		now := dusk.AddDate(0, 0, k)
		before := len(n.list)
		list, err := Decide(bigOn(now, chances), n, Moment{Now: now, Evening: true}, Usual)
		if err != nil {
			t.Fatal(err)
		}
		n.add(list, now)
		told := ""
		for _, d := range n.list[before:] {
			if d.Kind == LookingAhead || d.Kind == GetReady {
				told += string(d.Kind) + " " + d.Facts.What + " " + d.Facts.From[8:] + "-" + d.Facts.To[8:] + ";"
			}
		}
		out = append(out, told)
	}
	return out
}

func TestStepsBeforeABigRun(t *testing.T) {
	type course []map[int]float64 // evening by evening, from 20 March
	for name, c := range map[string]struct {
		evenings course
		want     []string
	}{
		"a run that comes": {course{{4: 0.7}, {3: 0.7}, {2: 0.8}, {1: 0.9}, {0: 1}},
			[]string{"looking_ahead  24-24;", "get_ready  24-24;", "", "", ""}},
		"nobody knows which of two days": {course{{2: 0.4, 3: 0.5}, {1: 0.4, 2: 0.5}}, []string{"get_ready  22-23;", ""}},
		"called off, and not put on again": {course{{3: 0.6}, {2: 0.04}, {1: 0}, {1: 0.9}, {0: 0.9}},
			[]string{"get_ready  23-23;", "get_ready called_off 23-23;", "", "", ""}},
		"wobbling above the lower bound": {course{{3: 0.6}, {2: 0.2}, {1: 0.6}}, []string{"get_ready  23-23;", "", ""}},
		"moved to the next day, once": {course{{2: 0.6}, {1: 0.1, 2: 0.8}, {1: 0, 2: 0.8}, {1: 0}},
			[]string{"get_ready  22-22;", "get_ready moved 23-23;", "", ""}},
		"one long run": {course{{2: 0.8}, {1: 0.95, 2: 0.8}, {0: 0.95, 1: 0.95, 2: 0.9}},
			[]string{"get_ready  22-22;", "", ""}},
		"another one right after it": {course{{2: 0.8}, {1: 0.9, 2: 0.1, 3: 0.2}, {0: 0.9, 2: 0.8}},
			[]string{"get_ready  22-22;", "", "get_ready  24-24;"}},
		"on the very next day: they are at it": {course{{2: 0.3, 3: 0.4}, {1: 0.8, 2: 0.1, 3: 0.7}},
			[]string{"get_ready  22-23;", ""}},
		"two runs a week": {course{{2: 0.8}, {1: 0.8}, {0: 0.8, 4: 0.8}, {3: 0.8}},
			[]string{"get_ready  22-22;", "", "looking_ahead  26-26;", "get_ready  26-26;"}},
		"from afar, and called off from afar": {course{{4: 0.7}, {3: 0.05}, {2: 0.9}},
			[]string{"looking_ahead  24-24;", "looking_ahead called_off 24-24;", ""}},
		"farther than the forecast sees": {course{{5: 0.9}, {6: 0.9, 7: 0.9}}, []string{"", ""}},
		"tomorrow is the evening text's": {course{{1: 0.95}}, []string{""}},
		"not likely enough":              {course{{2: 0.15, 4: 0.5}, {2: 0.1, 3: 0.05}}, []string{"", ""}},
		"two at once: the nearer one first": {course{{2: 0.8, 4: 0.2}, {1: 0.9, 4: 0.8}},
			[]string{"get_ready  22-22;", "looking_ahead  25-25;"}},
		"it came a day early": {course{{3: 0.8}, {1: 0.9}, {0: 0.9, 1: 0.05}}, []string{"get_ready  23-23;", "", ""}},
	} {
		got := evenings(t, &notes{}, c.evenings...)
		for k := range c.want {
			if got[k] != c.want[k] {
				t.Errorf("%s: evening %d told %q, want %q", name, k+1, got[k], c.want[k])
			}
		}
	}
}

// Not told: before anybody has tapped, after the season, at the likely end, by day, twice
// on one evening; and nothing where the memory fails.
func TestBigRunsThatAreNotTold(t *testing.T) {
	likely := map[int]float64{2: 0.9, 4: 0.9}
	of := func(o *forecast.Outlook, m Memory, at Moment) (n int) {
		list, err := Decide(o, m, at, Usual)
		if err != nil {
			return -1
		}
		for _, d := range list {
			if d.Kind == LookingAhead || d.Kind == GetReady {
				n++
			}
		}
		return n
	}
	evening := Moment{Now: dusk, Evening: true}
	for name, change := range map[string]func(*forecast.Outlook){
		"not tapped":       func(o *forecast.Outlook) { o.Season.Tapped = false },
		"over":             func(o *forecast.Outlook) { o.Season.Stage = season.Over },
		"the end has come": isOver("2026-03-20"), "the forecast sees one day": func(o *forecast.Outlook) { o.Source.SeesDays = 1 },
		"no days known": func(o *forecast.Outlook) { o.Days = o.Days[:2] },
	} {
		o := bigOn(dusk, likely)
		change(o)
		if got := of(o, &notes{}, evening); got != 0 {
			t.Errorf("%s: %d told", name, got)
		}
	}
	if got := of(bigOn(dusk, likely), &notes{}, Moment{Now: dusk}); got != 0 {
		t.Errorf("by day: %d told", got)
	}
	if got := of(bigOn(dusk, likely), lost{}, evening); got != -1 {
		t.Errorf("without a memory: %d told", got)
	}
	n := &notes{}
	for range 3 { // started again on the same evening
		list, err := Decide(bigOn(dusk, likely), n, evening, Usual)
		if err != nil {
			t.Fatal(err)
		}
		n.add(list, dusk)
	}
	told := 0
	for _, d := range n.list {
		if d.Kind == LookingAhead || d.Kind == GetReady {
			told++
		}
	}
	if told != 1 {
		t.Errorf("asked three times on one evening: %d told", told)
	}
}

// The table: steps do not overlap, the nearer the surer, and each is called off well
// below the chance from which it is told.
func TestTableOfSteps(t *testing.T) {
	steps := Usual.Steps()
	for i, s := range steps {
		if s.First > s.Last || s.Last > farthest || s.CallOff > s.Send/2 || s.CallOff <= 0 {
			t.Errorf("%+v", s)
		}
		if i > 0 && s.First >= steps[i-1].First {
			t.Errorf("%s begins no nearer than %s", s.Kind, steps[i-1].Kind)
		}
	}
	if steps[2].Kind != Evening || steps[2].Last != 1 {
		t.Errorf("the last step is %+v", steps[2])
	}
}
