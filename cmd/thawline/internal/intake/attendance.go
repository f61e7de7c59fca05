package intake

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// AttendanceStore is where it is kept who goes round and who can't.
type AttendanceStore interface {
	Attendances(ctx context.Context, site string, at time.Time, zone *time.Location) ([]archive.StoredAttendance, error)
	PutAttendance(ctx context.Context, site, key string, said records.Attendance, by string,
		now time.Time) (put archive.StoredAttendance, again bool, err error)
	WithdrawAttendance(ctx context.Context, site, id, by string, now time.Time) error
}

// AttendanceFault is what is wrong with what somebody says of a round: the key of its words.
type AttendanceFault struct{ Key string }

func (f *AttendanceFault) Error() string { return strings.ReplaceAll(f.Key, "_", " ") }

// The faults.
var (
	ErrBarred      = &AttendanceFault{"intake_barred"}    // who only looks on
	ErrOfOthers    = &AttendanceFault{"attend_of_others"} // only keepers speak for others
	ErrNobody      = &AttendanceFault{"attend_nobody"}    // it does not say who
	ErrNoGroup     = &AttendanceFault{"attend_no_group"}  // the site has no such group
	ErrNoTime      = &AttendanceFault{"attend_no_time"}   // it ends before it begins, or lies too far ahead
	ErrOver        = &AttendanceFault{"attend_over"}      // its time is past
	ErrNothingSaid = &AttendanceFault{"intake_undo_none"} // nothing of theirs to take back
)

const (
	mostAhead  = 14 * 24 * time.Hour // beyond what is planned
	mostAway   = 31 * 24 * time.Hour
	longestOut = 16 * time.Hour // of one round
)

// Helper is who somebody is among those who go round at a site: a person of the settings,
// or by a link's name the one who is called so; else they go by that name. It is empty for
// programs, and where nobody logs in.
func Helper(site *forecast.Site, who *auth.Identity) forecast.PersonName {
	if who.Scopes != nil || who.Open {
		return forecast.PersonName{}
	}
	if who.Person != "" {
		return forecast.PersonName{ID: who.Person, Name: who.Name}
	}
	var found []forecast.PersonName
	for _, p := range site.Gathering.People {
		if strings.EqualFold(p.Name, who.Name) || p.ID == who.Name {
			found = append(found, p)
		}
	}
	if len(found) == 1 {
		return found[0]
	}
	return forecast.PersonName{ID: who.Name, Name: who.Name}
}

// SpeaksFor reports whether somebody may say of a helper whether they go: of themselves,
// and keepers and programs that write records of everybody.
func SpeaksFor(site *forecast.Site, who *auth.Identity, helper string) bool {
	if !who.Can(auth.WriteRecords) || !who.Sees(site.ID) {
		return false
	}
	return who.Scopes != nil || who.Role.May(auth.Keeper) || helper != "" && Helper(site, who).ID == helper
}

// Attend keeps that somebody makes a round or can't: once, however often it is said. Groups
// may go by their names. An error is an *AttendanceFault, or a fault of the archive.
func (s Service) Attend(ctx context.Context, site *forecast.Site, from auth.Identity, said records.Attendance, key string,
	now time.Time) (put archive.StoredAttendance, again bool, err error) {
	if fault := judgeAttendance(site, &from, &said, now); fault != nil {
		return put, false, fault
	}
	if key != "" {
		key = site.ID + "/" + key
	}
	return s.Archive.PutAttendance(ctx, site.ID, key, said, nameOr(&from), now)
}

func judgeAttendance(site *forecast.Site, from *auth.Identity, said *records.Attendance, now time.Time) error {
	switch {
	case !from.Can(auth.WriteRecords) || !from.Sees(site.ID):
		return ErrBarred
	case !SpeaksFor(site, from, said.Person):
		return ErrOfOthers
	}
	said.Name = said.Person
	me := Helper(site, from)
	known := said.Person == "" || said.Person == me.ID
	for _, p := range append(slices.Clone(site.Gathering.People), me) {
		if p.ID == said.Person && p.Name != "" {
			said.Name, known = p.Name, true
		}
	}
	if !known {
		return ErrNobody
	}
	for i, g := range said.Groups {
		k := slices.IndexFunc(site.Groups, func(group forecast.Group) bool {
			return strings.EqualFold(group.ID, g) || strings.EqualFold(group.Name, g)
		})
		if k < 0 {
			return ErrNoGroup
		}
		said.Groups[i] = site.Groups[k].ID
	}
	long := said.To.Sub(said.From)
	switch {
	case !said.To.After(now):
		return ErrOver
	case long <= 0 || said.From.Sub(now) > mostAhead || said.Kind == records.Going && long > longestOut || long > mostAway:
		return ErrNoTime
	}
	said.From, said.To = said.From.In(site.Zone), said.To.In(site.Zone)
	return nil
}

