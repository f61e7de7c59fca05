package intake

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

var (
	odell  = auth.Identity{Person: "odell", Name: "Odell", Role: auth.Crew}
	ida    = auth.Identity{Person: "ida", Name: "Ida", Role: auth.Crew}
	viewer = auth.Identity{Person: "vi", Name: "Vi", Role: auth.Viewer}
	helper = auth.Identity{Name: "Helper", Role: auth.Crew, Site: "hill"} // by a link
	scale  = auth.Identity{Name: "scale", Role: auth.Crew, Scopes: []auth.Scope{auth.WriteRecords}}
)

// crewed is a bush whose people are known.
func crewed() *forecast.Site {
	site := bush("hill")
	site.Gathering.People = []forecast.PersonName{{ID: "odell", Name: "Odell"}, {ID: "ida", Name: "Ida"}}
	return site
}

func blank(kind records.HouseKind) records.HouseEntry {
	nan := math.NaN()
	return records.HouseEntry{Kind: kind, SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: nan}
}

func sapLeft(litres float64) records.HouseEntry {
	e := blank(records.SapLeft)
	e.SapL = litres
	return e
}

// goes is that somebody goes, an hour from now.
func goes(person string) records.Attendance {
	return records.Attendance{Kind: records.Going, Person: person, From: now.Add(time.Hour), To: now.Add(2 * time.Hour)}
}

// kept counts all that is kept of a bush.
func kept(t *testing.T, s Service, site *forecast.Site) string {
	t.Helper()
	ctx := t.Context()
	visits, err1 := s.Archive.Visits(ctx, site.ID, time.Time{}, site.Zone)
	taps, err2 := s.Archive.TapEvents(ctx, site.ID, time.Time{}, site.Zone)
	house, err3 := s.Archive.House(ctx, site.ID, time.Time{}, site.Zone)
	seen, err4 := s.Archive.Observations(ctx, site.ID, time.Time{}, site.Zone)
	going, err5 := s.Attendance(ctx, site, now)
	classes, err6 := s.Archive.Classes(ctx, site.ID, time.Time{}, site.Zone)
	if err := errors.Join(err1, err2, err3, err4, err5, err6); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%d visits, %d taps, %d in the book, %d seen, %d going, %d classes", len(visits), len(taps), len(house), len(seen),
		len(going), len(classes))
}

