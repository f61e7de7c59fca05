package intake

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// Who somebody is goes by the settings first, by the name of their link else; two of a name
// are nobody in particular, and programs and open pages are no helper at all.
func TestHelpers(t *testing.T) {
	site := crewed()
	site.Gathering.People = append(site.Gathering.People, forecast.PersonName{ID: "sam1", Name: "Sam"}, forecast.PersonName{ID: "sam2", Name: "Sam"})
	for name, c := range map[string]struct {
		who  auth.Identity
		want forecast.PersonName
	}{
		"of the settings":   {odell, forecast.PersonName{ID: "odell", Name: "Odell"}},
		"a link's name":     {auth.Identity{Name: "IDA", Role: auth.Crew}, forecast.PersonName{ID: "ida", Name: "Ida"}},
		"a link's id":       {auth.Identity{Name: "ida", Role: auth.Crew}, forecast.PersonName{ID: "ida", Name: "Ida"}},
		"two of a name":     {auth.Identity{Name: "Sam", Role: auth.Crew}, forecast.PersonName{ID: "Sam", Name: "Sam"}},
		"not of the bush's": {auth.Identity{Name: "Lee", Role: auth.Crew}, forecast.PersonName{ID: "Lee", Name: "Lee"}},
		"a program":         {auth.Identity{Name: "Ida", Role: auth.Crew, Scopes: []auth.Scope{auth.WriteRecords}}, forecast.PersonName{}},
		"nobody logs in":    {auth.Identity{Role: auth.Keeper, Open: true}, forecast.PersonName{}},
	} {
		if got := Helper(site, &c.who); got != c.want {
			t.Errorf("%s: %+v, not %+v", name, got, c.want)
		}
	}
	open := auth.Identity{Role: auth.Crew, Open: true}
	for name, c := range map[string]struct {
		who    auth.Identity
		helper string
		want   bool
	}{
		"oneself": {odell, "odell", true}, "another": {odell, "ida", false}, "whoever goes": {odell, "", false}, "a keeper": {keeper, "ida", true},
		"a keeper for all": {keeper, "", true}, "a program": {scale, "ida", true}, "a viewer": {viewer, "vi", false},
		"nobody of nobody": {open, "", false},
	} {
		if got := SpeaksFor(site, &c.who, c.helper); got != c.want {
			t.Errorf("%s: %t", name, got)
		}
	}
}

