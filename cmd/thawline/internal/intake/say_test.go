package intake

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

func plain(text string) string { return strings.ReplaceAll(text, "\u00a0", " ") }

// What is answered to a record says what became of it and of no other, with the figures that
// were given and none beside.
func TestWhatRecordsAreAnswered(t *testing.T) {
	w := words(t, "en")
	at := time.Date(2026, 3, 20, 17, 30, 0, 0, time.UTC)
	nan := math.NaN()
	v := func(litres, brix float64, note string) records.Visit {
		return records.Visit{Group: "north", VolumeL: litres, BrixPct: brix, Note: note, CollectedAt: at}
	}
	doubt := func(refusal bool) []records.Doubt {
		return []records.Doubt{{Kind: records.Future, Refusal: refusal, Visit: v(80, nan, "")}}
	}
	for name, c := range map[string]struct {
		r    Result
		want string
	}{
		"written":      {Result{Records: []Record{{Visit: v(80, nan, ""), Name: "North", Outcome: Written}}}, "Noted: North 80 litres."},
		"with sugar":   {Result{Records: []Record{{Visit: v(80, 2.1, ""), Name: "North", Outcome: Written}}}, "Noted: North 80 litres at 2.1 %."},
		"none":         {Result{Records: []Record{{Visit: v(nan, 2.1, ""), Name: "North", Outcome: Written}}}, "Noted: no sap from North."},
		"same":         {Result{Records: []Record{{Visit: v(80, nan, ""), Name: "North", Outcome: Same}}}, ""},
		"same of none": {Result{Records: []Record{{Visit: v(nan, nan, ""), Name: "North", Outcome: Same}}}, ""},
		"corrected": {Result{Records: []Record{{Visit: v(80, nan, ""), Before: v(70, nan, ""), Name: "North", Outcome: Corrected}}},
			"70 litres"},
		"barred": {Result{Refused: true, Barred: true, Records: []Record{{Visit: v(80, nan, ""), Outcome: Refused}}}, "You may look on"},
	} {
		got := plain(c.r.Say(w))
		if c.want == "" && (strings.HasPrefix(got, "Noted: North") || got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, not %q", name, got, c.want)
		}
		if c.r.Barred && strings.Contains(got, "80") {
			t.Errorf("%s: tells %q", name, got)
		}
	}
	// Of an entry that is refused only what is refused is told, with why, and that nothing
	// was written.
	refused := Result{Refused: true, Records: []Record{{Visit: v(80, nan, ""), Name: "North"},
		{Visit: v(90, nan, ""), Name: "Lane", Outcome: Refused, Doubts: doubt(true)}}}
	if got := plain(refused.Say(w)); strings.Contains(got, "Noted") || strings.Contains(got, "North 80") || !strings.Contains(got, "Nothing was written") {
		t.Error(got)
	}
	// What is odd about a record that was written is told; what another's refusal says is not.
	odd := Record{Visit: v(80, nan, ""), Name: "North", Outcome: Written, Doubts: append(doubt(false), doubt(true)...)}
	odd.Doubts[1].Kind = records.LongAgo
	alone, why := plain(sentence(w.Doubt(&odd.Doubts[0]))), plain(sentence(w.Doubt(&odd.Doubts[1])))
	if got := plain(odd.Say(w)); got != "Noted: North 80 litres. "+alone {
		t.Errorf("%q, and %q is odd about it", got, alone)
	}
	odd.Outcome = Refused
	if got := plain(odd.Say(w)); got != why || why == alone { // and not what is odd beside
		t.Errorf("%q, refused for %q", got, why)
	}
	for n, want := range map[int]string{2: "Second", 3: "Third", 4: ""} {
		r := Record{Visit: v(40, nan, ""), Name: "North", Outcome: Load, Loads: n, TotalL: 40 * float64(n)}
		got := plain(r.Say(w))
		if !strings.Contains(got, want) || !strings.Contains(got, fmt.Sprint(40*n)) || strings.Contains(got, "Second") != (n == 2) {
			t.Errorf("load %d: %s", n, got)
		}
	}
	for name, c := range map[string]struct{ before, after records.Visit }{
		"the taps":   {records.Visit{VolumeL: 80, BrixPct: 2, Taps: 30}, records.Visit{VolumeL: 80, BrixPct: 2, Taps: 40}},
		"the volume": {v(70, 2, "ice"), v(80, 2, "ice")}, "the sugar": {v(80, 2, ""), v(80, 2.5, "")}, "the note": {v(80, 2, ""), v(80, 2, "full")},
	} {
		was, is := differences(w, &c.before, &c.after)
		if strings.Contains(was, ", ") || strings.Contains(is, ", ") || was == is {
			t.Errorf("%s: %q, then %q", name, was, is)
		}
	}
	same := v(80, 2, "")
	if was, is := differences(w, &same, &same); plain(was) != "80 litres" || was != is {
		t.Errorf("less than is said: %q, then %q", was, is)
	}
	dated, timed := v(80, 2, "full"), v(80, nan, "")
	dated.DateOnly = true
	for got, want := range map[string]string{Describe(w, &dated): "north 2026-03-20, 80 litres, 2 %, full", Describe(w, &timed): "north 2026-03-20 17:30, 80 litres",
		when(w, &dated): "Fri 20 Mar", when(w, &timed): "Fri 20 Mar 5:30 pm", sentence("éclat"): "Éclat.", sentence("what?"): "What?", sentence("so."): "So."} {
		if plain(got) != want {
			t.Errorf("%q, not %q", plain(got), want)
		}
	}
}

