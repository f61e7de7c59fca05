package intake

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// sky is an archive whose weather is the same at all hours, but for those that are not kept.
type sky struct {
	Archive
	c     float64
	hours int // that are kept of what is asked for
	err   error
}

func (s sky) Hours(_ context.Context, _ string, from, to time.Time) (weather.Series, error) {
	series := weather.NewSeries(from, int(to.Sub(from).Hours())+1)
	for i := range series.Hours() {
		if series.Col(weather.TemperatureC)[i] = math.NaN(); i < s.hours {
			series.Col(weather.TemperatureC)[i] = s.c
		}
	}
	return series, s.err
}

func low(c float64) records.Observation {
	return records.Observation{Kind: records.Low, TemperatureC: c, Day: "2026-03-20"}
}

// What the weather speaks against is asked about and not kept, unless who wrote it is sure;
// where too little weather is kept, or none, nothing speaks against it. Of several
// observations one that can't be keeps all of them out.
func TestTheWeatherSpeaksAgainst(t *testing.T) {
	place := func(*forecast.Site) string { return "place" }
	for name, c := range map[string]struct {
		sky  sky
		key  func(*forecast.Site) string
		list []records.Observation
		sure bool
		want string // kind of fault
		kept int
	}{
		"as it was":           {sky{c: -4, hours: 99}, place, []records.Observation{low(-5)}, false, "", 1},
		"far":                 {sky{c: -4, hours: 99}, place, []records.Observation{low(-30)}, false, "far", 0},
		"far, and sure":       {sky{c: -4, hours: 99}, place, []records.Observation{low(-30)}, true, "", 1},
		"no temperature":      {sky{c: -4, hours: 99}, place, []records.Observation{low(-90)}, true, "figure", 0},
		"one of two":          {sky{c: -4, hours: 99}, place, []records.Observation{low(-5), low(-30)}, false, "far", 0},
		"half of it is kept":  {sky{c: -4, hours: 8}, place, []records.Observation{low(-30)}, false, "far", 0},
		"less than half":      {sky{c: -4, hours: 7}, place, []records.Observation{low(-30)}, false, "", 1},
		"no weather":          {sky{}, nil, []records.Observation{low(-30)}, false, "", 1},
		"no day":              {sky{c: -4, hours: 99}, place, []records.Observation{{Kind: records.Low, TemperatureC: -4, Day: "x"}}, true, "moment", 0},
		"a drip has none":     {sky{c: -4, hours: 99, err: errors.New("not asked")}, place, []records.Observation{{Kind: records.Dripping}}, false, "", 1},
		"no such group":       {sky{}, nil, []records.Observation{{Kind: records.Dripping, Group: "south"}}, false, "group", 0},
		"a thermometer's":     {sky{}, nil, []records.Observation{{Kind: records.Low, TemperatureC: -4, Group: "south"}}, false, "", 1},
		"nothing":             {sky{}, nil, nil, false, "", 0},
		"a high of that noon": {sky{c: 9, hours: 99}, place, []records.Observation{{Kind: records.High, TemperatureC: 27, Day: "2026-03-20"}}, false, "far", 0},
	} {
		s := opened(t)
		s.PlaceKey = c.key
		c.sky.Archive = s.Archive
		s.Archive = c.sky
		site := crewed()
		puts, err := s.Observe(t.Context(), Seen{Site: site, From: odell, List: c.list, Sure: c.sure}, now)
		var fault *records.ObservationFault
		if got := errors.As(err, &fault); got != (c.want != "") || got && fault.Kind != c.want || err != nil && !got {
			t.Errorf("%s: %v", name, err)
		}
		list, err := s.Observed(t.Context(), site, now)
		if err != nil || len(list) != c.kept || len(puts) != c.kept {
			t.Errorf("%s: %d are kept, %d said, %v", name, len(list), len(puts), err)
		}
		if c.kept > 0 && (list[0].RecordedBy != "Odell" || list[0].Site != "hill") {
			t.Errorf("%s: %+v", name, list[0])
		}
	}
	s := opened(t)
	s.PlaceKey, s.Archive = place, sky{Archive: s.Archive, err: errors.New("disk I/O error")}
	if _, err := s.Observe(t.Context(), Seen{Site: crewed(), From: odell, List: []records.Observation{low(-5)}}, now); err == nil {
		t.Error("kept without looking at the weather")
	}
}