// Who looks on, whose link or settings are for another bush, and a token that reads change
// nothing, by any way there is; who may write does.
func TestWhoMayNotWriteChangesNothing(t *testing.T) {
	all := map[string]struct {
		who    auth.Identity
		writes bool
		books  bool
	}{
		"keeper": {keeper, true, true}, "crew": {odell, true, false}, "a link": {helper, true, false}, "a writing token": {scale, true, true},
		"viewer": {viewer, false, false}, "nobody": {auth.Identity{}, false, false},
		"a reading token":     {auth.Identity{Name: "lamp", Role: auth.Viewer, Scopes: []auth.Scope{auth.ReadRecords}}, false, false},
		"a keeper of another": {auth.Identity{Person: "lu", Name: "Lu", Role: auth.Keeper, Sites: []string{"lake"}}, false, false},
		"a link of another":   {auth.Identity{Name: "Helper", Role: auth.Crew, Site: "lake"}, false, false},
		"another's writing token": {auth.Identity{Name: "scale", Role: auth.Crew, Site: "lake", Scopes: []auth.Scope{auth.WriteRecords}}, false,
			false},
	}
	for name, c := range all {
		t.Run(name, func(t *testing.T) {
			s, site, ctx := opened(t), crewed(), t.Context()
			// What lies there is the asker's own, so that nothing but what they may forbids it.
			as := keeper
			as.Person, as.Name = c.who.Person, c.who.Name
			visit := records.Visit{Group: "north", VolumeL: 80, BrixPct: math.NaN(), CollectedAt: now.Add(-time.Hour)}
			first, err1 := s.Take(ctx, Entry{Site: site, Visits: []records.Visit{visit}, Way: Form, From: as}, now)
			going, _, err2 := s.Attend(ctx, site, as, goes("ida"), "", now)
			line, err3 := s.NoteHouse(ctx, site, as, sapLeft(100), "", now)
			seen, err4 := s.Observe(ctx, Seen{Site: site, From: as, List: []records.Observation{{Kind: records.Dripping}}}, now)
			tap, err5 := s.NoteTap(ctx, site, as, records.TapEvent{Group: "brook", Kind: records.Tapped, On: now}, now)
			class, _, err6 := s.BookClass(ctx, site, as, records.ClassVisit{Day: now.In(site.Zone).Truncate(24*time.Hour).AddDate(0, 0, 3),
				From: 9 * time.Hour, To: 11 * time.Hour}, now)
			if err := errors.Join(err1, err2, err3, err4, err5, err6); err != nil {
				t.Fatal(err)
			}
			before := kept(t, s, site)
			id := first.Records[0].ID
			me := Helper(site, &c.who).ID
			barred := func(is bool, err error) error {
				if is {
					return ErrNotAllowed
				}
				return err
			}
			ways := map[string]struct {
				do    func() error
				books bool
			}{
				"Take": {do: func() error {
					v := visit
					v.Group, v.Taps = "lane", 0
					r, err := s.Take(ctx, Entry{Site: site, Visits: []records.Visit{v}, Way: Form, From: c.who}, now)
					if r.Barred && (!r.Refused || !r.Blocking || r.Records[0].Outcome != Refused) {
						t.Errorf("barred, and %+v", r)
					}
					return barred(r.Barred, err)
				}},
				"Correct": {do: func() error {
					v := visit
					v.VolumeL = 70
					r, err := s.Correct(ctx, Entry{Site: site, Visits: []records.Visit{v}, Way: Form, From: c.who}, id, 1, now)
					return barred(r.Barred, err)
				}},
				"Attend": {do: func() error {
					_, _, err := s.Attend(ctx, site, c.who, goes(me), "", now)
					return err
				}},
				"NoteHouse": {do: func() error { _, err := s.NoteHouse(ctx, site, c.who, sapLeft(70), "", now); return err }},
				"Observe": {do: func() error {
					_, err := s.Observe(ctx, Seen{Site: site, From: c.who, List: []records.Observation{{Kind: records.Sweet}}}, now)
					return err
				}},
				"ObserveFile": {do: func() error {
					_, _, err := s.ObserveFile(ctx, Seen{Site: site, From: c.who, List: []records.Observation{{Kind: records.HalfFull}}}, now)
					return err
				}},
				"NoteTap": {do: func() error {
					_, err := s.NoteTap(ctx, site, c.who, records.TapEvent{Group: "lane", Kind: records.Tapped, On: now}, now)
					return err
				}},
				"NoteTaps": {do: func() error {
					_, err := s.NoteTaps(ctx, site, c.who, records.Tapped, []string{"north"}, time.Time{}, now)
					return err
				}},
				"BookClass": {books: true, do: func() error {
					_, _, err := s.BookClass(ctx, site, c.who, records.ClassVisit{Day: now.In(site.Zone).Truncate(24*time.Hour).AddDate(0, 0, 4),
						From: 9 * time.Hour, To: 11 * time.Hour}, now)
					return err
				}},
				"WithdrawClass": {books: true, do: func() error { return s.WithdrawClass(ctx, site, c.who, class.ID) }},
			}
			for what, way := range ways {
				err := way.do()
				may := c.writes
				if way.books {
					may = c.books
				}
				if no := errors.Is(err, ErrNotAllowed) || errors.Is(err, ErrBarred); no == may || may && err != nil {
					t.Errorf("%s: %v", what, err)
				}
			}
			// And what takes back, after all that writes.
			if after := kept(t, s, site); !c.writes && after != before {
				t.Errorf("%s, and was %s", after, before)
			}
			before = kept(t, s, site)
			for what, do := range map[string]func() error{
				"Undo": func() error {
					u, err := s.Undo(ctx, site, Last, Form, c.who, now.Add(time.Minute))
					return barred(u.Barred, err)
				},
				"Undo by number": func() error {
					u, err := s.Undo(ctx, site, first.Number, Form, c.who, now.Add(time.Minute))
					return barred(u.Barred, err)
				},
				"TakeBackHouse": func() error { _, err := s.TakeBackHouse(ctx, site, c.who, line.ID, true, now); return err },
				"TakeBackObserved": func() error {
					_, err := s.TakeBackObserved(ctx, site, c.who, seen[0].ID, now)
					return err
				},
				"UndoTap": func() error { _, err := s.UndoTap(ctx, site, c.who, tap.ID, now); return err },
				"TakeBack": func() error {
					if c.writes && c.who.Scopes == nil && c.who.Role != auth.Keeper {
						return nil // it is of Ida
					}
					_, err := s.TakeBack(ctx, site, c.who, going.ID, now)
					return err
				},
			} {
				err := do()
				if no := errors.Is(err, ErrNotAllowed) || errors.Is(err, ErrBarred); no == c.writes {
					t.Errorf("%s: %v", what, err)
				}
			}
			if after := kept(t, s, site); !c.writes && after != before {
				t.Errorf("%s, and was %s", after, before)
			}
		})
	}
}