// Of a file no more lines are told than somebody reads, and how many there are beside.
func TestFilesOfManyFaultsAreToldInFew(t *testing.T) {
	w := words(t, "en")
	for n, want := range map[int]int{0: 0, 1: 1, MostSaid: MostSaid, MostSaid + 1: MostSaid + 1, 5000: MostSaid + 1} {
		r := Result{Refused: true}
		for i := range n {
			visit := records.Visit{Group: "x", CollectedAt: now, Line: i + 2}
			r.Records = append(r.Records, Record{Visit: visit, Outcome: Refused,
				Doubts: []records.Doubt{{Kind: records.Future, Refusal: true, Visit: visit}}})
		}
		if told := r.Told(w); len(told) != 0 {
			t.Errorf("why %d are refused is told as odd in %d lines", n, len(told))
		}
		for i := range r.Records {
			r.Records[i].Doubts = append(r.Records[i].Doubts, records.Doubt{Kind: records.Future, Visit: r.Records[i].Visit})
		}
		faults := r.Faults(w)
		if len(faults) != want || n > MostSaid && !strings.Contains(faults[want-1], fmt.Sprint(n-MostSaid)) {
			t.Errorf("%d faults are told in %d lines", n, len(faults))
		}
		if told := r.Told(w); len(told) != want { // what is odd, beside why
			t.Errorf("%d odd ones are told in %d lines", n, len(told))
		}
	}
	r := Result{Records: []Record{{Outcome: Written, Name: "N"}, {Outcome: Load, Name: "N", Loads: 2, Visit: records.Visit{Line: 3}},
		{Outcome: Corrected, Name: "N", Visit: records.Visit{Line: 4, VolumeL: 3}}, {Outcome: Same, Name: "N"}, {Outcome: BroughtBack, Name: "N"}}}
	if told := r.Told(w); len(told) != 2 || !strings.Contains(told[0], "3") || strings.HasSuffix(told[1], ".") {
		t.Errorf("told: %q", told)
	}
	if got := r.Counts(w); got != w.Counts(2, 1, 1, 1) {
		t.Error(got)
	}
	barred := Result{Barred: true, Refused: true, Records: []Record{{Outcome: Refused}}}
	if faults := barred.Faults(w); len(faults) != 1 || !strings.Contains(faults[0], "look on") {
		t.Errorf("barred: %q", faults)
	}
}

