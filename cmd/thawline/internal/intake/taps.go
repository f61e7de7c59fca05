package intake

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// TapStore is where it is kept when taps were put in and pulled.
type TapStore interface {
	TapEvents(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredTap, error)
	TapEvent(ctx context.Context, id string, zone *time.Location) (archive.StoredTap, error)
	PutTaps(ctx context.Context, events []records.TapEvent, by string, now time.Time) ([]archive.PutTap, error)
	UndoTap(ctx context.Context, id, by string, now time.Time) error
}

// ErrNotAllowed is what writing gives whom the role does not let.
var ErrNotAllowed = errors.New("this role may not write records")

// NotedTap is what became of an event, and how its group stands now.
type NotedTap struct {
	archive.PutTap
	Pulled time.Time // since when its taps are pulled, zero while they are in
	Tapped time.Time // since when they are in, as far as that is known
}

// NoteTap checks that somebody may write of a group's taps, and what, and keeps it: once,
// however often it is said. The event may call its group by name; its site is filled in.
// Faults that the writer can put right are ErrNotAllowed or *records.TapFault.
func (s Service) NoteTap(ctx context.Context, site *forecast.Site, from auth.Identity, e records.TapEvent, now time.Time) (NotedTap,
	error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return NotedTap{}, ErrNotAllowed
	}
	e.Site = site.ID
	if fault := records.CheckTap(&e, groupsOf(site), now); fault != nil {
		return NotedTap{}, fault
	}
	own, err := s.tapsOf(ctx, site, e.Group, e.On)
	if err != nil {
		return NotedTap{}, err
	}
	said := said(own)
	for i := range site.Groups {
		if g := &site.Groups[i]; g.ID == e.Group && !g.Tapped.IsZero() && !g.Tapped.After(now) {
			said = append(said, records.TapEvent{Group: g.ID, Kind: records.Tapped, On: g.Tapped})
		}
	}
	records.SortTaps(said)
	noted := NotedTap{PutTap: archive.PutTap{Event: e, Outcome: archive.Same}}
	if e.SaysNothingNew(said) {
		if last := InEffect(own, e.On); last != nil {
			noted.ID, noted.Event = last.ID, last.TapEvent
		}
	} else {
		puts, err := s.Archive.PutTaps(ctx, []records.TapEvent{e}, from.Name, now)
		if err != nil {
			return NotedTap{}, err
		}
		noted.PutTap, said = puts[0], append(said, e)
		records.SortTaps(said)
	}
	noted.Tapped, noted.Pulled = records.Standing(said, now)
	return noted, nil
}

// CheckTaps fills in the site and the ids of groups of a file's events, and tells what has
// to be put right before they can be kept.
func CheckTaps(site *forecast.Site, events []records.TapEvent, now time.Time) (faults []*records.TapFault) {
	for i := range events {
		if events[i].Site == "" {
			events[i].Site = site.ID
		}
		if events[i].Site != site.ID {
			continue // of another site, as its visits are
		}
		if fault := records.CheckTap(&events[i], groupsOf(site), now); fault != nil {
			faults = append(faults, fault)
		}
	}
	return faults
}

// UndoTap undoes the last change of an event of a site, where somebody may write records.
// It returns ErrNotAllowed, or archive.ErrNoVisit where the site has no such event.
func (s Service) UndoTap(ctx context.Context, site *forecast.Site, from auth.Identity, id string, now time.Time) (archive.StoredTap,
	error) {
	if !from.Can(auth.WriteRecords) || !from.Sees(site.ID) {
		return archive.StoredTap{}, ErrNotAllowed
	}
	of, err := s.Archive.TapEvent(ctx, id, site.Zone)
	if err == nil && of.Site != site.ID {
		err = archive.ErrNoVisit
	}
	if err == nil {
		err = s.Archive.UndoTap(ctx, id, from.Name, now)
	}
	if err != nil {
		return of, err
	}
	return s.Archive.TapEvent(ctx, id, site.Zone)
}

// tapsOf are the events of a group in the season of a moment, oldest first.
func (s Service) tapsOf(ctx context.Context, site *forecast.Site, group string, at time.Time) ([]archive.StoredTap, error) {
	from := season.WinterStart(at, site.Zone)
	all, err := s.Archive.TapEvents(ctx, site.ID, from, site.Zone)
	if err != nil {
		return nil, err
	}
	var own []archive.StoredTap
	for i := range all {
		if all[i].Group == group && all[i].On.Before(from.AddDate(1, 0, 0)) {
			own = append(own, all[i])
		}
	}
	return own, nil
}

