package archive

import (
	"errors"
	"math"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/records"
)

// The sugarhouse's book is kept as it came, once, and what is taken out can come back.
func TestHouseEntriesAreKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	at := time.Date(2026, 3, 20, 22, 0, 0, 0, time.UTC)
	boiled := records.HouseEntry{Site: "hill", Kind: records.Boiled, At: at, SapL: 220, SyrupL: 5.1, SugarKg: math.NaN(),
		WoodCords: math.NaN(), Hours: math.NaN(), By: "robin"}
	before, err := a.ChangesOf(t.Context(), "hill")
	if err != nil {
		t.Fatal(err)
	}
	first, outcome, err := a.PutHouse(t.Context(), boiled, "text-1", at)
	if err != nil || outcome != Added || first.ID == "" {
		t.Fatalf("%v %v %v", first, outcome, err)
	}
	if after, err := a.ChangesOf(t.Context(), "hill"); err != nil || after != before+1 {
		t.Errorf("%d writes were counted, %v", after-before, err)
	}
	for _, again := range []struct {
		key   string
		after time.Duration
	}{{"text-1", 3 * time.Hour}, {"page-7", 5 * time.Minute}} {
		other := boiled
		other.At = at.Add(again.after)
		if s, outcome, err := a.PutHouse(t.Context(), other, again.key, at); err != nil || outcome != Same || s.ID != first.ID {
			t.Errorf("%s counts again: %v %v", again.key, outcome, err)
		}
	}
	later := boiled
	later.At = at.Add(time.Hour)
	if _, outcome, err := a.PutHouse(t.Context(), later, "", at); err != nil || outcome != Added {
		t.Errorf("another boil an hour later: %v %v", outcome, err)
	}
	book, err := a.House(t.Context(), "hill", at.AddDate(0, 0, -1), time.UTC)
	if err != nil || len(book) != 2 || book[0].SapL != 220 || book[0].SyrupL != 5.1 || !math.IsNaN(book[0].WoodCords) ||
		!book[0].At.Equal(at) || book[0].RecordedBy != "robin" {
		t.Fatalf("%+v %v", book, err)
	}
	if _, err := a.RemoveHouse(t.Context(), "other", first.ID, true, "wren", at); !errors.Is(err, ErrNoEntry) {
		t.Errorf("another site takes it out: %v", err)
	}
	if _, err := a.RemoveHouse(t.Context(), "hill", first.ID, true, "wren", at); err != nil {
		t.Fatal(err)
	}
	if book, _ := a.House(t.Context(), "hill", at.AddDate(0, 0, -1), time.UTC); len(book) != 1 {
		t.Errorf("taken out, and %d are left", len(book))
	}
	if s, err := a.RemoveHouse(t.Context(), "hill", first.ID, false, "wren", at); err != nil || s.Removed || s.SapL != 220 {
		t.Errorf("brought back: %+v %v", s, err)
	}
	if book, _ := a.House(t.Context(), "other", at.AddDate(0, 0, -1), time.UTC); len(book) != 0 {
		t.Error("another site's book has it")
	}
}

// A batch of sugar comes back as it was kept, and the same is kept once.
func TestSugarIsKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	at := time.Date(2026, 3, 20, 22, 0, 0, 0, time.UTC)
	nan := math.NaN()
	e := records.HouseEntry{Site: "hill", Kind: records.Stirred, At: at, SapL: nan, SyrupL: 4, SugarKg: 3.4, WoodCords: nan, Hours: nan,
		By: "robin", Sugar: &records.SugarBatch{LeftC: 123.2, WaterC: 99.6, HumidityPct: nan, Outcome: "poured"}}
	if _, outcome, err := a.PutHouse(t.Context(), e, "", at); err != nil || outcome != Added {
		t.Fatalf("%v %v", outcome, err)
	}
	if _, outcome, err := a.PutHouse(t.Context(), e, "", at); err != nil || outcome != Same {
		t.Errorf("the same batch again: %v %v", outcome, err)
	}
	book, err := a.House(t.Context(), "hill", time.Time{}, time.UTC)
	if err != nil || len(book) != 1 || !book[0].Like(&e) || book[0].Sugar == nil || book[0].Sugar.Outcome != "poured" {
		t.Fatalf("%+v %v", book, err)
	}
}