// What is taken back is named by what it was; what somebody has changed since is told to stay.
func TestWhatIsTakenBackIsNamed(t *testing.T) {
	w, site := words(t, "en"), crewed()
	stored := func(removed bool) archive.Stored {
		return archive.Stored{Visit: records.Visit{Group: "north", VolumeL: 80, BrixPct: math.NaN(), CollectedAt: now.In(site.Zone)}, Removed: removed}
	}
	line := archive.StoredHouse{HouseEntry: sapLeft(40)}
	tap := archive.StoredTap{TapEvent: records.TapEvent{Group: "lane", Kind: records.Tapped, On: now.In(site.Zone)}}
	for name, c := range map[string]struct {
		u        Undone
		has, not string
	}{
		"barred":       {Undone{Barred: true, Records: []archive.Stored{stored(true)}}, "look on", "North"},
		"none":         {Undone{None: true}, "nothing of yours", "North"},
		"taken out":    {Undone{Records: []archive.Stored{stored(true)}}, "North slope", "again"},
		"two":          {Undone{Records: []archive.Stored{stored(true), stored(true)}}, "2", ""},
		"changed":      {Undone{Records: []archive.Stored{stored(true)}, Changed: 1}, "North slope", ""},
		"only changed": {Undone{Changed: 2}, "2", "North"},
		"the book":     {Undone{House: &line}, "40 litres of sap", "North"},
		"taps":         {Undone{Taps: []archive.StoredTap{tap, tap}}, "Lane Fri 20 Mar", "North"},
		"seen": {Undone{Seen: []archive.StoredObservation{{Observation: records.Observation{Kind: records.Dripping, At: now}},
			{Observation: records.Observation{Kind: records.Sweet, At: now}}}}, "; tastes sweet", "North"},
	} {
		got := plain(c.u.Say(w, site))
		if !strings.Contains(got, c.has) || c.not != "" && strings.Contains(got, c.not) {
			t.Errorf("%s: %q", name, got)
		}
	}
	back, gone := plain((&Undone{Records: []archive.Stored{stored(false)}}).Say(w, site)), plain((&Undone{Records: []archive.Stored{stored(true)}}).Say(w, site))
	if back == gone {
		t.Errorf("what says again what it said is told like what is gone: %q", gone)
	}
	one, with := plain((&Undone{Records: []archive.Stored{stored(true)}}).Say(w, site)), plain((&Undone{Records: []archive.Stored{stored(true)}, Changed: 1}).Say(w, site))
	if !strings.HasPrefix(with, one+" ") {
		t.Errorf("%q, with one that was changed %q", one, with)
	}
	// An entry that is looked at again says that it was taken back.
	r := Result{Undone: true, Records: []Record{{Visit: stored(true).Visit, Name: "North slope", Outcome: Written}}}
	if got := plain(r.Say(w)); got != gone {
		t.Errorf("%q, not %q", got, gone)
	}
	r.Records[0].Outcome = Corrected
	if got := plain(r.Say(w)); got != back {
		t.Errorf("%q, not %q", got, back)
	}
	if got := (&Result{Undone: true}).Say(w); got != "" {
		t.Errorf("of nothing: %q", got)
	}
}

// Of several groups those are named of which something is new, and all where nothing is.
func TestTapsOfSeveralGroups(t *testing.T) {
	s, site, w := opened(t), crewed(), words(t, "en")
	note := func(kind records.TapKind, at time.Time, groups ...string) string {
		t.Helper()
		noted, err := s.NoteTaps(t.Context(), site, odell, kind, groups, time.Time{}, at)
		if err != nil {
			t.Fatal(err)
		}
		return plain(SayTaps(w, site, noted))
	}
	for i, c := range []struct{ got, want string }{
		{note(records.Tapped, now, "north"), "Noted: the taps of North slope have been in since Friday 20 Mar."},
		{note(records.Tapped, now.Add(time.Minute), "north", "lane"), "Noted: the taps of Lane have been in since Friday 20 Mar."},
		{note(records.Tapped, now.Add(2*time.Minute), "brook", "north"), "Noted: the taps of Brook have been in since Friday 20 Mar."},
		{note(records.Pulled, now.Add(24*time.Hour), "north", "lane"), "Noted: the taps of North slope, Lane have been out since Saturday 21 Mar."},
		{note(records.Pulled, now.Add(25*time.Hour), "north", "lane"),
			"That is noted already: the taps of North slope, Lane have been out since Saturday 21 Mar."},
		{note(records.Tapped, now.Add(26*time.Hour), "north", "lane"), "Noted, tapped on Saturday 21 Mar: North slope, Lane."},
		{note(records.Tapped, now.Add(27*time.Hour), "north", "lane"), "Noted, tapped on Saturday 21 Mar: North slope, Lane."},
	} {
		if c.got != c.want {
			t.Errorf("step %d: %q, not %q", i, c.got, c.want)
		}
	}
	if _, err := s.NoteTaps(t.Context(), site, odell, records.Tapped, []string{"north", "south"}, time.Time{}, now); err == nil {
		t.Error("a group that there is not")
	}
	on := time.Date(2026, 3, 18, 0, 0, 0, 0, site.Zone)
	noted, err := s.NoteTaps(t.Context(), site, odell, records.Pulled, []string{"brook"}, on, now.Add(48*time.Hour))
	if err != nil || !noted[0].Event.DateOnly || noted[0].Event.On.Format(time.DateOnly) != "2026-03-18" {
		t.Errorf("of a day: %+v %v", noted, err)
	}
	for name, err := range map[string]error{"none": nil, "disk": fmt.Errorf("disk I/O error")} {
		if said, known := SayTapFault(w, err); known || said != "" {
			t.Errorf("%s: %q", name, said)
		}
	}
}

