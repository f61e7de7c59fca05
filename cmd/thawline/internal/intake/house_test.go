package intake

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/boil"
	"thawline/forecast/records"
)

func boiled(sap, syrup float64, pan string) records.HouseEntry {
	e := blank(records.Boiled)
	e.SapL, e.SyrupL, e.Pan = sap, syrup, pan
	return e
}

// A line of the book says whose it is, is of the pan that there is, counts once under its
// key, and what can't be is not kept.
func TestTheBookKeepsWhatCanBe(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	site.Boiling.Row = boil.Row{{ID: "Front"}, {ID: "back"}}
	var fault *records.HouseFault
	for name, c := range map[string]struct {
		e    records.HouseEntry
		want string
	}{
		"a pan": {boiled(100, 2, "FRONT"), ""}, "no such pan": {boiled(101, 2, "side"), "pan"}, "no pan named": {boiled(102, 2, ""), ""},
		"sap of a pan": {records.HouseEntry{Kind: records.SapLeft, SapL: 4, SyrupL: math.NaN(), SugarKg: math.NaN(), WoodCords: math.NaN(),
			Hours: math.NaN(), Pan: "front"}, "pan"},
		"too much syrup": {boiled(100, 26, ""), "share"}, "no sap": {boiled(math.NaN(), 2, ""), "sap"},
		"to come": {func() records.HouseEntry { e := sapLeft(3); e.At = now.Add(2 * time.Hour); return e }(), "moment"},
	} {
		noted, err := s.NoteHouse(ctx, site, odell, c.e, "", now)
		if got := errors.As(err, &fault); got != (c.want != "") || got && fault.Kind != c.want {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err == nil && (noted.RecordedBy != "Odell" || !noted.At.Equal(now) || noted.Site != "hill" || noted.Outcome != archive.Added) {
			t.Errorf("%s: kept as %+v", name, noted)
		}
		if name == "a pan" && noted.Pan != "Front" {
			t.Errorf("kept in the pan %q", noted.Pan)
		}
	}
	book, err := s.HouseBook(ctx, site, now)
	if err != nil || len(book) != 2 {
		t.Errorf("%d lines are kept, %v", len(book), err)
	}
	for i, want := range []archive.Outcome{archive.Added, archive.Same} {
		if noted, err := s.NoteHouse(ctx, site, odell, sapLeft(float64(40+i)), "hill/k", now.Add(time.Hour)); err != nil || noted.Outcome != want ||
			noted.SapL != 40 {
			t.Errorf("%d under one key: %+v %v", i, noted, err)
		}
	}
	// What somebody wrote last is theirs and newer than the moment that is asked about.
	if last, err := s.lastHouse(ctx, site, now, ida); err != nil || last != nil {
		t.Errorf("another's: %+v %v", last, err)
	}
	if last, err := s.lastHouse(ctx, site, now.Add(time.Hour), odell); err != nil || last != nil {
		t.Errorf("not newer: %+v %v", last, err)
	}
	if last, err := s.lastHouse(ctx, site, now, odell); err != nil || last == nil || last.SapL != 40 {
		t.Errorf("the last: %+v %v", last, err)
	}
	if got := PanName(words(t, "en"), "Front") + " " + PanName(words(t, "en"), forecast.FinishingPan); got != "Front finishing" {
		t.Error(got)
	}
}

// What is answered to a line of the book says its figures and no others.
func TestWhatTheBookAnswers(t *testing.T) {
	w := words(t, "en")
	wood, syrup, sugar := blank(records.WoodLeft), blank(records.SyrupLeft), blank(records.Stirred)
	wood.WoodCords, syrup.SyrupL = 0.4, 6
	sugar.Sugar = &records.SugarBatch{LeftC: 123, WaterC: 99, HumidityPct: math.NaN(), Outcome: "poured"}
	for _, c := range []struct {
		e       records.HouseEntry
		outcome archive.Outcome
		say     string
		what    string
	}{
		{boiled(100, 2, "front"), archive.Added, "Noted: boiled 100 litres of sap to 2 litres of syrup (pan: front). UNDO takes it back.",
			"a boil of 100 litres (pan: front)"},
		{boiled(100, 0, ""), archive.Added, "Noted: boiled 100 litres of sap. UNDO takes it back.", "a boil of 100 litres"},
		{boiled(100, math.NaN(), ""), archive.Added, "Noted: boiled 100 litres of sap. UNDO takes it back.", "a boil of 100 litres"},
		{boiled(100, 2, ""), archive.Same, "That is written down: it counts once.", "a boil of 100 litres"},
		{sapLeft(40), archive.Added, "Noted: 40 litres of sap in the sugarhouse. UNDO takes it back.", "40 litres of sap in the sugarhouse"},
		{syrup, archive.Added, "Noted: 6.0 litres of syrup. UNDO takes it back.", "6.0 litres of syrup"},
		{wood, archive.Added, "Noted: 0.40 cords of wood. UNDO takes it back.", "0.40 cords of wood"},
		{blank(records.TippedOut), archive.Added, "Noted: tipped out. UNDO takes it back.", "sap tipped out"},
		{sugar, archive.Added, "Noted: sugar taken off 24.0 °C above boiling water, it poured. UNDO takes it back.",
			"sugar, taken off 24.0 °C above boiling water: it poured"},
	} {
		n := NotedHouse{archive.StoredHouse{HouseEntry: c.e}, c.outcome}
		if got := strings.ReplaceAll(n.Say(w), "\u00a0", " "); got != c.say {
			t.Errorf("%q, not %q", got, c.say)
		}
		if got := strings.ReplaceAll(SayHouse(w, &c.e), "\u00a0", " "); got != c.what {
			t.Errorf("%q, not %q", got, c.what)
		}
	}
	for name, c := range map[string]struct {
		err  error
		want string
	}{
		"not allowed": {ErrNotAllowed, "You may look on, but not write records. Ask a keeper to let you. Nothing was written down."},
		"pan":         {&records.HouseFault{Kind: "pan", What: "front, back"}, "That was not kept: your settings have no pan of that name. Yours: front, back."},
		"much":        {&records.HouseFault{Kind: "much", What: "wood"}, "That was not kept: that is too much wood. Check the number and its unit."},
		"sap":         {&records.HouseFault{Kind: "sap"}, "That was not kept: say how much sap it was, such as 220 L."},
		"disk":        {errors.New("disk I/O error"), ""}, "none": {nil, ""},
	} {
		if got, known := SayHouseFault(w, c.err); got != c.want || known != (c.want != "") {
			t.Errorf("%s: %q %t", name, got, known)
		}
	}
}

// Only who decides books classes; a visit that can't be is not booked, and one counts once.
func TestClassesThatCanBe(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	day := time.Date(2026, 3, 24, 0, 0, 0, 0, site.Zone)
	good := records.ClassVisit{Day: day, From: 9 * time.Hour, To: 11 * time.Hour, Learners: 20}
	late := good
	late.Day = day.AddDate(0, 0, -30)
	if _, _, err := s.BookClass(ctx, site, keeper, late, now); err == nil {
		t.Error("a visit that is over is booked")
	}
	first, outcome, err := s.BookClass(ctx, site, keeper, good, now)
	if err != nil || outcome != archive.Added || first.Site != "hill" || first.ID == "" {
		t.Fatal(first, outcome, err)
	}
	if again, outcome, err := s.BookClass(ctx, site, keeper, good, now); err != nil || outcome != archive.Same || again.ID != first.ID {
		t.Errorf("booked again: %+v %s %v", again, outcome, err)
	}
	some := auth.Identity{Person: "kim", Name: "Kim", Role: auth.Keeper, Sites: []string{"lake"}}
	if err := s.WithdrawClass(ctx, site, some, first.ID); !errors.Is(err, ErrNotAllowed) {
		t.Errorf("a keeper of another bush: %v", err)
	}
	if err := s.WithdrawClass(ctx, site, keeper, "none"); !errors.Is(err, archive.ErrNoEntry) {
		t.Errorf("a visit that is not there: %v", err)
	}
	if err := s.WithdrawClass(ctx, site, keeper, first.ID); err != nil {
		t.Error(err)
	}
}
