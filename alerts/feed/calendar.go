// Package feed writes what is coming in forms that other programs read: a
// calendar, warnings, and news.
package feed

import (
	"fmt"
	"time"

	ics "github.com/arran4/golang-ical"
)

// Entry is one thing in the calendar. It keeps its UID for good; Sequence rises
// each time that it changes.
type Entry struct {
	UID        string
	Sequence   int
	Changed    time.Time
	Start, End time.Time
	AllDay     bool
	Summary    string
	Text       string
	CalledOff  bool
}

// Calendar writes entries as iCalendar (RFC 5545).
func Calendar(name string, entries []Entry) string {
	c := ics.NewCalendarFor("thawline")
	c.SetMethod(ics.MethodPublish)
	c.SetName(printable(name))
	c.SetXWRCalName(printable(name))
	c.SetRefreshInterval("PT1H")
	for _, e := range entries {
		v := c.AddEvent(e.UID)
		v.SetSequence(e.Sequence)
		v.SetDtStampTime(e.Changed.UTC())
		v.SetModifiedAt(e.Changed.UTC())
		if e.AllDay {
			v.SetAllDayStartAt(e.Start)
			v.SetAllDayEndAt(e.End)
		} else {
			v.SetStartAt(e.Start.UTC())
			v.SetEndAt(e.End.UTC())
		}
		v.SetSummary(printable(e.Summary))
		v.SetTimeTransparency(ics.TransparencyTransparent)
		if e.CalledOff {
			v.SetStatus(ics.ObjectStatusCancelled)
		} else { // of what is off nothing else is said: its groups may be pulled
			v.SetDescription(printable(e.Text))
			v.SetStatus(ics.ObjectStatusTentative) // a forecast is no appointment
		}
	}
	return c.Serialize(ics.WithNewLineWindows) // CR LF, whatever the machine
}

// UID names an entry for good.
func UID(site, what, date string) string {
	return fmt.Sprintf("%s-%s-%s@thawline.invalid", what, date, site)
}