// A file's events of another bush are left to that bush; of this one what can't be is told.
func TestTapsOfAFile(t *testing.T) {
	site := crewed()
	events := []records.TapEvent{{Group: "LANE", Kind: records.Tapped, On: now}, {Site: "lake", Group: "south", Kind: records.Tapped, On: now},
		{Site: "hill", Group: "south", Kind: records.Tapped, On: now}, {Group: "north", Kind: records.Tapped, On: now.Add(48 * time.Hour)}}
	faults := CheckTaps(site, events, now)
	if len(faults) != 2 || events[0].Site != "hill" || events[0].Group != "lane" || events[1].Site != "lake" || events[1].Group != "south" {
		t.Errorf("%d faults, events %+v", len(faults), events)
	}
}

// What taps do in one season says nothing of the next, nor of another group.
func TestTapsAreOfTheirSeason(t *testing.T) {
	s, site := opened(t), crewed()
	for _, c := range []struct {
		group string
		kind  records.TapKind
		days  int
	}{{"north", records.Tapped, -380}, {"north", records.Pulled, -330}, {"lane", records.Tapped, -20}, {"north", records.Tapped, -10}} {
		at := now.AddDate(0, 0, c.days)
		if _, err := s.NoteTap(t.Context(), site, odell, records.TapEvent{Group: c.group, Kind: c.kind, On: at}, at); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		group string
		days  int
		want  int
	}{{"north", 0, 1}, {"lane", 0, 1}, {"brook", 0, 0}, {"north", -330, 2}, {"lane", -330, 0}} {
		own, err := s.tapsOf(t.Context(), site, c.group, now.AddDate(0, 0, c.days))
		if err != nil || len(own) != c.want {
			t.Errorf("%s at %d days: %d events, %v", c.group, c.days, len(own), err)
		}
	}
	own, err := s.tapsOf(t.Context(), site, "north", now.AddDate(0, 0, -330))
	if err != nil {
		t.Fatal(err)
	}
	for days, want := range map[int]records.TapKind{-400: "", -380: records.Tapped, -340: records.Tapped, -330: records.Pulled, -320: records.Pulled} {
		got := records.TapKind("")
		if e := InEffect(own, now.AddDate(0, 0, days)); e != nil {
			got = e.Kind
		}
		if got != want {
			t.Errorf("at %d days %q counts, not %q", days, got, want)
		}
	}
	others := auth.Identity{Name: "Odell", Role: auth.Crew, Site: "lake"}
	lake := &forecast.Site{ID: "lake", Zone: time.UTC}
	if _, err := s.UndoTap(t.Context(), lake, others, own[0].ID, now); err == nil {
		t.Error("taps of another bush are undone")
	}
}

