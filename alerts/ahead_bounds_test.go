package alerts

import (
	"math"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// bigDays are rules on an outlook with chances of a big run by day, and on it or the next.
func bigDays(chances map[int]float64) *rules {
	o := bigOn(dusk, nil)
	for k, p := range chances {
		o.Days[k].BigProbability = p
	}
	for k := range o.Days[:8] { // the sum: figures that are exact
		o.Days[k].BigOrNextProbability = o.Days[k].BigProbability + o.Days[k+1].BigProbability
	}
	return &rules{o: o, site: o.Site, at: Moment{Now: dusk, Evening: true}, t: Usual, zone: zone, memory: past{}}
}

// The days of a big run by hand: a day on which a quarter of the chance falls is named, one
// with less is not; nothing beyond what the outlook knows.
func TestDaysOfABigRun(t *testing.T) {
	for name, c := range map[string]struct {
		chances  map[int]float64
		k        int
		from, to int
	}{
		"one day":                   {map[int]float64{2: 0.5}, 2, 2, 2},
		"the next alone":            {map[int]float64{3: 0.5}, 2, 3, 3},
		"a quarter on the next":     {map[int]float64{2: 0.375, 3: 0.125}, 2, 2, 3},
		"less on the next":          {map[int]float64{2: 0.376, 3: 0.124}, 2, 2, 2},
		"a quarter on this":         {map[int]float64{2: 0.125, 3: 0.375}, 2, 2, 3},
		"less on this":              {map[int]float64{2: 0.124, 3: 0.376}, 2, 3, 3},
		"the last that is known of": {map[int]float64{8: 0.5}, 8, 8, 8},
	} {
		r := bigDays(c.chances)
		d := r.o.Days[c.k]
		if c.k == 8 {
			d.BigOrNextProbability = 0.5
		}
		if from, to := r.likelyDays(c.k, &d); from != c.from || to != c.to {
			t.Errorf("%s: days %d to %d, want %d to %d", name, from, to, c.from, c.to)
		}
	}
	run := bigRun{from: 3, to: 4}
	for _, c := range []struct {
		from, to int
		want     bool
	}{{1, 1, false}, {2, 2, true}, {3, 4, true}, {5, 5, true}, {6, 6, false}, {5, 6, true}, {1, 2, true}} {
		if got := run.beside(c.from, c.to); got != c.want {
			t.Errorf("days 3 and 4 lie beside %d to %d: %t", c.from, c.to, got)
		}
	}
	r := bigDays(map[int]float64{0: 0.1, 1: 0.2, 2: 0.3, 3: 0.4})
	for _, c := range []struct {
		run  bigRun
		want float64
	}{{bigRun{from: 1, to: 1}, 0.2}, {bigRun{from: 1, to: 2}, 0.5}, {bigRun{from: 0, to: 1}, 0.1 + 0.2}, {bigRun{from: -1, to: 0}, 0.1}} {
		if got := r.chanceOf(&c.run); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("a run of days %d to %d comes with %g, want %g", c.run.from, c.run.to, got, c.want)
		}
	}
}

// Who got ready for a run is still so for one that begins the day after it, or the next if the day
// between is a big one as well; not for one within it, one called off, nor a farther step.
func TestWhoIsStillReady(t *testing.T) {
	ready := Decision{Kind: GetReady}
	off := Decision{Kind: GetReady, Facts: Facts{What: calledOff}}
	for name, c := range map[string]struct {
		between float64 // that day 2, or today, is a big one
		run     bigRun
		kind    Kind
		from    int
		want    bool
	}{
		"the day after":               {0, bigRun{from: 1, to: 1, told: ready}, GetReady, 2, true},
		"its own day":                 {1, bigRun{from: 1, to: 1, told: ready}, GetReady, 1, false},
		"within it":                   {1, bigRun{from: 1, to: 2, told: ready}, GetReady, 2, false},
		"a big day between":           {lasts, bigRun{from: 1, to: 1, told: ready}, GetReady, 3, true},
		"a smaller day between":       {lasts - 0.01, bigRun{from: 1, to: 1, told: ready}, GetReady, 3, false},
		"two days between":            {1, bigRun{from: 1, to: 1, told: ready}, GetReady, 4, false},
		"it was yesterday":            {1, bigRun{from: -1, to: -1, told: ready}, GetReady, 1, true},
		"yesterday, and little today": {0, bigRun{from: -1, to: -1, told: ready}, GetReady, 1, false},
		"it was called off":           {1, bigRun{from: 1, to: 1, told: off}, GetReady, 2, false},
		"only looked ahead":           {1, bigRun{from: 1, to: 1, told: Decision{Kind: LookingAhead}}, GetReady, 2, false},
		"looking ahead now":           {1, bigRun{from: 1, to: 1, told: ready}, LookingAhead, 2, false},
	} {
		r := bigDays(map[int]float64{0: c.between, 2: c.between, 3: c.between})
		if got := r.stillReady(&c.run, &Step{Kind: c.kind}, c.from); got != c.want {
			t.Errorf("%s: still ready %t", name, got)
		}
	}
}

