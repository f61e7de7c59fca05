package verify

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast"
)

// Worked out by hand: four evenings, one of whose next day nobody knows.
func TestEveningsAgainstHandCount(t *testing.T) {
	evening := func(date, next string, p, mid float64) forecast.Evening {
		return forecast.Evening{Date: date,
			Days: []forecast.Day{{Date: next, RunProbability: p, VolumeL: forecast.Range{P10: mid / 2, P50: mid, P90: 2 * mid}}}}
	}
	evenings := []forecast.Evening{
		evening("2026-03-01", "2026-03-02", 0.8, 100), evening("2026-03-02", "2026-03-03", 0.2, 10),
		evening("2026-03-03", "2026-03-04", 0.95, 200), evening("2026-03-04", "2026-03-05", 0.5, 50), {Date: "2026-03-06"},
	}
	days := []forecast.PastDay{
		{Date: "2026-03-02", Known: true, Ran: true, SapL: forecast.Range{P50: 90}}, {Date: "2026-03-03", Known: true},
		{Date: "2026-03-04", Known: true}, {Date: "2026-03-05"},
	}
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC) }
	visits := []forecast.PastVisit{
		{At: at(1, 17), Group: "a", VolumeL: 5}, {At: at(2, 17), Group: "a", VolumeL: 30}, {At: at(3, 8), Group: "a", VolumeL: math.NaN()},
		{At: at(4, 17), Group: "a", VolumeL: 70}, {At: at(4, 18), Group: "b", VolumeL: 70}, {At: at(6, 17), Group: "a", VolumeL: 10},
	}
	s := Evenings(evenings, days, visits, func(g string) float64 { return map[string]float64{"a": 0.5}[g] }, time.UTC)
	if s.N != 3 || s.Right != 2 {
		t.Errorf("%d of %d", s.Right, s.N)
	}
	// Brier (0.04 + 0.04 + 0.9025) / 3, reference 1/3 · 2/3.
	if want := 1 - (0.04+0.04+0.9025)/3/(2.0/9); math.Abs(s.BrierSkill-want) > 1e-12 {
		t.Errorf("skill %g, by hand %g", s.BrierSkill, want)
	}
	want := []Chance{{0, 10, 0, 0}, {10, 30, 1, 0}, {30, 70, 0, 0}, {70, 90, 1, 1}, {90, 100, 1, 0}}
	if d := cmp.Diff(want, s.Chances); d != "" {
		t.Error(d)
	}
	// The visit on the 4th holds the days of the 3rd and 4th, half the taps; the one
	// on the 6th a day of which no evening spoke.
	if len(s.Visits) != 2 || s.Visits[0].P50 != 50 || s.Visits[1].P50 != 105 || s.Visits[1].P90 != 210 || s.Visits[1].ObservedL != 70 {
		t.Errorf("%+v", s.Visits)
	}
	if len(s.Last) != 4 || s.Last[0].For != "2026-03-05" || s.Last[0].Known || s.Last[3].CameL != 90 {
		t.Errorf("%+v", s.Last)
	}
	if none := Evenings(nil, nil, nil, nil, time.UTC); none.N != 0 || !math.IsNaN(none.BrierSkill) {
		t.Errorf("%+v", none)
	}
}