// Nobody takes back what another wrote, but keepers; and nobody what is of another bush or
// is not there.
func TestWhatIsAnothersStays(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	write := func(at time.Time) (entry int64, line, seen string) {
		t.Helper()
		r, err1 := s.Take(ctx, Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: float64(at.Minute()), BrixPct: math.NaN(),
			CollectedAt: at}}, Way: Form, From: odell}, at)
		l, err2 := s.NoteHouse(ctx, site, odell, sapLeft(float64(at.Minute())), "", at)
		o, err3 := s.Observe(ctx, Seen{Site: site, From: odell, List: []records.Observation{{Kind: records.Dripping}}}, at)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		return r.Number, l.ID, o[0].ID
	}
	for i, c := range []struct {
		who auth.Identity
		may bool
	}{{ida, false}, {helper, false}, {odell, true}, {keeper, true}, {auth.Identity{Person: "odell2", Name: "Odell", Role: auth.Crew}, false}} {
		entry, line, seen := write(now.Add(time.Duration(i+1) * 20 * time.Minute))
		at := now.Add(5 * time.Hour)
		u, err := s.Undo(ctx, site, entry, Form, c.who, at)
		if err != nil || u.Barred == c.may || c.may != (len(u.Records) == 1) {
			t.Errorf("%s: entry: %+v %v", c.who.Name, u, err)
		}
		if c.who.Person == "odell2" { // the book and what was seen go by the name that stands there
			continue
		}
		if _, err := s.TakeBackHouse(ctx, site, c.who, line, true, at); errors.Is(err, ErrNotAllowed) == c.may || c.may && err != nil {
			t.Errorf("%s: line of the book: %v", c.who.Name, err)
		}
		if _, err := s.TakeBackObserved(ctx, site, c.who, seen, at); errors.Is(err, ErrNotAllowed) == c.may || c.may && err != nil {
			t.Errorf("%s: observation: %v", c.who.Name, err)
		}
	}
	// A link has no person: its entries are of its name alone.
	entry, err := s.Take(ctx, Entry{Site: site, Visits: []records.Visit{{Group: "lane", VolumeL: 9, BrixPct: math.NaN()}}, Way: Form, From: helper},
		now)
	if err != nil {
		t.Fatal(err)
	}
	other := helper
	other.Name = "Other"
	if u, err := s.Undo(ctx, site, entry.Number, Form, other, now); err != nil || !u.Barred {
		t.Errorf("another's link: %+v %v", u, err)
	}
	if u, err := s.Undo(ctx, site, entry.Number, Form, helper, now); err != nil || u.Barred || len(u.Records) != 1 {
		t.Errorf("their own link: %+v %v", u, err)
	}
	if u, err := s.Undo(ctx, site, 9999, Form, odell, now); err != nil || !u.None {
		t.Errorf("what is not there: %+v %v", u, err)
	}
	if _, err := s.TakeBackHouse(ctx, site, keeper, "none", true, now); !errors.Is(err, archive.ErrNoEntry) {
		t.Errorf("a line that is not there: %v", err)
	}
	lake := bush("lake")
	_, line, seen := write(now.Add(4 * time.Hour))
	for what, do := range map[string]func() error{
		"line":        func() error { _, err := s.TakeBackHouse(ctx, lake, keeper, line, true, now); return err },
		"observation": func() error { _, err := s.TakeBackObserved(ctx, lake, keeper, seen, now); return err },
	} {
		if err := do(); !errors.Is(err, archive.ErrNoEntry) {
			t.Errorf("a %s of another bush: %v", what, err)
		}
	}
	if _, err := s.TakeBackHouse(ctx, site, odell, line, true, now); err != nil {
		t.Fatal(err)
	}
	if back, err := s.TakeBackHouse(ctx, site, odell, line, false, now); err != nil || back.Removed {
		t.Errorf("brought back: %+v %v", back, err)
	}
}