// What can't be is not kept as a promise: of others, of nobody, of groups that there are not,
// of a time that is past, endless, or beyond what is planned.
func TestPromisesThatCantBe(t *testing.T) {
	span := func(kind records.AttendanceKind, from, to time.Duration) records.Attendance {
		return records.Attendance{Kind: kind, Person: "odell", From: now.Add(from), To: now.Add(to)}
	}
	of := func(person string, groups ...string) records.Attendance {
		a := span(records.Going, time.Hour, 2*time.Hour)
		a.Person, a.Groups = person, groups
		return a
	}
	const day = 24 * time.Hour
	for name, c := range map[string]struct {
		who  auth.Identity
		said records.Attendance
		want error
	}{
		"oneself": {odell, of("odell"), nil}, "another": {odell, of("ida"), ErrOfOthers}, "a keeper for another": {keeper, of("ida"), nil},
		"a keeper of oneself": {keeper, of("kim"), nil}, "nobody known": {keeper, of("lee"), ErrNobody}, "for whoever goes": {keeper, of(""), nil},
		"a program for nobody known": {scale, of("lee"), ErrNobody}, "a link": {helper, of("Helper"), nil},
		"a group by name":      {odell, of("odell", "NORTH slope", "lane"), nil},
		"no such group":        {odell, of("odell", "north", "south"), ErrNoGroup},
		"now":                  {odell, span(records.Going, -time.Hour, time.Minute), nil},
		"over":                 {odell, span(records.Going, -2*time.Hour, 0), ErrOver},
		"long over":            {odell, span(records.Going, -2*time.Hour, -time.Hour), ErrOver},
		"ends as it begins":    {odell, span(records.Going, time.Hour, time.Hour), ErrNoTime},
		"ends before":          {odell, span(records.Going, 2*time.Hour, time.Hour), ErrNoTime},
		"as far as is planned": {odell, span(records.Going, mostAhead, mostAhead+time.Hour), nil},
		"further":              {odell, span(records.Going, mostAhead+time.Second, mostAhead+time.Hour), ErrNoTime},
		"a long round":         {odell, span(records.Going, time.Hour, time.Hour+longestOut), nil},
		"an endless round":     {odell, span(records.Going, time.Hour, time.Hour+longestOut+time.Second), ErrNoTime},
		"a day off":            {odell, span(records.Away, time.Hour, time.Hour+day), nil},
		"a month off":          {odell, span(records.Away, time.Hour, time.Hour+mostAway), nil},
		"longer":               {odell, span(records.Away, time.Hour, time.Hour+mostAway+time.Second), ErrNoTime},
	} {
		s, site := opened(t), crewed()
		put, again, err := s.Attend(t.Context(), site, c.who, c.said, "", now)
		if !errors.Is(err, c.want) || again {
			t.Errorf("%s: %v, again %t", name, err, again)
		}
		list, err := s.Attendance(t.Context(), site, now)
		if err != nil || (len(list) == 1) != (c.want == nil) {
			t.Errorf("%s: %d are kept, %v", name, len(list), err)
		}
		if c.want == nil && (put.Person != c.said.Person || put.From.Location() != site.Zone) {
			t.Errorf("%s: kept as %+v", name, put)
		}
		if name == "a group by name" && !slices.Equal(put.Groups, []string{"north", "lane"}) {
			t.Errorf("groups %q", put.Groups)
		}
		if name == "a keeper for another" && (put.Name != "Ida" || put.SaidBy != "Kim") {
			t.Errorf("said of %q by %q", put.Name, put.SaidBy)
		}
	}
}

