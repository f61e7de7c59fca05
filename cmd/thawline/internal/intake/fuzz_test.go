package intake

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// FuzzTake writes down whatever anybody could send, by every way: it is refused, or kept
// as a record that there can be, and taking it back leaves nothing.
func FuzzTake(f *testing.F) {
	f.Add("north", 40.0, 2.1, 60, "full", int64(0), false, byte(2))
	f.Add("lane", -1.0, 99.0, -5, "a\x00b", int64(1)<<40, true, byte(4))
	f.Add("", math.Inf(1), math.NaN(), 1<<30, "\xff\xfe", int64(-1)<<40, false, byte(5))
	f.Add("NORTH SLOPE", 1e-300, 5.0, 0, strings.Repeat("é", 5000), int64(-90), false, byte(0))
	a, err := archive.Open(f.Context(), filepath.Join(f.TempDir(), "i.db"))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = a.Close() })
	s, site := Service{Archive: a}, bush("hill")
	f.Fuzz(func(t *testing.T, group string, volume, brix float64, taps int, note string, minutes int64, day bool, way byte) {
		v := records.Visit{Group: group, VolumeL: volume, BrixPct: brix, Taps: taps, Note: note, DateOnly: day}
		if minutes != 0 {
			v.CollectedAt = time.Unix(now.Unix()+minutes%(1<<36)*60, 0).UTC()
		}
		r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{v}, Way: Ways()[int(way)%len(Ways())], From: keeper}, now)
		if err != nil {
			t.Fatalf("%+v: %v", v, err)
		}
		kept, err := a.Visits(t.Context(), "hill", time.Time{}, site.Zone)
		if err != nil {
			t.Fatal(err)
		}
		if r.Refused != (len(kept) == 0) {
			t.Errorf("refused %t, and %d are kept", r.Refused, len(kept))
		}
		for i := range kept {
			k := &kept[i].Visit
			switch {
			case k.VolumeL < 0 || math.IsInf(k.VolumeL, 0) || k.BrixPct < 0 || k.BrixPct > 100 || k.Taps < 0 || k.Taps > 100_000:
				t.Errorf("kept: %g L at %g %% of %d taps", k.VolumeL, k.BrixPct, k.Taps)
			case k.CollectedAt.After(now.Add(24*time.Hour)) || k.CollectedAt.Year() < 1900:
				t.Errorf("kept of %s", k.CollectedAt)
			case !utf8.ValidString(k.Note) || strings.ContainsRune(k.Note, 0) || !utf8.ValidString(k.Group):
				t.Errorf("kept with the note %q", k.Note)
			}
		}
		if len(kept) > 0 {
			if _, err := s.Undo(t.Context(), site, r.Number, Form, keeper, now); err != nil {
				t.Fatal(err)
			}
			if left, err := a.Visits(t.Context(), "hill", time.Time{}, site.Zone); err != nil || len(left) > 0 {
				t.Fatalf("%d are left: %v", len(left), err)
			}
		}
	})
}