// Days join a run that is expected to last to them: an even chance on a day that it has, nine
// in ten where it must last over several, and the days between count.
func TestDaysThatJoinARun(t *testing.T) {
	for name, c := range map[string]struct {
		chances  map[int]float64
		run      bigRun
		from, to int
		want     bool
	}{
		"the same day":                  {map[int]float64{3: 0.5}, bigRun{from: 3, to: 3}, 4, 4, true},
		"less than even":                {map[int]float64{3: 0.49}, bigRun{from: 3, to: 3}, 4, 4, false},
		"two days on, surely":           {map[int]float64{3: 0.9, 4: 0.9}, bigRun{from: 3, to: 3}, 5, 5, true},
		"two days on, less so":          {map[int]float64{3: 0.9, 4: 0.89}, bigRun{from: 3, to: 3}, 5, 5, false},
		"before it":                     {map[int]float64{4: 0.5}, bigRun{from: 4, to: 4}, 3, 3, true},
		"before it, hardly":             {map[int]float64{4: 0.49}, bigRun{from: 4, to: 4}, 3, 3, false},
		"two days before, surely":       {map[int]float64{4: 0.9, 5: 0.9}, bigRun{from: 5, to: 5}, 3, 3, true},
		"two days before, with a gap":   {map[int]float64{4: 0.1, 5: 0.9}, bigRun{from: 5, to: 5}, 3, 3, false},
		"within it":                     {nil, bigRun{from: 2, to: 4}, 3, 3, true},
		"its last day, whatever chance": {nil, bigRun{from: 2, to: 4}, 4, 5, true},
	} {
		if got := bigDays(c.chances).joined(&c.run, c.from, c.to); got != c.want {
			t.Errorf("%s: joined %t, want %t", name, got, c.want)
		}
	}
}

// A step is told from its chance on, and called off below its own: on the bound it is told, and
// is not called off. What is past or begins today is not called off, nor what was told a year ago.
func TestBoundsOfTheSteps(t *testing.T) {
	told := func(r *rules) string {
		r.ahead()
		out := ""
		for _, d := range r.out {
			out += string(d.Kind) + " " + d.Facts.What
		}
		return out
	}
	for name, c := range map[string]struct {
		chances map[int]float64
		memory  past
		want    string
	}{
		"ready, on the bound":     {map[int]float64{2: 0.25}, nil, "get_ready "},
		"ready, below it":         {map[int]float64{2: 0.24}, nil, ""},
		"from afar, on the bound": {map[int]float64{4: 0.5, 5: 0.1}, nil, "looking_ahead "},
		"from afar, below it":     {map[int]float64{4: 0.5, 5: 0.09}, nil, ""},
		"off":                     {nil, past{}.and(GetReady, "2026-03-21", Facts{From: "2026-03-21", To: "2026-03-21"}, dusk.AddDate(0, 0, -1)), "get_ready called_off"},
		"not off, on the bound": {map[int]float64{1: Usual.GetReady.CallOff},
			past{}.and(GetReady, "2026-03-21", Facts{From: "2026-03-21", To: "2026-03-21"}, dusk.AddDate(0, 0, -1)), ""},
		"it was to come today": {nil, past{}.and(GetReady, "2026-03-20", Facts{From: "2026-03-20", To: "2026-03-20"}, dusk.AddDate(0, 0, -1)), ""},
		"it was called off before": {nil, past{}.and(GetReady, "2026-03-21", Facts{From: "2026-03-21", To: "2026-03-21"}, dusk.AddDate(0, 0, -2)).
			and(GetReady, "2026-03-21:called_off", Facts{From: "2026-03-21", To: "2026-03-21", What: calledOff}, dusk.AddDate(0, 0, -1)), ""},
		"told today": {map[int]float64{2: 0.9}, past{}.and(LookingAhead, "2026-03-27", Facts{From: "2026-03-27", To: "2026-03-27"}, dusk.Add(-time.Hour)), ""},
	} {
		r := bigDays(c.chances)
		if c.memory != nil {
			r.memory = c.memory
		}
		r.spring = Spring{Stage: season.Opened, Tapped: true}
		if got := told(r); got != c.want {
			t.Errorf("%s: told %q, want %q", name, got, c.want)
		}
	}
}