// A promise counts once under its key, at its bush; taking back what is not there, or is
// another's, changes nothing.
func TestPromisesCountOnce(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	lake := crewed()
	lake.ID = "lake"
	for i, c := range []struct {
		site  *forecast.Site
		said  records.Attendance
		key   string
		again bool
	}{{site, goes("odell"), "k", false}, {site, goes("odell"), "k", true}, {site, goes("odell"), "", true}, {lake, goes("odell"), "k", false}} {
		if _, again, err := s.Attend(ctx, c.site, odell, c.said, c.key, now); err != nil || again != c.again {
			t.Errorf("%d: again %t, %v", i, again, err)
		}
	}
	list, err := s.Attendance(ctx, site, now)
	if err != nil || len(list) != 1 {
		t.Fatal(list, err)
	}
	id := list[0].ID
	for _, person := range []string{"ida", "kim"} { // without a key each is its own
		if _, again, err := s.Attend(ctx, site, keeper, goes(person), "", now); err != nil || again {
			t.Errorf("%s: again %t, %v", person, again, err)
		}
	}
	for name, c := range map[string]struct {
		site *forecast.Site
		who  auth.Identity
		id   string
		want error
	}{"another": {site, ida, id, ErrOfOthers}, "a viewer": {site, viewer, id, ErrBarred}, "not there": {site, odell, "none", ErrNothingSaid},
		"another bush": {lake, odell, id, ErrNothingSaid}} {
		if _, err := s.TakeBack(ctx, c.site, c.who, c.id, now); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.TakeBack(ctx, site, odell, id, now.Add(3*time.Hour)); !errors.Is(err, ErrNothingSaid) {
		t.Errorf("over: %v", err)
	}
	if back, err := s.TakeBack(ctx, site, odell, id, now); err != nil || back.ID != id {
		t.Errorf("%+v %v", back, err)
	}
	if _, err := s.TakeBack(ctx, site, odell, id, now); !errors.Is(err, ErrNothingSaid) {
		t.Errorf("twice: %v", err)
	}
}

// UNDO means a promise only where that is the last thing that somebody wrote.
func TestLastSaidIsTheLastOfAll(t *testing.T) {
	for name, c := range map[string]struct {
		then func(s Service, site *forecast.Site, at time.Time) error
		last bool
	}{
		"nothing since": {func(Service, *forecast.Site, time.Time) error { return nil }, true},
		"a visit": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: 9, BrixPct: 2}}, Way: Text,
				From: odell}, at)
			return err
		}, false},
		"another's visit": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: 9, BrixPct: 2}}, Way: Text,
				From: ida}, at)
			return err
		}, true},
		"taps": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.NoteTap(t.Context(), site, odell, records.TapEvent{Group: "north", Kind: records.Tapped, On: at}, at)
			return err
		}, false},
		"the book": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.NoteHouse(t.Context(), site, odell, sapLeft(4), "", at)
			return err
		}, false},
		"seen": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.Observe(t.Context(), Seen{Site: site, From: odell, List: []records.Observation{{Kind: records.Sweet}}}, at)
			return err
		}, false},
		"the pages' other helper": {func(s Service, site *forecast.Site, at time.Time) error {
			_, err := s.NoteHouse(t.Context(), site, ida, sapLeft(4), "", at)
			return err
		}, true},
	} {
		s, site := opened(t), crewed()
		// Before: a visit, which is not the last.
		if _, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "lane", VolumeL: 9, BrixPct: 2}}, Way: Text,
			From: odell}, now.Add(-time.Hour)); err != nil {
			t.Fatal(err)
		}
		for _, who := range []auth.Identity{odell, ida} {
			if _, _, err := s.Attend(t.Context(), site, who, goes(who.Person), "", now); err != nil {
				t.Fatal(err)
			}
		}
		if err := c.then(s, site, now.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		last, err := s.LastSaid(t.Context(), site, odell, now.Add(2*time.Minute))
		if err != nil || (last != nil) != c.last || last != nil && last.Person != "odell" {
			t.Errorf("%s: %+v %v", name, last, err)
		}
		if last, err := s.LastSaid(t.Context(), site, keeper, now); err != nil || last != nil {
			t.Errorf("who said nothing: %+v %v", last, err)
		}
	}
	s, site := opened(t), crewed()
	if last, err := s.LastSaid(t.Context(), site, odell, now); err != nil || last != nil {
		t.Errorf("nothing said: %+v %v", last, err)
	}
	if err := s.Archive.(*archive.Archive).Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LastSaid(t.Context(), site, odell, now); err == nil {
		t.Error("without an archive nothing was said")
	}
	if _, err := s.TakeBack(t.Context(), site, odell, "x", now); err == nil || errors.Is(err, ErrNothingSaid) {
		t.Errorf("without an archive: %v", err)
	}
}

// rounds are planned ones: at so many hours from now, of so many, for whom.
func planned(list ...forecast.CrewRound) *forecast.Outlook {
	o := &forecast.Outlook{IssuedAt: now, Work: forecast.Work{Rounds: list}}
	o.Bush.People = []forecast.PersonName{{ID: "odell", Name: "Odell"}, {ID: "ida", Name: "Ida"}}
	o.Bush.Groups = []forecast.GroupName{{ID: "north", Name: "North slope"}, {ID: "lane", Name: "Lane"}, {ID: "brook", Name: "Brook"}}
	return o
}

func round(hours float64, who string, groups ...string) forecast.CrewRound {
	r := forecast.CrewRound{Start: now.Add(time.Duration(hours * float64(time.Hour)))}
	r.End = r.Start.Add(time.Hour)
	r.Who = strings.Fields(who)
	for _, g := range groups {
		r.Groups = append(r.Groups, forecast.RoundGroup{Group: g, VolumeL: 100})
	}
	return r
}