func nameOr(from *auth.Identity) string {
	if from.Name == "" {
		return from.Person
	}
	return from.Name
}

// Attendance lists what people have said of a site's rounds that is not over.
func (s Service) Attendance(ctx context.Context, site *forecast.Site, now time.Time) ([]archive.StoredAttendance, error) {
	return s.Archive.Attendances(ctx, site.ID, now, site.Zone)
}

// TakeBack withdraws what was said of a round. An error is an *AttendanceFault, or a fault
// of the archive.
func (s Service) TakeBack(ctx context.Context, site *forecast.Site, from auth.Identity, id string,
	now time.Time) (archive.StoredAttendance, error) {
	list, err := s.Attendance(ctx, site, now)
	if err != nil {
		return archive.StoredAttendance{}, err
	}
	k := slices.IndexFunc(list, func(a archive.StoredAttendance) bool { return a.ID == id })
	switch {
	case !from.Can(auth.WriteRecords) || !from.Sees(site.ID):
		return archive.StoredAttendance{}, ErrBarred
	case k < 0:
		return archive.StoredAttendance{}, ErrNothingSaid
	case !SpeaksFor(site, &from, list[k].Person):
		return list[k], ErrOfOthers
	}
	err = s.Archive.WithdrawAttendance(ctx, site.ID, id, nameOr(&from), now)
	if errors.Is(err, archive.ErrNoAttendance) {
		err = ErrNothingSaid
	}
	return list[k], err
}

// LastSaid is what a helper has said last of a round that is not over, and after they wrote
// down anything else; nil where there is none.
func (s Service) LastSaid(ctx context.Context, site *forecast.Site, from auth.Identity, now time.Time) (*archive.StoredAttendance, error) {
	list, err := s.Attendance(ctx, site, now)
	if err != nil {
		return nil, err
	}
	var last *archive.StoredAttendance
	for i := range list {
		if list[i].SaidBy == nameOr(&from) {
			last = &list[i]
		}
	}
	if last == nil {
		return nil, nil
	}
	number, err := s.LastEntry(ctx, site, Text, from)
	if err != nil && !errors.Is(err, archive.ErrNoEntry) {
		return nil, err
	}
	made, err := s.madeAt(ctx, site, number)
	if err != nil || made.After(last.SaidAt) {
		return nil, err
	}
	taps, err := s.lastTaps(ctx, site, last.SaidAt, from)
	if err != nil || len(taps) > 0 {
		return nil, err
	}
	line, err := s.lastHouse(ctx, site, last.SaidAt, from)
	if err != nil || line != nil {
		return nil, err
	}
	seen, err := s.lastObserved(ctx, site, last.SaidAt, from)
	if err != nil || len(seen) > 0 {
		return nil, err
	}
	return last, nil
}

// RoundOf is the next round of a plan that somebody is on and that is not over, with the
// one of several that starts on a day where one is named; where nobody is named on rounds,
// the next of all. It is nil where there is none.
func RoundOf(site *forecast.Site, w *forecast.Work, helper string, day string, now time.Time) *forecast.CrewRound {
	for i := range w.Rounds {
		r := &w.Rounds[i]
		if !r.End.After(now) || day != "" && r.Start.In(site.Zone).Format(time.DateOnly) != day {
			continue
		}
		if helper != "" && slices.Contains(r.Who, helper) || len(site.Gathering.Free) == 0 && len(r.Who) == 0 {
			return r
		}
	}
	return nil
}

// GoesOn is that a helper makes a planned round: with those who are on it too, where they
// are.
func GoesOn(r *forecast.CrewRound, helper string) records.Attendance {
	a := records.Attendance{Kind: records.Going, Person: helper, From: r.Start, To: r.End}
	for _, g := range r.Groups {
		a.Groups = append(a.Groups, g.Group)
	}
	if slices.Contains(r.Who, helper) {
		a.With = slices.DeleteFunc(slices.Clone(r.Who), func(id string) bool { return id == helper })
	}
	return a
}