// Visits that come in another order than they were made, or again, are the loads and records
// that they are, whoever sends them.
func TestWhichRecordIsMeant(t *testing.T) {
	at := func(minutes int) time.Time { return now.Add(time.Duration(minutes) * time.Minute) }
	visit := func(minutes int, litres float64) records.Visit {
		return records.Visit{Group: "north", VolumeL: litres, BrixPct: math.NaN(), CollectedAt: at(minutes)}
	}
	take := func(s Service, site *forecast.Site, moment time.Time, visits ...records.Visit) []Record {
		t.Helper()
		r, err := s.Take(t.Context(), Entry{Site: site, Visits: visits, Way: Form, From: odell}, moment)
		if err != nil || r.Refused {
			t.Fatalf("%+v %v", r, err)
		}
		return r.Records
	}
	s, site := opened(t), crewed()
	got := take(s, site, at(0), visit(-60, 40), visit(-300, 30), visit(-30, 20)) // not in order
	if got[0].Visit.VolumeL != 40 || got[1].Visit.VolumeL != 30 || got[2].Visit.VolumeL != 20 || got[1].Outcome != Written || got[2].Outcome != Load {
		t.Errorf("%+v", got)
	}
	if got[2].Loads != 2 || got[2].TotalL != 60 {
		t.Errorf("%d loads of %g litres together", got[2].Loads, got[2].TotalL)
	}
	// A correction of a named moment; a day and an hour of it are not the same moment.
	s, site = opened(t), crewed()
	take(s, site, at(0), visit(-600, 40))
	if got := take(s, site, at(0), visit(-600, 50)); got[0].Outcome != Corrected || got[0].Before.VolumeL != 40 {
		t.Errorf("other figures of a moment: %+v", got)
	}
	dated := visit(-600, 33)
	dated.DateOnly = true
	if got := take(s, site, at(0), dated); got[0].Outcome == Corrected || got[0].Outcome == Same {
		t.Errorf("a day: %+v", got)
	}
	if got := take(s, site, at(0), dated); got[0].Outcome != Same {
		t.Errorf("the day again: %+v", got)
	}
	// Of two that it may say again it says the nearest.
	s, site = opened(t), crewed()
	first := take(s, site, at(0), visit(-240, 40))[0]
	second := take(s, site, at(0), visit(-30, 40))[0]
	if again := take(s, site, at(0), visit(-26, 40))[0]; again.Outcome != Same || again.ID != second.ID || again.ID == first.ID {
		t.Errorf("says the other again: %+v", again)
	}
	// Two of one moment that nobody wrote down stand beside each other.
	s, site = opened(t), crewed()
	bare := func(litres float64) records.Visit { v := visit(0, litres); v.CollectedAt = time.Time{}; return v }
	one, two := take(s, site, at(0), bare(40))[0], take(s, site, at(0), bare(25))[0]
	if one.ID == two.ID || one.Visit.CollectedAt.Equal(two.Visit.CollectedAt) || two.Outcome == Corrected {
		t.Errorf("one takes the place of the other: %+v %+v", one, two)
	}
	for i := range 2 { // also where somebody says that only the day counts, and names none
		v := bare(float64(50 + i))
		v.Group, v.DateOnly = "lane", true
		if got := take(s, site, at(0), v)[0]; got.Outcome == Same || got.Visit.DateOnly {
			t.Errorf("of today: %+v", got)
		}
	}
	// What was taken out and is sent again comes back.
	for range 3 {
		if u, err := s.Undo(t.Context(), site, Last, Form, odell, at(1)); err != nil || len(u.Records) != 1 {
			t.Fatal(u, err)
		}
	}
	gone := two.Visit
	gone.Site = ""
	if back := take(s, site, at(2), gone)[0]; back.Outcome != BroughtBack || back.ID != two.ID {
		t.Errorf("sent again: %+v", back)
	}
}