func said(stored []archive.StoredTap) []records.TapEvent {
	var events []records.TapEvent
	for i := range stored {
		events = append(events, stored[i].TapEvent)
	}
	return events
}

// InEffect is the event of one group, of those in order of time, that says how its taps
// stand at a moment; nil where none does.
func InEffect(stored []archive.StoredTap, at time.Time) *archive.StoredTap {
	tapped, pulled := records.Standing(said(stored), at)
	for i := range stored {
		if s := &stored[i]; s.Kind == records.Pulled && !pulled.IsZero() && s.On.Equal(pulled) ||
			s.Kind == records.Tapped && pulled.IsZero() && s.On.Equal(tapped) {
			return s
		}
	}
	return nil
}

// NoteTaps keeps the same of several groups, as NoteTap does: on a day, or now where that
// is zero.
func (s Service) NoteTaps(ctx context.Context, site *forecast.Site, from auth.Identity, kind records.TapKind, groups []string, on,
	now time.Time) ([]NotedTap, error) {
	var all []NotedTap
	for _, g := range groups {
		e := records.TapEvent{Group: g, Kind: kind, On: now.In(site.Zone).Truncate(time.Second)}
		if !on.IsZero() {
			e.OnDay(on, site.Zone)
		}
		noted, err := s.NoteTap(ctx, site, from, e, now)
		if err != nil {
			return all, err
		}
		all = append(all, noted)
	}
	return all, nil
}

// SayTaps tells what was noted of the taps of several groups: of those of which it was
// new, if it was of any.
func SayTaps(w *message.Words, site *forecast.Site, noted []NotedTap) string {
	fresh := slices.DeleteFunc(slices.Clone(noted), func(n NotedTap) bool { return n.Outcome == archive.Same })
	if len(fresh) > 0 {
		noted = fresh
	}
	if len(noted) == 1 {
		return noted[0].Say(w, site)
	}
	var names []string
	for i := range noted {
		names = append(names, nameOf(site, noted[i].Event.Group))
	}
	since, key := noted[0].Tapped, "taps_noted_tapped_several"
	switch {
	case noted[0].Event.Kind == records.Pulled && len(fresh) == 0:
		since, key = noted[0].Pulled, "taps_known_pulled"
	case noted[0].Event.Kind == records.Pulled:
		since, key = noted[0].Pulled, "taps_noted_pulled"
	}
	since = since.In(site.Zone)
	return w.Say(key, map[string]any{"Group": strings.Join(names, ", "), "When": w.Weekday(since) + " " + w.Date(since)})
}

// Say tells what was noted of a group's taps, or that it was known.
func (n *NotedTap) Say(w *message.Words, site *forecast.Site) string {
	since, key := n.Tapped, "taps_noted_tapped"
	if n.Event.Kind == records.Pulled {
		since, key = n.Pulled, "taps_noted_pulled"
	}
	switch {
	case n.Outcome == archive.Same && n.Event.Kind == records.Pulled:
		key = "taps_known_pulled"
	case n.Outcome == archive.Same:
		key = "taps_known_tapped"
	case n.Event.Kind == records.Tapped && !n.Pulled.IsZero():
		since, key = n.Pulled, "taps_still_pulled"
	case n.Event.Kind == records.Pulled && n.Pulled.IsZero():
		since, key = n.Tapped, "taps_still_in"
	}
	day := func(t time.Time) string { t = t.In(site.Zone); return w.Weekday(t) + " " + w.Date(t) }
	return w.Say(key, map[string]any{"Group": nameOf(site, n.Event.Group), "When": day(since), "On": day(n.Event.On)})
}

// SayTapFault tells why something about taps was not kept; false where the writer can do
// nothing about it.
func SayTapFault(w *message.Words, err error) (string, bool) {
	var fault *records.TapFault
	switch {
	case errors.Is(err, ErrNotAllowed):
		return w.Say("taps_not_allowed", nil), true
	case !errors.As(err, &fault):
		return "", false
	case fault.Kind == records.Future:
		return w.OnLine(fault.Event.Line,
			w.Say("taps_wrong_future", map[string]any{"Date": w.Weekday(fault.Event.On) + " " + w.Date(fault.Event.On)})), true
	}
	return w.Doubt(&records.Doubt{Kind: fault.Kind,
		Visit: records.Visit{Group: fault.Event.Group, CollectedAt: fault.Event.On, Line: fault.Event.Line}, Groups: fault.Groups,
		Near: fault.Near}), true
}

func groupsOf(site *forecast.Site) []records.Group {
	var groups []records.Group
	for _, g := range site.Groups {
		groups = append(groups, records.Group{ID: g.ID, Name: g.Name})
	}
	return groups
}
