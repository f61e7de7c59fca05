package verify

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

func townsDays(t *testing.T, town string) *weather.Daily {
	t.Helper()
	f := beside.Open(t, "data/"+town+"-daily-1990-2020.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	return &d
}

func endsOfMakers(t *testing.T) []season.Ended {
	t.Helper()
	f := beside.Open(t, "data/season-ends.csv")
	ends, err := season.ReadEnds(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return ends
}

var askedInMarch = []time.Time{time.Date(0, 3, 15, 0, 0, 0, 0, time.UTC), time.Date(0, 3, 25, 0, 0, 0, 0, time.UTC)}

// Ends of seasons that makers in Wisconsin wrote down (a public diary and log, facts only),
// each predicted from the others by the air of a town (GHCN-Daily): no worse than the mean
// date and a plain heat sum together, and better than the mean date; called over within a
// week of the end; the last run within a range that holds.
func TestSeasonEndsArePredicted(t *testing.T) {
	for _, c := range []struct {
		town, place                 string
		ofBaseline, overDays, width float64
	}{
		{"madison", "east Wisconsin", 1, 7, 25},
		// On the lake the last run strays further: 28 days are its climate's own.
		{"milwaukee", "east Wisconsin", 1.02, 8, 28},
		{"madison", "Winter", 1, 7, 25},
	} {
		r, err := BacktestSeason(t.Context(), townsDays(t, c.town), endsOfMakers(t),
			SeasonOptions{Place: c.place, KnownTo: askedInMarch, LatitudeDeg: 44})
		if err != nil {
			t.Fatal(err)
		}
		name := c.town + ", " + c.place
		t.Logf("%s: n %d, RMSE %.1f d, CRPS %.2f d, %+v; over %v; last run %+v; no more %+v", name, r.N, r.RMSEDays, r.CRPSDays,
			r.Asked, r.OverSaid, r.LastRun, r.NoMoreRuns)
		if r.N < 10 || r.RMSEDays > 4 {
			t.Errorf("%s: %d predictions err by %.1f days", name, r.N, r.RMSEDays)
		}
		for _, a := range r.Asked {
			if a.OfBaseline > c.ofBaseline || a.OfMeanDate > 0.7 {
				t.Errorf("%s, %s: %.2f of the baseline, %.2f of the mean date", name, a.KnownTo, a.OfBaseline, a.OfMeanDate)
			}
		}
		for _, s := range r.OverSaid {
			if s.Days < 0 || float64(s.Days) > c.overDays {
				t.Errorf("%s: called over %d days after the end of %d", name, s.Days, s.Year)
			}
		}
		if l := &r.LastRun; l.Coverage80 < 0.7 || l.Coverage80 > 0.9 || l.Width80 > c.width || l.CRPSDays > 5.3 || l.InThePast > 0 {
			t.Errorf("%s: the last run: %+v", name, l)
		}
		if n := &r.NoMoreRuns; n.RunSoon > 0 || n.RunLater > 0.1 || n.Within14 < 0.74 || n.Within20 < 0.9 || n.TakenBack > 0.15 {
			t.Errorf("%s: no more runs: %+v", name, n)
		}
	}
}

// What comes after the day of asking must not enter: other weather then, the same answer.
func TestSeasonLooksNotAhead(t *testing.T) {
	days, ends := townsDays(t, "madison"), endsOfMakers(t)
	only := askedInMarch[:1]
	answer := func() (out []SeasonYear) {
		r, err := BacktestSeason(t.Context(), days, ends, SeasonOptions{Place: "east Wisconsin", KnownTo: only, LatitudeDeg: 44})
		if err != nil {
			t.Fatal(err)
		}
		for _, y := range r.Years {
			if y.Year == 2020 {
				out = append(out, y)
			}
		}
		return out
	}
	before := answer()
	for i := days.Index(time.Date(2020, 3, 16, 0, 0, 0, 0, time.UTC)); i < days.Index(time.Date(2020, 7, 1, 0, 0, 0, 0, time.UTC)); i++ {
		days.LowC[i] += 9
		days.HighC[i] += 9
	}
	if after := answer(); len(before) != 1 || len(after) != 1 || before[0] != after[0] {
		t.Errorf("%+v, with a warmer April %+v", before, after)
	}
}

func TestSeasonsThatCannotBeAsked(t *testing.T) {
	days := weather.NewDaily(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), 60)
	for want, o := range map[string]SeasonOptions{
		"at least 3 of one place": {KnownTo: askedInMarch}, "--known-to": {},
	} {
		if _, err := BacktestSeason(t.Context(), &days, []season.Ended{{Place: "here", On: days.First}}, o); err == nil ||
			!strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}
