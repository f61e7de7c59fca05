package archive

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// Season is what an outlook is made from, as it is kept of a site.
type Season struct {
	Changes    int64 // writes to the site's records so far, as ChangesOf counts them
	Hours      weather.Series
	Visits     []records.Visit
	TapEvents  []records.TapEvent
	Attendance []records.Attendance
	House      []records.HouseEntry
	Observed   []records.Observation
	Classes    []records.ClassVisit // to come
	Evening    json.RawMessage      // the newest of today or yesterday, nil for none
	Mark       string               // of the seasons before, "" where there is nothing of them
	LeftOut    []Fault              // what could not be read; the rest is there all the same

	taught taught
}

// Fault is why something was left out.
type Fault struct {
	Of  string // what it is, in words of a log
	Err error
}

// OfEarlier is what is left out where earlier seasons can't be read.
const OfEarlier = "what earlier seasons taught"

// Span is from one moment to another.
type Span struct{ From, To time.Time }

// Season reads what there is of a site in a winter until now, and of the seasons before
// it, in one round trip. Questions of others go with it.
func (a *Archive) Season(ctx context.Context, site, place string, winter, earlier Span, also ...*Question) Season {
	var s Season
	var visits []Stored
	var taps []StoredTap
	var going []StoredAttendance
	var house []StoredHouse
	var seen []StoredObservation
	var evenings []json.RawMessage
	zone := winter.From.Location()
	list := []struct {
		what string
		q    *Question
	}{
		{"how many records there are", changesOf(site, &s.Changes)},
		{"the kept weather", a.hours(place, winter.From, winter.To, &s.Hours)},
		{"the visits", VisitsFrom(site, winter.From, zone, &visits)},
		{"what was done to taps", tapEventsFrom(site, winter.From, zone, &taps)},
		{"what people said of rounds", attendancesAt(site, winter.To, zone, &going)},
		{"the sugarhouse's book", houseFrom(site, winter.From, zone, &house)},
		{"what was seen in the bush", ObservationsFrom(site, winter.From, zone, &seen)},
		{"visits of classes", classesFrom(site, winter.To, zone, &s.Classes)},
		{"what the last evening told", eveningsFrom(site, winter.To.In(zone).AddDate(0, 0, -1).Format(time.DateOnly), &evenings)},
		{OfEarlier, a.seasonMark(site, place, earlier.From, earlier.To, &s.Mark)},
		{OfEarlier, taughtOf(site, &s.taught)},
	}
	questions := make([]*Question, len(list))
	for i := range list {
		questions[i] = list[i].q
	}
	a.Each(ctx, append(questions, also...)...)
	for i := range list {
		if list[i].q.Err != nil {
			s.LeftOut = append(s.LeftOut, Fault{list[i].what, a.told("read from", list[i].q.Err)})
		}
	}
	for i := range visits {
		s.Visits = append(s.Visits, visits[i].Visit)
	}
	s.TapEvents = eventsOf(taps)
	for i := range going {
		s.Attendance = append(s.Attendance, going[i].Attendance)
	}
	for i := range house {
		s.House = append(s.House, house[i].HouseEntry)
	}
	for i := range seen {
		s.Observed = append(s.Observed, seen[i].Observation)
	}
	if n := len(evenings); n > 0 {
		s.Evening = evenings[n-1]
	}
	if s.Mark == nothingKept {
		s.Mark = ""
	}
	return s
}

// ofSite is the condition of a query whose first argument is a site, "" for all of them.
// Both in one would be planned anew at each asking, and read the whole table.
func ofSite(site string) string {
	if site == "" {
		return `?1 = ''`
	}
	return `site = ?1`
}

// Taught reads what was kept under a mark into a value; it reports false if there is none
// such.
func (s *Season) Taught(mark string, into any) (bool, error) { return s.taught.under(mark, into) }

// Made is an outlook to be kept, and with it what the evening said; nil for nothing.
type Made struct {
	Site         string
	Made, Issued time.Time // the outlook, and its weather
	Outlook      any
	Date         string // of the evening, local
	Evening      any
}

// PutMade keeps the newest outlook of a site, as compressed JSON, where an older one does
// not replace a newer; and what the evening said, of which the first of a date stays. What
// others write of it goes with it.
func (a *Archive) PutMade(ctx context.Context, m *Made, also ...*Question) error {
	document, err := packed(m.Outlook)
	if err != nil {
		return fmt.Errorf("outlook of %s: %w", m.Site, err)
	}
	list := []*Question{{Query: `INSERT INTO outlook (site, made_at, issued_at, document) VALUES (?1, ?2, ?3, ?4)
		ON CONFLICT (site) DO UPDATE SET made_at = excluded.made_at, issued_at = excluded.issued_at, document = excluded.document WHERE outlook.made_at <= excluded.made_at`,
		Args: []any{m.Site, m.Made.UTC().Format(instant), m.Issued.UTC().Format(instant), document}}}
	if m.Evening != nil {
		said, err := eveningPut(m.Site, m.Date, m.Evening)
		if err != nil {
			return err
		}
		list = append(list, said)
	}
	a.write(ctx, append(list, also...)...)
	for _, q := range list {
		if q.Err != nil {
			return a.told("keep the outlook in", q.Err)
		}
	}
	return nil
}
