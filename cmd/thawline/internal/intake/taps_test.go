package intake

import (
	"errors"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// Who may write says it once, of a group that there is, of what is done; what is said
// back names the group and since when its taps are out or in.
func TestNoteTap(t *testing.T) {
	s := opened(t)
	a := s.Archive
	zone, err := time.LoadLocation("America/Montreal")
	if err != nil {
		t.Fatal(err)
	}
	site := &forecast.Site{ID: "hill", Zone: zone,
		Groups: []forecast.Group{{ID: "north", Name: "North side", Tapped: time.Date(2026, 2, 20, 0, 0, 0, 0, zone)}, {ID: "south"}}}
	now := time.Date(2026, 4, 8, 10, 30, 0, 0, zone)
	crew := auth.Identity{Role: auth.Crew}
	words := map[string]*message.Words{"en": words(t, "en"), "fr": words(t, "fr")}
	var last NotedTap
	for _, c := range []struct {
		who         auth.Identity
		group       string
		kind        records.TapKind
		day         int // of April, 0 for now
		english     string
		french      string
		afterwards  int // events
		stillPulled bool
	}{
		{auth.Identity{Role: auth.Viewer}, "north", records.Pulled, 0,
			"You may look on, but not write records. Ask a keeper to let you.", "", 0, false},
		{crew, "norht", records.Pulled, 0, "there is no group “norht”; did you mean “north”?", "", 0, false},
		{crew, "north", records.Pulled, 9, "Thursday 9 Apr is still to come: write it down once it is done.",
			"jeudi 9 avr., c'est encore à venir : notez-le une fois que ce sera fait.", 0, false},
		{crew, "NORTH side", records.Pulled, 6, "Noted: the taps of North side have been out since Monday 6 Apr.",
			"Noté : désentaillé depuis lundi 6 avr., North side.", 1, true},
		{crew, "north", records.Pulled, 0, "That is noted already: the taps of North side have been out since Monday 6 Apr.", "", 1, true},
		{crew, "north", records.Tapped, 3, "Noted: the taps of North side went in on Friday 3 Apr. They have been out since Monday 6 Apr.",
			"", 2, true},
		{auth.Identity{Role: auth.Viewer, Scopes: []auth.Scope{auth.WriteRecords}}, "north", records.Tapped, 0,
			"Noted: the taps of North side have been in since Wednesday 8 Apr.", "", 3, false},
		{crew, "north", records.Tapped, 0, "That is noted already: the taps of North side have been in since Wednesday 8 Apr.", "", 3, false},
		{crew, "north", records.Pulled, 5,
			"Noted: the taps of North side were pulled on Sunday 5 Apr. They went in again on Wednesday 8 Apr.", "", 4, false},
	} {
		e := records.TapEvent{Group: c.group, Kind: c.kind, On: now}
		if c.day > 0 {
			e.OnDay(time.Date(2026, 4, c.day, 0, 0, 0, 0, zone), zone)
		}
		noted, err := s.NoteTap(t.Context(), site, c.who, e, now)
		for language, want := range map[string]string{"en": c.english, "fr": c.french} {
			said, fault := SayTapFault(words[language], err)
			if !fault && err != nil {
				t.Fatal(err)
			}
			if !fault {
				said = noted.Say(words[language], site)
			}
			if want != "" && said != want {
				t.Errorf("%s\n%s", said, want)
			}
		}
		stored, err2 := a.TapEvents(t.Context(), "hill", time.Time{}, zone)
		if err2 != nil || len(stored) != c.afterwards || err == nil && (noted.ID == "" || !noted.Pulled.IsZero() != c.stillPulled) {
			t.Errorf("%s: %v %+v, %d kept", c.english, err2, noted, len(stored))
		}
		last = noted
	}
	viewer, site2 := auth.Identity{Role: auth.Viewer}, &forecast.Site{ID: "other", Zone: zone}
	if _, err := s.UndoTap(t.Context(), site, viewer, last.ID, now); !errors.Is(err, ErrNotAllowed) {
		t.Errorf("%v", err)
	}
	if _, err := s.UndoTap(t.Context(), site2, crew, last.ID, now); !errors.Is(err, archive.ErrNoVisit) {
		t.Errorf("of another site: %v", err)
	}
	if gone, err := s.UndoTap(t.Context(), site, crew, last.ID, now); err != nil || !gone.Removed {
		t.Errorf("%v %+v", err, gone)
	}
}

// A group that the settings say was tapped after the records say it was pulled can be
// pulled again.
func TestPulledAfterSettingsTappedIt(t *testing.T) {
	s := opened(t)
	now := time.Date(2026, 4, 8, 10, 30, 0, 0, time.UTC)
	site := &forecast.Site{ID: "hill", Zone: time.UTC, Groups: []forecast.Group{{ID: "north", Tapped: now.AddDate(0, 0, -10)}}}
	for days, outcome := range map[int]archive.Outcome{20: archive.Added} {
		noted, err := s.NoteTap(t.Context(), site, auth.Identity{Role: auth.Crew},
			records.TapEvent{Group: "north", Kind: records.Pulled, On: now.AddDate(0, 0, -days)}, now)
		if err != nil || noted.Outcome != outcome || !noted.Pulled.IsZero() {
			t.Errorf("%v %+v", err, noted)
		}
	}
	if noted, err := s.NoteTap(t.Context(), site, auth.Identity{Role: auth.Crew},
		records.TapEvent{Group: "north", Kind: records.Pulled, On: now}, now); err != nil || noted.Outcome != archive.Added ||
		noted.Pulled.IsZero() {
		t.Errorf("%v %+v", err, noted)
	}
}

// What somebody wrote down last is taken back, whether it is a visit or what was done to
// taps; nobody takes back what another wrote.
func TestUndoTakesBackTapsToo(t *testing.T) {
	s := opened(t)
	site := bush("hill")
	at := now
	write := func(who auth.Identity, kind records.TapKind) {
		t.Helper()
		at = at.Add(time.Minute)
		var err error
		if kind == "" {
			_, err = s.Take(t.Context(),
				Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: float64(at.Minute()), BrixPct: 2}}, Way: Text,
					From: who}, at)
		} else {
			_, err = s.NoteTap(t.Context(), site, who, records.TapEvent{Group: "north", Kind: kind, On: at}, at)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	other := auth.Identity{Person: "ida", Name: "Ida", Role: auth.Crew}
	write(keeper, "")
	write(keeper, records.Pulled)
	write(other, "")
	for _, c := range []struct {
		who  auth.Identity
		want string
	}{{other, "Taken back: North slope"}, {other, "There is nothing of yours"},
		{keeper, "Taken back: North slope Fri 20 Mar: taps pulled."}, {keeper, "Taken back: North slope"},
		{keeper, "There is nothing of yours"}} {
		at = at.Add(time.Minute)
		undone, err := s.Undo(t.Context(), site, Last, Text, c.who, at)
		if err != nil {
			t.Fatal(err)
		}
		if got := undone.Say(words(t, "en"), site); !strings.HasPrefix(got, c.want) {
			t.Errorf("%s\n%s", got, c.want)
		}
	}
}
