package archive

import (
	"errors"
	"math"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/records"
)

// Observations are kept once; another figure for the same night takes the place of the
// first, which comes back when it is taken out.
func TestObservationsAreKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	at := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	low := func(c float64) records.Observation {
		return records.Observation{Site: "hill", Kind: records.Low, Day: "2026-03-20", At: at, TemperatureC: c, By: "robin"}
	}
	drip := func(kind records.ObservationKind, after time.Duration, by string) records.Observation {
		return records.Observation{Site: "hill", Kind: kind, Day: "2026-03-20", At: at.Add(after), TemperatureC: math.NaN(), By: by}
	}
	put := func(o records.Observation, key string, want Outcome) PutObservation {
		t.Helper()
		puts, err := a.PutObservations(t.Context(), []records.Observation{o}, key, at)
		if err != nil || len(puts) != 1 || puts[0].Outcome != want {
			t.Fatalf("%v %v, want %s", puts, err, want)
		}
		return puts[0]
	}
	are := func(want ...string) {
		t.Helper()
		list, err := a.Observations(t.Context(), "hill", at, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for i := range list {
			got = append(got, list[i].ID)
		}
		if len(got) != len(want) {
			t.Fatalf("%d observations, want %d", len(got), len(want))
		}
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("observation %d is another", i)
			}
		}
	}
	before, err := a.ChangesOf(t.Context(), "hill")
	if err != nil {
		t.Fatal(err)
	}
	first := put(low(-4), "text-1", Added)
	if after, err := a.ChangesOf(t.Context(), "hill"); err != nil || after != before+1 {
		t.Errorf("%d writes were counted, %v", after-before, err)
	}
	put(low(-9), "text-1", Same) // the same text again
	put(low(-4.04), "", Same)
	second := put(low(-5), "", Corrected)
	if second.Before.TemperatureC != -4 {
		t.Errorf("took the place of %g", second.Before.TemperatureC)
	}
	are(second.ID)
	if _, err := a.RemoveObservation(t.Context(), "other", second.ID, "wren", at); !errors.Is(err, ErrNoEntry) {
		t.Errorf("another site takes it out: %v", err)
	}
	if s, err := a.RemoveObservation(t.Context(), "hill", second.ID, "wren", at); err != nil || s.TemperatureC != -5 {
		t.Errorf("taken out: %v", err)
	}
	are(first.ID)
	if _, err := a.RemoveObservation(t.Context(), "hill", second.ID, "wren", at); !errors.Is(err, ErrNoEntry) {
		t.Errorf("taken out twice: %v", err)
	}
	wet := put(drip(records.Dripping, time.Hour, "robin"), "", Added)
	put(drip(records.Dripping, time.Hour+9*time.Minute, "wren"), "", Same)
	dry := put(drip(records.NotDripping, time.Hour+5*time.Minute, "robin"), "", Corrected)
	are(first.ID, dry.ID)
	other := put(drip(records.Dripping, time.Hour+6*time.Minute, "wren"), "", Added) // who disagrees
	are(first.ID, dry.ID, other.ID)
	if n, err := a.UndoSince(t.Context(), "hill", at.Add(-time.Hour), "robin", at); err != nil || n != 3 {
		t.Errorf("%d were taken back, %v", n, err)
	}
	are()
	_ = wet
	if err := a.PutReading(t.Context(), "hill", records.Reading{At: at, TemperatureC: 2.5}); err != nil {
		t.Fatal(err)
	}
	if err := a.PutReading(t.Context(), "hill", records.Reading{At: at, TemperatureC: 3}); err != nil {
		t.Fatal(err)
	}
	if r, err := a.Readings(t.Context(), "hill", at, at.Add(time.Hour)); err != nil || len(r) != 1 || r[0].TemperatureC != 2.5 {
		t.Errorf("%v %v", r, err)
	}
	if err := a.Tidy(t.Context(), at.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if r, _ := a.Readings(t.Context(), "hill", at, at.Add(time.Hour)); len(r) != 0 {
		t.Error("readings stay for good")
	}
}
