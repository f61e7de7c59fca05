package records

import (
	"slices"
	"strings"
	"time"

	"thawline/forecast/table"
	"thawline/forecast/units"
)

// TapKind is what was done to the taps of a group.
type TapKind string

// The kinds.
const (
	Tapped TapKind = "tapped"
	Pulled TapKind = "pulled"
)

// TapEvent says that the taps of a group were put in or pulled.
type TapEvent struct {
	Site, Group string // ids; "" where the record does not say
	Kind        TapKind

	// On is when. Where only the day is known, DateOnly is true: taps are put in as the
	// day begins and pulled at UsualHour, with the last round.
	On       time.Time
	DateOnly bool
	Line     int // of the file it was read from, 0 for none
}

// SortTaps orders events by time, keeping the order of equal ones.
func SortTaps(events []TapEvent) {
	slices.SortStableFunc(events, func(a, b TapEvent) int { return a.On.Compare(b.On) })
}

// OnDay dates an event to a local day of which the hour is not known.
func (e *TapEvent) OnDay(day time.Time, zone *time.Location) {
	e.On, e.DateOnly = usualTime(day, zone), true
	if e.Kind == Tapped {
		e.On = time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, zone)
	}
}

// TapFault is why an event can't be kept.
type TapFault struct {
	Kind   Kind // Future, LongAgo, UnknownGroup or NoGroup
	Event  TapEvent
	Groups []string
	Near   string // the group that is probably meant
}

func (f *TapFault) Error() string {
	return "the taps of " + f.Event.Group + " on " + f.Event.On.Format(time.DateOnly) + ": " + string(f.Kind)
}

// CheckTap gives an event the id of its group, which may also be called by name, and
// tells whether it can be kept. An event of today whose hour is not known and not yet
// come is of now.
func CheckTap(e *TapEvent, groups []Group, now time.Time) *TapFault {
	var ids, names []string
	for _, g := range groups {
		ids, names = append(ids, g.ID), append(names, g.ID)
		if g.Name != "" {
			names = append(names, g.Name)
		}
	}
	id, found := groupOf(e.Group, groups)
	switch {
	case found:
		e.Group = id
	case e.Group == "":
		return &TapFault{Kind: NoGroup, Event: *e, Groups: ids}
	default:
		return &TapFault{Kind: UnknownGroup, Event: *e, Groups: ids, Near: units.Nearest(e.Group, names)}
	}
	if here := now.In(e.On.Location()); e.DateOnly && e.On.After(now) && e.On.Format(time.DateOnly) == here.Format(time.DateOnly) {
		e.On, e.DateOnly = here.Truncate(time.Second), false
	}
	switch {
	case e.On.After(now):
		return &TapFault{Kind: Future, Event: *e}
	case e.On.Year() < firstYear:
		return &TapFault{Kind: LongAgo, Event: *e}
	}
	return nil
}

// Standing tells what the events of one group, in order of time, say of a moment: when
// its taps were last put in, and since when they are pulled. Either is zero where nothing
// says so.
func Standing(events []TapEvent, at time.Time) (tapped, pulled time.Time) {
	for i := range events {
		switch e := &events[i]; {
		case e.On.After(at):
			return tapped, pulled
		case e.Kind == Tapped:
			tapped, pulled = e.On, time.Time{}
		case pulled.IsZero():
			pulled = e.On
		}
	}
	return tapped, pulled
}

// SaysNothingNew reports whether an event says of its group what the others, in order
// of time, say already: pulled while it is pulled, or tapped again on the day on which it
// was tapped.
func (e *TapEvent) SaysNothingNew(others []TapEvent) bool {
	tapped, pulled := Standing(others, e.On)
	if e.Kind == Pulled {
		return !pulled.IsZero()
	}
	return pulled.IsZero() && !tapped.IsZero() && tapped.In(e.On.Location()).Format(time.DateOnly) == e.On.Format(time.DateOnly)
}

// tapWords are the words for what was done to taps in the column taps_event of a file.
var tapWords = map[string]TapKind{"tapped": Tapped, "pulled": Pulled, "entaillé": Tapped, "désentaillé": Pulled}

// tapEvent reads a row that says what was done to taps, and false for a visit.
func tapEvent(row table.Row, when string, zone *time.Location) (TapEvent, bool) {
	text := row.Text("taps_event")
	if text == "" {
		return TapEvent{}, false
	}
	e := TapEvent{Site: plainText(row.Text("site")), Group: plainText(row.Text("group")), Kind: tapWords[strings.ToLower(text)],
		Line: row.Line}
	if e.Kind == "" {
		row.Fail("taps_event", text+": nothing that is done to taps", "write tapped or pulled, or nothing for a visit")
	}
	if e.On, e.DateOnly = moment(row, when, zone); e.DateOnly {
		e.OnDay(e.On, zone)
	}
	return e, true
}