// Undo takes back the newest of what somebody wrote, whatever it was, and each once; what
// others wrote since stays.
func TestUndoTakesTheNewest(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	at := now
	next := func() time.Time { at = at.Add(time.Minute); return at }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	visit := func(who auth.Identity, way Way) {
		next()
		_, err := s.Take(ctx, Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: float64(at.Minute()), BrixPct: math.NaN()}},
			Way: way, From: who}, at)
		must(err)
	}
	visit(odell, Import) // a file: not by a text
	visit(odell, Text)
	_, err := s.NoteHouse(ctx, site, odell, sapLeft(50), "", next())
	must(err)
	_, err = s.NoteTaps(ctx, site, odell, records.Tapped, []string{"north", "lane"}, time.Time{}, next())
	must(err)
	_, err = s.NoteHouse(ctx, site, odell, sapLeft(60), "", next())
	must(err)
	_, err = s.Observe(ctx, Seen{Site: site, From: odell, List: []records.Observation{{Kind: records.Dripping}, {Kind: records.Sweet}}}, next())
	must(err)
	visit(ida, Text)
	_, err = s.NoteHouse(ctx, site, ida, sapLeft(70), "", next())
	must(err)
	for i, want := range []func(u *Undone) bool{
		func(u *Undone) bool { return len(u.Seen) == 2 },
		func(u *Undone) bool { return u.House != nil && u.House.SapL == 60 },
		func(u *Undone) bool { return len(u.Taps) == 2 },
		func(u *Undone) bool { return u.House != nil && u.House.SapL == 50 },
		func(u *Undone) bool { return len(u.Records) == 1 },
		func(u *Undone) bool { return u.None },
	} {
		u, err := s.Undo(ctx, site, Last, Text, odell, next())
		if err != nil || !want(&u) {
			t.Errorf("step %d: %+v %v", i, u, err)
		}
	}
	if u, err := s.Undo(ctx, site, Last, Form, odell, next()); err != nil || len(u.Records) != 1 { // who sees what it is
		t.Errorf("the file: %+v %v", u, err)
	}
	if got := kept(t, s, site); got != "1 visits, 0 taps, 1 in the book, 0 seen, 0 going, 0 classes" {
		t.Errorf("left: %s", got)
	}
	// A station's file of lows is not taken back by a word in a text; on a page it is.
	var list []records.Observation
	for i := range mostUndone + 1 {
		list = append(list, records.Observation{Kind: records.Low, TemperatureC: -3, Day: now.AddDate(0, 0, -i).Format(time.DateOnly)})
	}
	_, _, err = s.ObserveFile(ctx, Seen{Site: site, From: odell, List: list}, next())
	must(err)
	if u, err := s.Undo(ctx, site, Last, Text, odell, next()); err != nil || !u.None {
		t.Errorf("a file by text: %+v %v", u, err)
	}
	if u, err := s.Undo(ctx, site, Last, Form, odell, next()); err != nil || len(u.Seen) != mostUndone+1 {
		t.Errorf("a file on a page: %d %v", len(u.Seen), err)
	}
	_, err = s.Observe(ctx, Seen{Site: site, From: odell, List: list[:mostUndone]}, next())
	must(err)
	if u, err := s.Undo(ctx, site, Last, Text, odell, next()); err != nil || len(u.Seen) != mostUndone {
		t.Errorf("a few by text: %d %v", len(u.Seen), err)
	}
}
