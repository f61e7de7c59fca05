package records

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

// A book that was written is read back as it was, and what is wrong in a file is told
// with its line and column, all of it at once.
func TestHouseBookAsAFile(t *testing.T) {
	now := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	nan := math.NaN()
	book := []HouseEntry{
		{Kind: Boiled, At: now.Add(-48 * time.Hour), SapL: 220, SyrupL: 5.1, SugarKg: nan, WoodCords: 0.2, Hours: 6, Note: "hard wood"},
		{Kind: WoodLeft, At: now.Add(-24 * time.Hour), SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: 0.4, Hours: nan},
		{Kind: Boiled, At: now.Add(-20 * time.Hour), SapL: 90, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: 3, Pan: "front"},
		{Kind: Stirred, At: now.Add(-3 * time.Hour), SapL: nan, SyrupL: 4, SugarKg: 3.4, WoodCords: nan, Hours: nan,
			Sugar: &SugarBatch{123.2, 99.6, nan, "poured"}},
		{Kind: TippedOut, At: now.Add(-time.Hour), SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: nan},
	}
	var out strings.Builder
	if err := WriteHouse(&out, book, time.UTC); err != nil {
		t.Fatal(err)
	}
	back, err := ReadHouse(strings.NewReader(out.String()), "book.csv", time.UTC, now)
	if err != nil || len(back) != len(book) {
		t.Fatalf("%v %v\n%s", back, err, out.String())
	}
	for i := range back {
		if !back[i].Like(&book[i]) || !back[i].At.Equal(book[i].At) || back[i].Note != book[i].Note {
			t.Errorf("%+v, was %+v", back[i], book[i])
		}
	}
	bad := "at,kind,sap_l,syrup_l\nyesterday,boiled,220,5\n2026-03-20,boiled,,5\n2026-03-20,burnt,1,\n2026-03-20,boiled,10,9\n2027-03-20,boiled,10,\n2026-03-20,stirred,,4\n"
	_, err = ReadHouse(strings.NewReader(bad), "book.csv", time.UTC, now)
	if err == nil {
		t.Fatal("taken")
	}
	for _, want := range []string{"book.csv:2", "yesterday", "book.csv:3", "how much sap", "book.csv:4", "burnt", "book.csv:5",
		"a quarter", "book.csv:6", "book.csv:7", "left the fire"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no %q in %v", want, err)
		}
	}
}

// What a batch of sugar can't be is told by its own fault.
func TestFaultsOfSugar(t *testing.T) {
	now := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	nan := math.NaN()
	for i, c := range []struct {
		batch *SugarBatch
		want  string
	}{
		{nil, "left"}, {&SugarBatch{nan, 99, nan, "poured"}, "left"}, {&SugarBatch{123, nan, nan, "poured"}, "water"},
		{&SugarBatch{123, 20, nan, "poured"}, "water"},
		{&SugarBatch{100, 99, nan, "poured"}, "left"}, {&SugarBatch{150, 99, nan, "poured"}, "left"},
		{&SugarBatch{123, 99, 120, "poured"}, "air"},
		{&SugarBatch{123, 99, 40, "burnt"}, "outcome"}, {&SugarBatch{123, 99, nan, "lumps"}, ""},
	} {
		e := HouseEntry{Kind: Stirred, At: now, SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: nan, Sugar: c.batch}
		got := ""
		var fault *HouseFault
		if err := e.Check(now); errors.As(err, &fault) {
			got = fault.Kind
			if fault.Error() == "" || strings.Contains(fault.Error(), "kind of entry") {
				t.Errorf("case %d: %v", i, fault)
			}
		}
		if got != c.want {
			t.Errorf("case %d: fault %q, want %q", i, got, c.want)
		}
	}
}