// The result of an entry is read back as it is now: what was taken back is told as such, and
// an entry that is not there is none.
func TestEntriesAreReadBack(t *testing.T) {
	s, site := opened(t), crewed()
	r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: 80, BrixPct: 2}}, Way: Form, From: odell}, now)
	if err != nil {
		t.Fatal(err)
	}
	back, err := s.Entry(t.Context(), site, r.Number)
	if err != nil || back.Undone || !back.Wrote || back.Number != r.Number || back.Records[0].Name != "North slope" || back.Records[0].ID != r.Records[0].ID {
		t.Errorf("%+v %v", back, err)
	}
	if _, err := s.Undo(t.Context(), site, r.Number, Form, odell, now); err != nil {
		t.Fatal(err)
	}
	if back, err = s.Entry(t.Context(), site, r.Number); err != nil || !back.Undone || back.Wrote {
		t.Errorf("taken back: %+v %v", back, err)
	}
	if _, err := s.Entry(t.Context(), site, r.Number+7); err == nil {
		t.Error("an entry that is not there")
	}
	if r, err := s.Take(t.Context(), Entry{Site: site, Way: Form, From: odell}, now); err != nil || r.Number != 0 || r.Wrote {
		t.Errorf("an entry of nothing: %+v %v", r, err)
	}
	if same, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "lane", VolumeL: 9, BrixPct: 2,
		CollectedAt: time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Hour)}}, Way: Form, From: odell, Doubtful: true}, now); err != nil || !same.Refused || !same.Blocking {
		t.Errorf("what nobody can keep: %+v %v", same, err)
	}
}

// A correction is of the record as it was when it was looked at, and says what it was before.
func TestCorrections(t *testing.T) {
	s, site := opened(t), crewed()
	visit := records.Visit{Group: "north", VolumeL: 80, BrixPct: 2, CollectedAt: now.Add(-time.Hour)}
	entry := func(litres float64) Entry {
		v := visit
		v.VolumeL = litres
		return Entry{Site: site, Visits: []records.Visit{v}, Way: Form, From: odell}
	}
	first, err := s.Take(t.Context(), entry(80), now)
	if err != nil {
		t.Fatal(err)
	}
	id := first.Records[0].ID
	r, err := s.Correct(t.Context(), entry(70), id, 1, now)
	if err != nil || len(r.Records) != 1 || r.Records[0].Outcome != Corrected || r.Records[0].Before.VolumeL != 80 || r.Records[0].Visit.VolumeL != 70 ||
		!r.Wrote || r.Number == 0 {
		t.Errorf("%+v %v", r, err)
	}
	if _, err := s.Correct(t.Context(), entry(60), id, 1, now); !errors.Is(err, archive.ErrChanged) { // somebody was quicker
		t.Errorf("a record that has changed since: %v", err)
	}
	if _, err := s.Correct(t.Context(), entry(60), "none", 1, now); !errors.Is(err, archive.ErrNoVisit) {
		t.Errorf("a record that is not there: %v", err)
	}
	wrong := entry(-5)
	if r, err := s.Correct(t.Context(), wrong, id, 2, now); err != nil || !r.Refused || r.Wrote {
		t.Errorf("less than nothing: %+v %v", r, err)
	}
	kept, err := s.Archive.Visits(t.Context(), site.ID, time.Time{}, site.Zone)
	if err != nil || len(kept) != 1 || kept[0].VolumeL != 70 {
		t.Errorf("%+v %v", kept, err)
	}
}