// Lows are held against the low of the kept weather and highs against its high.
func TestLowsAndHighsAreTold(t *testing.T) {
	day := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	site := crewed()
	site.Zone = time.UTC
	s := opened(t)
	s.PlaceKey = func(*forecast.Site) string { return "place" }
	s.Archive = swing{s.Archive}
	for kind, want := range map[records.ObservationKind]float64{records.Low: -8, records.High: 8} {
		if got, err := s.knownC(t.Context(), site, &records.Observation{Kind: kind, Day: day.Format(time.DateOnly)}); err != nil ||
			math.Abs(got-want) > 0.5 {
			t.Errorf("%s: %g, not %g; %v", kind, got, want, err)
		}
	}
}

// swing is an archive with -8 °C at five in the morning and 8 °C at five in the evening.
type swing struct{ Archive }

func (swing) Hours(_ context.Context, _ string, from, to time.Time) (weather.Series, error) {
	series := weather.NewSeries(from, int(to.Sub(from).Hours())+1)
	for i := range series.Hours() {
		series.Col(weather.TemperatureC)[i] = -8 * math.Cos(2*math.Pi*(float64(series.Time(i).Hour())-5)/24)
	}
	return series, nil
}

// Of a station's file days that can't be are left out and told; where they are more than one
// in three, it is of another unit or place, and none of it is kept.
func TestStationsFilesOfAnotherPlace(t *testing.T) {
	for bad, want := range map[int]bool{0: true, 1: true, 3: true, 4: false, 9: false} {
		s := opened(t)
		s.PlaceKey = func(*forecast.Site) string { return "place" }
		s.Archive = sky{Archive: s.Archive, c: -4, hours: 99}
		var list []records.Observation
		for i := range 9 {
			o := low(-5)
			o.Day = now.AddDate(0, 0, -i).Format(time.DateOnly)
			if i < bad {
				o.TemperatureC = -30
			}
			list = append(list, o)
		}
		puts, leftOut, err := s.ObserveFile(t.Context(), Seen{Site: crewed(), From: odell, List: list}, now)
		var fault *records.ObservationFault
		if errors.As(err, &fault) == want || want && (len(puts) != 9-bad || len(leftOut) != bad) || !want && (len(puts) > 0 || len(leftOut) > 0) {
			t.Errorf("%d of 9 can't be: %d kept, %d left out, %v", bad, len(puts), len(leftOut), err)
		}
		kept, err := s.Observed(t.Context(), crewed(), now)
		if err != nil || len(kept) != len(puts) {
			t.Errorf("%d of 9 can't be: %d are kept, %v", bad, len(kept), err)
		}
		if want && bad > 0 {
			if says := SayLeftOut(words(t, "en"), leftOut); len(says) != bad || !strings.Contains(says[0], "-30") {
				t.Errorf("told: %q", says)
			}
		}
	}
	s := opened(t)
	if puts, leftOut, err := s.ObserveFile(t.Context(), Seen{Site: crewed(), From: odell}, now); puts != nil || leftOut != nil || err != nil {
		t.Errorf("an empty file: %v %v %v", puts, leftOut, err)
	}
}

