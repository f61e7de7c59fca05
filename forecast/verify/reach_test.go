package verify

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"

	"thawline/forecast"
)

// oneSeason is fifty evenings of which those up to so many days ahead were right with a
// chance of nine in ten, and those farther out told nothing.
func oneSeason(right int) (evenings []forecast.Evening, days []forecast.PastDay) {
	date := func(d int) string { return fmt.Sprintf("2026-%02d-%02d", 2+d/28, 1+d%28) }
	ran := func(d int) bool { return d/3%2 == 0 }
	for d := range 50 {
		days = append(days, forecast.PastDay{Date: date(d), Known: true, Ran: ran(d)})
		e := forecast.Evening{Date: date(d)}
		for k := 1; k <= 7; k++ {
			p := 0.5
			if k <= right {
				if p = 0.1; ran(d + k) {
					p = 0.9
				}
			}
			e.Days = append(e.Days, forecast.Day{Date: date(d + k), RunProbability: p})
		}
		evenings = append(evenings, e)
	}
	return evenings, days
}

// The forecast sees three days where nothing is known of a place, and its own seasons
// move that: one a little, several to what they were.
func TestReachIsMeasuredByOwnEvenings(t *testing.T) {
	var none Reach
	none.Add(nil, nil)
	if got := none.Days(); got != 3 {
		t.Errorf("where nothing is known %d days", got)
	}
	for _, c := range []struct{ seasons, right, least, most int }{{1, 7, 4, 7}, {6, 7, 7, 7}, {1, 1, 1, 3}, {8, 1, 1, 1}, {6, 2, 2, 2}} {
		var r Reach
		for range c.seasons {
			r.Add(oneSeason(c.right))
		}
		if got := r.Days(); got < c.least || got > c.most {
			t.Errorf("%d seasons right to %d days: sees %d, want %d to %d", c.seasons, c.right, got, c.least, c.most)
		}
	}
}

// Days of which the weather is not known, and those before the first run or after the
// last, say nothing.
func TestReachLeavesOutWhatSaysNothing(t *testing.T) {
	evenings, days := oneSeason(7)
	var want, got Reach
	want.Add(evenings, days)
	quiet := forecast.PastDay{Date: "2026-01-15", Known: true}
	got.Add(append(slices.Clone(evenings), forecast.Evening{Date: "2026-01-14", Days: []forecast.Day{{Date: quiet.Date}}}),
		append([]forecast.PastDay{quiet, {Date: "2026-01-16"}}, days...))
	for k := 1; k <= 7; k++ {
		if got.Skill(k) != want.Skill(k) {
			t.Errorf("%d days ahead: %.3f, want %.3f", k, got.Skill(k), want.Skill(k))
		}
	}
}

// Forecasts of one night or day that are issued a day apart err alike, which replays of
// many evenings take over (nine northern stations, 2021).
func TestForecastsADayApartErrAlike(t *testing.T) {
	pairs := pairsFile(t)
	for _, c := range []struct {
		of   string
		get  func(p *Pair) (earlier, later, seen float64)
		want float64
	}{
		{"lows 36 and 12 h ahead", func(p *Pair) (float64, float64, float64) { return p.Low36, p.Low12, p.LowSeen }, 0.87},
		{"highs 48 and 24 h ahead", func(p *Pair) (float64, float64, float64) { return p.High48, p.High24, p.HighSeen }, 0.81},
	} {
		var earlier, later []float64
		for i := range pairs {
			a, b, seen := c.get(&pairs[i])
			if inSapSeason(&pairs[i]) && !math.IsNaN(a+b+seen) {
				earlier, later = append(earlier, seen-a), append(later, seen-b)
			}
		}
		got := stat.Correlation(earlier, later, nil)
		t.Logf("%s: n %d, correlation of their errors %.2f", c.of, len(earlier), got)
		if math.Abs(got-c.want) > 0.03 {
			t.Errorf("%s: %.2f, want %.2f", c.of, got, c.want)
		}
	}
}