// What comes later belongs to the record that it is of: sugar, another note, a further load;
// and what was taken out is no visit that others are loads of.
func TestWhatComesLaterIsKept(t *testing.T) {
	take := func(s Service, site *forecast.Site, v records.Visit) Record {
		t.Helper()
		r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{v}, Way: Form, From: odell}, now)
		if err != nil || r.Refused {
			t.Fatalf("%+v %v", r, err)
		}
		return r.Records[0]
	}
	v := records.Visit{Group: "north", VolumeL: 80, BrixPct: math.NaN(), CollectedAt: now.Add(-5 * time.Hour)}
	for name, change := range map[string]func(v *records.Visit){
		"sugar": func(v *records.Visit) { v.BrixPct = 2.1 }, "a note": func(v *records.Visit) { v.Note = "ice" },
		"taps": func(v *records.Visit) { v.Taps = 30 }, "litres": func(v *records.Visit) { v.VolumeL = 80.02 },
	} {
		s, site := opened(t), crewed()
		if first := take(s, site, v); first.Outcome != Written || first.Visit.Taps != 60 { // those of the settings
			t.Errorf("%s: first %+v", name, first)
		}
		other := v
		change(&other)
		got := take(s, site, other)
		if got.Outcome != Corrected || got.Visit.Note != other.Note || got.Visit.VolumeL != other.VolumeL || name == "taps" && got.Visit.Taps != 30 {
			t.Errorf("%s: %+v", name, got)
		}
		if again := take(s, site, other); again.Outcome != Same {
			t.Errorf("%s again: %+v", name, again)
		}
	}
	s, site := opened(t), crewed()
	take(s, site, v)
	load := v
	load.CollectedAt, load.VolumeL = v.CollectedAt.Add(30*time.Minute), 40
	if got := take(s, site, load); got.Outcome != Load || got.Loads != 2 || got.TotalL != 120 {
		t.Errorf("a load by itself: %+v", got)
	}
	s, site = opened(t), crewed()
	take(s, site, v)
	if u, err := s.Undo(t.Context(), site, Last, Form, odell, now); err != nil || len(u.Records) != 1 {
		t.Fatal(u, err)
	}
	if got := take(s, site, load); got.Outcome != Written {
		t.Errorf("a load of what was taken out: %+v", got)
	}
	e := Entry{Site: site}
	if got := e.note("  two\n lines\t\x7f of \x00it\xff "); got != "two lines of it" {
		t.Errorf("a note: %q", got)
	}
}

// Taps that the settings say are in are known; those of another group, or of a day to come,
// are not, and what others did at the same moment is not one's own.
func TestTapsOfTheSettings(t *testing.T) {
	for i, c := range []struct {
		group string
		days  int // from now, in the settings of lane
		want  archive.Outcome
	}{{"lane", -10, archive.Same}, {"lane", 10, archive.Added}, {"north", -10, archive.Added}, {"brook", -10, archive.Added}} {
		s, site := opened(t), crewed()
		site.Groups[1].Tapped = now.AddDate(0, 0, c.days)
		noted, err := s.NoteTap(t.Context(), site, odell, records.TapEvent{Group: c.group, Kind: records.Tapped, On: now.AddDate(0, 0, -10)}, now)
		if err != nil || noted.Outcome != c.want {
			t.Errorf("%d: %+v %v", i, noted, err)
		}
	}
	s, site := opened(t), crewed()
	for _, c := range []struct {
		who   auth.Identity
		group string
	}{{ida, "north"}, {odell, "lane"}, {ida, "brook"}} {
		if _, err := s.NoteTap(t.Context(), site, c.who, records.TapEvent{Group: c.group, Kind: records.Tapped, On: now}, now); err != nil {
			t.Fatal(err)
		}
	}
	if u, err := s.Undo(t.Context(), site, Last, Text, odell, now.Add(time.Minute)); err != nil || len(u.Taps) != 1 || u.Taps[0].Group != "lane" {
		t.Errorf("%+v %v", u, err)
	}
	if u, err := s.Undo(t.Context(), site, Last, Text, odell, now.Add(time.Minute)); err != nil || !u.None {
		t.Errorf("once more: %+v %v", u, err)
	}
}

// A text of several groups that came twice is answered in one sentence, with its moment once.
func TestSeveralThatAreThere(t *testing.T) {
	w := words(t, "en")
	at := time.Date(2026, 3, 20, 14, 55, 0, 0, time.UTC)
	rec := func(name string, litres float64, at time.Time) Record {
		return Record{Name: name, Outcome: Same, Visit: records.Visit{VolumeL: litres, CollectedAt: at, BrixPct: math.NaN()}}
	}
	r := Result{Records: []Record{rec("North", 40, at), rec("South", 30, at)}}
	if said := plain(r.Say(w)); said != "Already noted: North 40 litres; South 30 litres, Fri 20 Mar 2:55 pm. They count once." {
		t.Error(said)
	}
	r.Records[1].Visit.CollectedAt = at.Add(time.Hour)
	if said := plain(r.Say(w)); said != "Already noted: North 40 litres, Fri 20 Mar 2:55 pm; South 30 litres, Fri 20 Mar 3:55 pm. They count once." {
		t.Error(said)
	}
	r.Records[1].Outcome = Written
	if said := r.Say(w); strings.Contains(said, "They count") {
		t.Error(said)
	}
}
