package archive

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/testdata/beside"
)

// anas is what ana says of hours of a day.
func anas(kind records.AttendanceKind, from, to int, groups ...string) records.Attendance {
	day := now.Truncate(24 * time.Hour)
	return records.Attendance{Kind: kind, Person: "ana", Name: "Ana", From: day.Add(time.Duration(from) * time.Hour),
		To: day.Add(time.Duration(to) * time.Hour), Groups: groups}
}

// What somebody says counts once and until it is over, takes the place of what they said
// before of the same time, never of what somebody else said, and can be taken back.
func TestAttendancesCountUntilTheyAreOver(t *testing.T) {
	a := opened(t, beside.Where(t, filepath.Join(t.TempDir(), "a.db")))
	ctx := t.Context()
	at := now.Truncate(24 * time.Hour).Add(6 * time.Hour)
	put := func(key string, said records.Attendance, wantAgain bool) string {
		t.Helper()
		before, err := a.ChangesOf(ctx, "hill")
		if err != nil {
			t.Fatal(err)
		}
		s, again, err := a.PutAttendance(ctx, "hill", key, said, "Ana", at)
		after, err2 := a.ChangesOf(ctx, "hill")
		if err != nil || err2 != nil || again != wantAgain || after-before != map[bool]int64{false: 1}[again] {
			t.Fatalf("%v %v, again %v, %d writes", err, err2, again, after-before)
		}
		return s.ID
	}
	counts := func(at time.Time, want ...string) {
		t.Helper()
		list, err := a.Attendances(ctx, "hill", at, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for i := range list {
			got = append(got, list[i].ID)
			if list[i].SaidBy != "Ana" || list[i].SaidAt.IsZero() || list[i].Name == "" {
				t.Errorf("%+v", list[i])
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", at, got, want)
		}
	}
	goes := put("key-1", anas(records.Going, 15, 17, "north", "south"), false)
	put("key-1", anas(records.Going, 9, 10), true)                    // the same key
	put("key-2", anas(records.Going, 15, 16, "south", "north"), true) // the same round
	bo := anas(records.Going, 15, 17, "north")
	bo.Person, bo.Name = "bo", "Bo"
	bos := put("", bo, false)
	counts(at, goes, bos)
	later := put("", anas(records.Going, 16, 18), false) // nobody makes two rounds at once
	counts(at, bos, later)
	cant := put("", anas(records.Away, 16, 18), false)
	counts(at, bos, cant)
	day := put("", anas(records.Away, 0, 24), false)
	counts(at, bos, day)
	again := put("", anas(records.Going, 10, 11), false) // of a day off one hour is kept all the same
	counts(at, bos, day, again)
	for _, id := range []string{again, day, cant, later} { // taken back one by one
		if err := a.WithdrawAttendance(ctx, "hill", id, "Ana", at); err != nil {
			t.Fatal(err)
		}
	}
	counts(at, goes, bos)
	counts(at.Add(10*time.Hour+59*time.Minute), goes, bos)
	counts(at.Add(11 * time.Hour)) // five in the afternoon: over
	for _, id := range []string{again, "none"} {
		if err := a.WithdrawAttendance(ctx, "hill", id, "Ana", at); !errors.Is(err, ErrNoAttendance) {
			t.Errorf("%s: %v", id, err)
		}
	}
	if err := a.WithdrawAttendance(ctx, "vale", goes, "Ana", at); !errors.Is(err, ErrNoAttendance) {
		t.Errorf("of another site: %v", err)
	}
	if err := a.ForgetAttendances(ctx, "hill", at.AddDate(0, 0, 2)); err != nil {
		t.Fatal(err)
	}
	counts(at)
}
