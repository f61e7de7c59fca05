package records

import (
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
	bad := "at,kind,sap_l,syrup_l\nyesterday,boiled,220,5\n2026-03-20,boiled,,5\n2026-03-20,burnt,1,\n2026-03-20,boiled,10,9\n2027-03-20,boiled,10,\n"
	_, err = ReadHouse(strings.NewReader(bad), "book.csv", time.UTC, now)
	if err == nil {
		t.Fatal("taken")
	}
	for _, want := range []string{"book.csv:2", "yesterday", "book.csv:3", "how much sap", "book.csv:4", "burnt", "book.csv:5", "a quarter", "book.csv:6"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no %q in %v", want, err)
		}
	}
}