// Somebody's round is the next that they are on and that is not over; where people have
// hours of their own nobody is sent on another's.
func TestRoundsOfSomebody(t *testing.T) {
	site := crewed()
	site.Gathering.Free = []forecast.Free{{Who: "odell"}}
	o := planned(round(-2, "odell"), round(-1, "odell"), round(1, "ida"), round(3, "odell ida"), round(24, "odell"), round(25, ""))
	at := func(r *forecast.CrewRound) string {
		if r == nil {
			return "none"
		}
		return fmt.Sprint(r.Start.Sub(now).Hours())
	}
	tomorrow := now.In(site.Zone).AddDate(0, 0, 1).Format(time.DateOnly)
	for _, c := range []struct{ helper, day, want string }{{"odell", "", "3"}, {"ida", "", "1"}, {"lee", "", "none"}, {"", "", "none"},
		{"odell", tomorrow, "24"}, {"ida", tomorrow, "none"}, {"odell", "2026-03-25", "none"}} {
		if got := at(RoundOf(site, &o.Work, c.helper, c.day, now)); got != c.want {
			t.Errorf("%q on %q: %s, not %s", c.helper, c.day, got, c.want)
		}
	}
	site.Gathering.Free = nil // whoever goes
	if got := at(RoundOf(site, &o.Work, "lee", "", now)); got != "25" {
		t.Errorf("where nobody is named: %s", got)
	}
	if got := at(RoundOf(site, &o.Work, "", "", now.Add(26*time.Hour))); got != "none" {
		t.Errorf("over at its end: %s", got)
	}
	r := round(3, "odell ida", "north", "lane")
	a := GoesOn(&r, "odell")
	if a.Kind != records.Going || a.Person != "odell" || !a.From.Equal(r.Start) || !a.To.Equal(r.End) ||
		!slices.Equal(a.Groups, []string{"north", "lane"}) || !slices.Equal(a.With, []string{"ida"}) {
		t.Errorf("%+v", a)
	}
	if a := GoesOn(&r, "lee"); len(a.With) != 0 || !slices.Equal(r.Who, []string{"odell", "ida"}) {
		t.Errorf("who is not on it takes nobody along: %+v", a)
	}
}

