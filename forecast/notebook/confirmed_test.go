package notebook

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// A round that was confirmed as expected empties the pails and teaches nothing; the same
// figure measured teaches.
func TestConfirmedTeachesNothing(t *testing.T) {
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	w := weather.NewSeries(start, 10*24)
	flow := make([]float64, w.Hours())
	for i := range flow {
		flow[i] = 0.1
	}
	for note, want := range map[string]string{"": "", records.NoteAsExpected: Confirmed, "comme prévu": Confirmed} {
		visits := []records.Visit{
			{Group: "ridge", Taps: 10, CollectedAt: start.Add(24 * time.Hour), VolumeL: math.NaN(), BrixPct: math.NaN()},
			{Group: "ridge", Taps: 10, CollectedAt: start.Add(4 * 24 * time.Hour), VolumeL: 40, BrixPct: math.NaN(), Note: note},
		}
		entries, now := Read(&w, nil, time.UTC, visits, Taps{Count: 10, Bored: func(int) []float64 { return flow }})
		last := entries[len(entries)-1]
		if last.Why != want || last.CarriedL != 40 || !now.Since.Equal(visits[1].CollectedAt) {
			t.Errorf("%q: %q, %g L carried in, emptied %s", note, last.Why, last.CarriedL, now.Since)
		}
		if taught := last.Visit.ObservedL > 0; taught != (want == "") {
			t.Errorf("%q: taught %t", note, taught)
		}
	}
}
