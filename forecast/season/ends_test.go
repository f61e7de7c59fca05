package season

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// springDays are days from 1 November that warm steadily from February on, with a frost each
// night until a day of the year.
func springDays(year int, frostUntil int) weather.Daily {
	d := weather.NewDaily(time.Date(year-1, 11, 1, 0, 0, 0, 0, time.UTC), 242)
	for i := range d.LowC {
		day := dayOfYear(d.Date(i), year)
		mean := -6 + 0.15*float64(max(day-31, 0))
		d.LowC[i], d.HighC[i] = mean-6, mean+6
		if day <= frostUntil {
			d.LowC[i] = min(d.LowC[i], -2)
		} else {
			d.LowC[i] = max(d.LowC[i], 0)
		}
	}
	return d
}

func TestGoodSapEndsByWarmth(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	g := UsualGoodSap()
	mild, cold := springDays(2026, 90), springDays(2026, 90)
	for i := range cold.LowC {
		cold.LowC[i] -= 3
		cold.HighC[i] -= 3
	}
	early, late := g.Ends(now, []weather.Daily{mild}), g.Ends(now, []weather.Daily{cold})
	if a, b := early.Quantile(0.5), late.Quantile(0.5); b.Sub(a) < 10*24*time.Hour {
		t.Errorf("a spring that is 3 K colder ends on %s, not long after %s", b, a)
	}
	// Ends of its own move a place; a censored one only to later.
	warmth, ok := Warmth(&mild, early.Quantile(0.9))
	if !ok {
		t.Fatal("the warmth is not known")
	}
	own, pulled := UsualGoodSap(), UsualGoodSap()
	for range 4 {
		own.Learn(warmth, false)
	}
	pulled.Learn(warmth/3, true)
	learnt, censored := own.Ends(now, []weather.Daily{mild}), pulled.Ends(now, []weather.Daily{mild})
	if !learnt.Quantile(0.5).After(early.Quantile(0.5)) || learnt.Quantile(0.5).After(early.Quantile(0.9)) {
		t.Errorf("four late ends move the middle from %s to %s", early.Quantile(0.5), learnt.Quantile(0.5))
	}
	if d := censored.Quantile(0.5).Sub(early.Quantile(0.5)); d < 0 || d > 24*time.Hour {
		t.Errorf("taps pulled early moved the end by %s", d)
	}
}

// Once it is known that something has not happened, no part of the belief lies before.
func TestDatesAfter(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	g := UsualGoodSap()
	all := g.Ends(now, []weather.Daily{springDays(2026, 90)})
	for _, p := range []float64{0.05, 0.5, 0.95} {
		known := all.Quantile(p)
		after := all.After(known)
		if after.By(known) != 0 || !after.Quantile(0.01).After(known) || after.By(time.Date(2026, 6, 29, 0, 0, 0, 0, time.UTC)) < 0.99 {
			t.Errorf("after %s the first of hundred comes on %s", known, after.Quantile(0.01))
		}
		if before := all.Before(known); before.By(known) != 1 || before.Quantile(0.5).After(known) {
			t.Errorf("before %s the middle is %s", known, before.Quantile(0.5))
		}
	}
}

func TestLastRunIsTheWeathers(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	last := LastRuns(now, []weather.Daily{springDays(2026, 100), springDays(2026, 110)})
	if got := last.Quantile(0.4).YearDay(); got != 100 {
		t.Errorf("the first of two last runs is on day %d", got)
	}
	if NoMoreRuns(&last, time.Date(2026, 4, 15, 0, 0, 0, 0, time.UTC)) || !NoMoreRuns(&last, time.Date(2026, 4, 21, 0, 0, 0, 0, time.UTC)) {
		t.Error("no more runs is said before the last, or not after it")
	}
}

// It is over only when sap is likely off and no run is likely soon.
func TestStageOf(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	g, courses := UsualGoodSap(), []weather.Daily{springDays(2026, 110)}
	good, last := g.Ends(now, courses), LastRuns(now, courses)
	for _, c := range []struct {
		on        time.Time
		runLikely bool
		want      Stage
	}{
		{time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), false, Before},
		{good.Quantile(0.1).AddDate(0, 0, -5), true, Opened},
		{good.Quantile(0.5), false, Late},
		{good.Quantile(0.9), true, Late},
		{good.Quantile(0.9), false, Over},
		{time.Date(2026, 6, 20, 0, 0, 0, 0, time.UTC), false, Over},
		{time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC), true, Over}, // frost and thaw, and no season
	} {
		if got := StageOf(c.on, &good, &last, c.runLikely); got != c.want {
			t.Errorf("%s, run likely %t: %s, want %s", c.on.Format(time.DateOnly), c.runLikely, got, c.want)
		}
	}
}

func TestReadEnds(t *testing.T) {
	const table = "place,kind,date\nhill,last collection,2015-04-04\nhill,taps pulled,2014-04-06\nstate,mean opening,2014-02-20\n"
	ends, err := ReadEnds(strings.NewReader(table), "ends.csv")
	if err != nil || len(ends) != 2 || ends[0].Censored || !ends[1].Censored {
		t.Errorf("%+v %v", ends, err)
	}
	for text, want := range map[string]string{"date\n": "kind", "kind,date\nend,4 April\n": "ends.csv:2", "kind,date\n": "no ends"} {
		if _, err := ReadEnds(strings.NewReader(text), "ends.csv"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