// What is answered names the group and the figure before, once each; what was known is said
// to count once.
func TestWhatObservationsAreAnswered(t *testing.T) {
	w, site := words(t, "en"), crewed()
	at := now.In(site.Zone)
	put := func(o records.Observation, outcome archive.Outcome) archive.PutObservation {
		o.At = at
		return archive.PutObservation{StoredObservation: archive.StoredObservation{Observation: o}, Outcome: outcome, Before: low(-3)}
	}
	for name, c := range map[string]struct {
		puts []archive.PutObservation
		want string
	}{
		"a low":      {[]archive.PutObservation{put(low(-5), archive.Added)}, "Noted: low of -5 C, the night to Friday 20 Mar. UNDO takes it back."},
		"corrected":  {[]archive.PutObservation{put(low(-5), archive.Corrected)}, "Noted: low of -5 C, not -3 C, the night to Friday 20 Mar. UNDO takes it back."},
		"known":      {[]archive.PutObservation{put(low(-5), archive.Same)}, "That is noted already: it counts once."},
		"none":       {nil, "That is noted already: it counts once."},
		"of a group": {[]archive.PutObservation{put(records.Observation{Kind: records.Dripping, Group: "north"}, archive.Added)}, "Noted: dripping at 5:30 pm on Friday, North slope. UNDO takes it back."},
		"instead":    {[]archive.PutObservation{put(records.Observation{Kind: records.Dripping}, archive.Corrected)}, "Noted: dripping at 5:30 pm on Friday. UNDO takes it back."},
		"one of two": {[]archive.PutObservation{put(low(-5), archive.Same), put(records.Observation{Kind: records.Sweet}, archive.Added)},
			"Noted: sap tastes sweet on Friday. UNDO takes it back."},
		"a sign": {[]archive.PutObservation{put(records.Observation{Kind: records.Sign, Sign: "frogs"}, archive.Added)}, "Noted: frogs, Friday 20 Mar. Coming springs learn from it. UNDO takes it back."},
		"a low of another day": {[]archive.PutObservation{put(records.Observation{Kind: records.Low, TemperatureC: -2, Day: "2026-03-18"}, archive.Added)},
			"Noted: low of -2 C, the night to Wednesday 18 Mar. UNDO takes it back."},
	} {
		if got := strings.ReplaceAll(SayObserved(w, site, c.puts), "\u00a0", " "); got != c.want {
			t.Errorf("%s: %q, not %q", name, got, c.want)
		}
	}
	file := []archive.PutObservation{put(low(-5), archive.Same), put(low(-4), archive.Added), put(low(-3), archive.Added)}
	if got := SayObservedFile(w, file); got != "2 lows and highs added, 1 already there." {
		t.Error(got)
	}
	seen := records.Observation{Kind: records.HalfFull, Group: "lane", At: at}
	if got := strings.ReplaceAll(WhatObserved(w, site, &seen), "\u00a0", " "); got != "half full, Friday 20 Mar 5:30 pm, Lane" {
		t.Error(got)
	}
	for name, c := range map[string]struct {
		err  error
		want string
	}{
		"not allowed": {ErrNotAllowed, "You may look on, but not write records. Ask a keeper to let you. Nothing was written down."},
		"group":       {&records.ObservationFault{Kind: "group", Of: records.Observation{Group: "south"}}, "Nothing was written: there is no group “south”."},
		"in °F": {&records.ObservationFault{Kind: "unit", Of: low(24), KnownC: -4, OtherC: -4.4, InF: true},
			"Is it 24 F? Then write: low 24 F."},
		"in °C": {&records.ObservationFault{Kind: "unit", Of: low(-20), KnownC: -4, OtherC: -4}, "Is it -4 C? Then write: low -4 C."},
		"disk":  {errors.New("disk I/O error"), ""},
	} {
		got, known := SayObservationFault(w, c.err)
		if got = strings.ReplaceAll(got, "\u00a0", " "); known != (c.want != "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q %t", name, got, known)
		}
	}
}

// A group goes by its id or its name, whatever the case, and by nothing else; somebody's
// last observations are all of that moment and of nobody else.
func TestWhoseObservationsAreTheLast(t *testing.T) {
	s, site, ctx := opened(t), crewed(), t.Context()
	for group, want := range map[string]string{"LANE": "lane", "north Slope": "north", "": ""} {
		puts, err := s.Observe(ctx, Seen{Site: site, From: odell, List: []records.Observation{{Kind: records.Dripping, Group: group}}}, now)
		if err != nil || puts[0].Group != want {
			t.Errorf("%q: %+v %v", group, puts, err)
		}
	}
	at := now.Add(time.Hour)
	if _, err := s.Observe(ctx, Seen{Site: site, From: odell, List: []records.Observation{{Kind: records.NotDripping}, {Kind: records.Off}}}, at); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Observe(ctx, Seen{Site: site, From: ida, List: []records.Observation{{Kind: records.Sweet, Group: "brook"}}}, at.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	kinds := func(list []archive.StoredObservation) (out []records.ObservationKind) {
		for i := range list {
			out = append(out, list[i].Kind)
		}
		slices.Sort(out)
		return out
	}
	last, err := s.lastObserved(ctx, site, now, odell)
	if err != nil || !slices.Equal(kinds(last), []records.ObservationKind{records.NotDripping, records.Off}) {
		t.Errorf("the last: %v %v", kinds(last), err)
	}
	if last, err := s.lastObserved(ctx, site, at, odell); err != nil || len(last) != 0 {
		t.Errorf("not newer: %v %v", kinds(last), err)
	}
	if back, err := s.TakeBackObserved(ctx, site, odell, last[0].ID, at); err != nil || back.At.Location() != site.Zone {
		t.Errorf("%+v %v", back, err)
	}
}