// A season that is over is the one before from October on: who has tapped hears, who has not
// does not, and in September nobody who does not gather.
func TestWhenABushIsOpen(t *testing.T) {
	october, september := time.Date(2026, 10, 1, 0, 0, 0, 0, zone), time.Date(2026, 9, 30, 23, 0, 0, 0, zone)
	for name, c := range map[string]struct {
		s    Spring
		now  time.Time
		want bool
	}{
		"tapped in October":    {Spring{Stage: season.Over, Tapped: true}, october, true},
		"untapped in October":  {Spring{Stage: season.Over}, october, false},
		"tapped in September":  {Spring{Stage: season.Over, Tapped: true}, september, false},
		"before, tapped":       {Spring{Stage: season.Before, Tapped: true}, dusk, true},
		"before, untapped":     {Spring{Stage: season.Before}, dusk, false},
		"late, untapped":       {Spring{Stage: season.Late}, dusk, true},
		"late, in October":     {Spring{Stage: season.Late}, october, true},
		"two weeks and a bit":  {Spring{Stage: season.Over, LastVisit: dusk.Add(-stillGathers)}, dusk, false},
		"less than two weeks":  {Spring{Stage: season.Over, LastVisit: dusk.Add(time.Minute - stillGathers)}, dusk, true},
		"nobody ever gathered": {Spring{Stage: season.Over}, dusk, false},
	} {
		if got := c.s.Open(c.now); got != c.want {
			t.Errorf("%s: open %t, want %t", name, got, c.want)
		}
	}
}

// On the last day a change is told from five on until an hour before; a danger that is gone
// likewise; a cold that is three degrees from the bound is clear.
func TestBoundsOfAVisit(t *testing.T) {
	memory := past{}.and(ClassVisit, "one:1", Facts{What: "stock"}, dusk.AddDate(0, 0, -1))
	off := past{}.and(ClassOff, "one:off", Facts{}, dusk.AddDate(0, 0, -1))
	for name, c := range map[string]struct {
		now    time.Time
		feelsC float64
		told   bool
	}{
		"five":                {clock(20, 5, 0), -20, true},
		"before five":         {clock(20, 4, 59), -20, false},
		"an hour before":      {clock(20, 8, 30), -20, true},
		"less than an hour":   {clock(20, 8, 31), -20, false},
		"three degrees apart": {clock(20, 6, 0), -15, true},
		"less":                {clock(20, 6, 0), -14.9, false},
	} {
		p := classOn(20, forecast.Indoors)
		p.FeelsC = &c.feelsC
		if said, _ := classTexts(t, memory, Moment{Now: c.now}, p); (len(said) > 0) != c.told {
			t.Errorf("%s: told %v", name, said)
		}
		if name != "an hour before" && name != "less than an hour" {
			continue
		}
		if said, _ := classTexts(t, off.and(ClassVisit, "one:1", Facts{What: "stock"}, dusk.AddDate(0, 0, -1)), Moment{Now: c.now},
			classOn(20, forecast.FromStock)); (len(said) > 0) != c.told {
			t.Errorf("the danger is gone, %s: told %v", name, said)
		}
	}
	for name, hold := range map[string]*time.Time{"ahead": at(20, 20), "past": at(20, 18), "none": nil} {
		p := classOn(21, forecast.FromStock)
		p.HoldFrom = hold
		_, list := classTexts(t, nil, Moment{Now: dusk, Evening: true}, p)
		if len(list) != 1 || list[0].Facts.Class.HoldFrom.IsZero() != (name != "ahead") {
			t.Errorf("to hold back from, %s: %+v", name, list)
		}
	}
}
