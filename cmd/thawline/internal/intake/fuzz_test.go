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
	f.Add("lane", math.Inf(1), 2.0, -1, "", int64(-90), false, byte(200))
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
		r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{v}, Way: Ways()[int(way)%len(Ways())], From: keeper,
			Doubtful: way > 127}, now)
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
			case k.VolumeL < 0 || math.IsInf(k.VolumeL, 0) || k.BrixPct < 0 || k.BrixPct > 100 && way <= 127 || k.Taps < 0 || k.Taps > 100_000 && way <= 127:
				t.Errorf("kept: %g L at %g %% of %d taps", k.VolumeL, k.BrixPct, k.Taps)
			case k.CollectedAt.After(now.Add(24*time.Hour)) && way <= 127 || k.CollectedAt.Year() < 1900:
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

// FuzzNoted writes in the sugarhouse's book, says what was seen and promises rounds, with
// whatever figures, words and moments: what is kept is what there can be, whoever reads it
// is told in words, and taking it back leaves nothing.
func FuzzNoted(f *testing.F) {
	f.Add("boiled", "front", 100.0, 2.0, "note", int64(0), "low", "", -5.0, "2026-03-20", "north", int64(60), int64(90))
	f.Add("stirred", "\x00", math.Inf(1), -1.0, "\xff", int64(1)<<40, "sign", "frogs", math.NaN(), "9999-99-99", "NORTH", int64(-1)<<40, int64(1)<<40)
	f.Add("sap_left", "", 1e300, math.NaN(), strings.Repeat("é", 5000), int64(-1)<<40, "buds", strings.Repeat("x", 41), 1e300, "", "", int64(0), int64(0))
	a, err := archive.Open(f.Context(), filepath.Join(f.TempDir(), "i.db"))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = a.Close() })
	s, site := Service{Archive: a}, crewed()
	f.Fuzz(func(t *testing.T, kind, pan string, sap, syrup float64, note string, at int64, seen, sign string, temperature float64, day, group string,
		from, to int64) {
		moment := func(minutes int64) time.Time { return time.Unix(now.Unix()+minutes%(1<<36)*60, 0).UTC() }
		w, ctx := words(t, "en"), t.Context()
		e := blank(records.HouseKind(kind))
		e.Pan, e.SapL, e.SyrupL, e.Note, e.At = pan, sap, syrup, note, moment(at)
		if line, err := s.NoteHouse(ctx, site, keeper, e, "", now); err == nil {
			if line.SapL < 0 || math.IsInf(line.SapL, 0) || line.SyrupL < 0 || math.IsInf(line.SyrupL, 0) || line.At.After(now.Add(2*time.Hour)) ||
				line.At.Year() < 1900 || line.Say(w) == "" {
				t.Errorf("kept in the book: %+v", line)
			}
			if _, err := s.TakeBackHouse(ctx, site, keeper, line.ID, true, now); err != nil {
				t.Fatal(err)
			}
		} else if said, known := SayHouseFault(w, err); !known || said == "" {
			t.Fatalf("%+v: %v", e, err)
		}
		o := records.Observation{Kind: records.ObservationKind(seen), Sign: sign, TemperatureC: temperature, Day: day, Group: group, At: moment(at)}
		if puts, err := s.Observe(ctx, Seen{Site: site, From: keeper, List: []records.Observation{o}}, now); err == nil {
			for _, p := range puts {
				if math.IsInf(p.TemperatureC, 0) || p.TemperatureC < -100 || p.TemperatureC > 100 || len(p.Sign) > 400 || p.At.Year() < 1900 ||
					p.At.After(now.Add(48*time.Hour)) {
					t.Errorf("kept as seen: %+v", p)
				}
				if _, err := s.TakeBackObserved(ctx, site, keeper, p.ID, now); err != nil {
					t.Fatal(err)
				}
			}
		} else if said, known := SayObservationFault(w, err); !known || said == "" {
			t.Fatalf("%+v: %v", o, err)
		}
		promise := records.Attendance{Kind: records.Going, Person: sign, Groups: []string{group}, From: moment(from), To: moment(to)}
		if put, _, err := s.Attend(ctx, site, keeper, promise, "", now); err == nil {
			if !put.To.After(put.From) || put.To.Sub(put.From) > longestOut || put.From.Sub(now) > mostAhead {
				t.Errorf("promised: %+v", put)
			}
			if _, err := s.TakeBack(ctx, site, keeper, put.ID, now); err != nil {
				t.Fatal(err)
			}
		}
		if got := kept(t, s, site); got != "0 visits, 0 taps, 0 in the book, 0 seen, 0 going, 0 classes" {
			t.Fatalf("left: %s", got)
		}
	})
}