// What is answered to a promise names who goes now, and nobody where nobody does.
func TestWhatPromisesAreAnswered(t *testing.T) {
	w, site := words(t, "en"), crewed()
	pinned := func(r forecast.CrewRound) forecast.CrewRound { r.Pinned = true; return r }
	tip := round(1, "odell", "north")
	tip.Groups[0].TipOut = true
	going, away := goes("odell"), goes("odell")
	going.Name, away.Name, away.Kind = "Odell", "Odell", records.Away
	anybody := going
	anybody.Person, anybody.Name = "", ""
	day := away
	day.To = day.From.Add(21 * time.Hour)
	most, later := away, away
	most.To = most.From.Add(20 * time.Hour)
	later.From, later.To = now.Add(3*time.Hour), now.Add(4*time.Hour)
	none := away
	none.Person = ""
	for name, c := range map[string]struct {
		said        records.Attendance
		before, now *forecast.Outlook
		want        string
	}{
		"no plan":          {going, nil, nil, "Noted: Odell Fri 6:30 pm to 7:30 pm. The plan follows."},
		"another's round":  {going, nil, planned(pinned(round(1, "ida", "north"))), "Noted: Odell Fri 6:30 pm to 7:30 pm. The plan follows."},
		"not pinned":       {going, nil, planned(round(1, "odell", "north")), "Noted: Odell Fri 6:30 pm to 7:30 pm. The plan follows."},
		"at another time":  {going, nil, planned(pinned(round(2, "odell", "north"))), "Noted: Odell Fri 6:30 pm to 7:30 pm. The plan follows."},
		"taken":            {going, nil, planned(pinned(round(1, "odell", "north"))), "Thanks: Odell takes North slope, Fri 6:30 pm to 7:30 pm: 100 litres."},
		"two":              {going, nil, planned(pinned(round(1, "odell ida", "north"))), "Thanks: Odell and Ida take North slope, Fri 6:30 pm to 7:30 pm: 100 litres."},
		"gone bad":         {going, nil, planned(pinned(tip)), "Thanks: Odell takes North slope, Fri 6:30 pm to 7:30 pm: tip it out, it has gone bad."},
		"anybody's":        {anybody, nil, planned(pinned(round(1, "", "north"))), "Thanks: somebody takes North slope, Fri 6:30 pm to 7:30 pm: 100 litres."},
		"anybody, no plan": {anybody, nil, nil, "Noted: somebody Fri 6:30 pm to 7:30 pm. The plan follows."},
		"anybody, named":   {anybody, nil, planned(pinned(round(1, "ida", "north"))), "Noted: somebody Fri 6:30 pm to 7:30 pm. The plan follows."},
		"away":             {away, nil, nil, "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"no plan now":      {away, planned(round(1, "odell", "north")), nil, "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"no plan before":   {away, nil, planned(round(1, "ida", "north")), "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"most of a day":    {most, nil, nil, "Noted: Odell can't Fri 6:30 pm to 2:30 pm."},
		"as near": {later, planned(round(3, "odell", "north")), planned(round(1, "ida", "north"), round(5, "ida", "north")),
			"Noted: Odell can't Fri 8:30 pm to 9:30 pm. Now planned: Ida: North slope, Fri 6:30 pm to 7:30 pm."},
		"a day":             {day, nil, nil, "Noted: Odell can't on Friday 20 Mar."},
		"nobody can":        {none, nil, nil, "Noted: nobody can go then."},
		"missed nothing":    {away, planned(round(2, "odell", "north")), planned(round(2, "odell", "north")), "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"missed another's":  {away, planned(round(1, "ida", "north")), planned(round(1, "ida", "north")), "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"ends as it begins": {away, planned(round(0, "odell", "north")), planned(), "Noted: Odell can't Fri 6:30 pm to 7:30 pm."},
		"nobody instead": {away, planned(round(1, "odell", "north", "lane")), planned(),
			"Noted: Odell can't Fri 6:30 pm to 7:30 pm. Nobody goes to North slope and Lane now: nobody else has time, or it can wait."},
		"another instead": {away, planned(round(1, "odell", "north")), planned(round(3, "ida", "north", "brook")),
			"Noted: Odell can't Fri 6:30 pm to 7:30 pm. Now planned: Ida: North slope and Brook, Fri 8:30 pm to 9:30 pm."},
		"the nearest of two": {away, planned(round(1, "odell", "north")), planned(round(-6, "ida", "north"), round(4, "ida", "north"), round(9, "ida", "north")),
			"Noted: Odell can't Fri 6:30 pm to 7:30 pm. Now planned: Ida: North slope, Fri 9:30 pm to 10:30 pm."},
		"two instead, in order": {away, planned(round(1, "odell", "lane", "north")), planned(round(3, "ida", "north"), round(5, "ida", "lane")),
			"Noted: Odell can't Fri 6:30 pm to 7:30 pm. Now planned: Ida: North slope, Fri 8:30 pm to 9:30 pm; Ida: Lane, Fri 10:30 pm to 11:30 pm."},
		"one for two": {away, planned(round(1, "odell", "lane", "north")), planned(round(3, "ida", "north", "lane")),
			"Noted: Odell can't Fri 6:30 pm to 7:30 pm. Now planned: Ida: North slope and Lane, Fri 8:30 pm to 9:30 pm."},
	} {
		if got := strings.ReplaceAll(SayAttendance(w, site, &c.said, c.before, c.now), "\u00a0", " "); got != c.want {
			t.Errorf("%s:\n%s\n%s", name, got, c.want)
		}
	}
	o := planned(round(1, "ida", "north"), round(2, "", "lane"))
	if got := SayNext(w, site, o, "odell", now); got != "" && !strings.Contains(got, "omebody") {
		t.Errorf("next of who is on none: %q", got)
	}
	site.Gathering.Free = []forecast.Free{{Who: "odell"}}
	if got := SayNext(w, site, o, "odell", now); got != "" {
		t.Errorf("next of who is on none: %q", got)
	}
	if got := strings.ReplaceAll(SayNext(w, site, o, "ida", now), "\u00a0", " "); got != "Now planned: Ida: North slope, Fri 6:30 pm to 7:30 pm." {
		t.Errorf("next: %q", got)
	}
}
