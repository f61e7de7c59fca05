package daemon

import (
	"context"
	"errors"
	"math"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// Attendance is what people have said of a site's rounds that is not over.
func Attendance(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) ([]records.Attendance, error) {
	stored, err := a.Attendances(ctx, site.ID, now, site.Zone)
	var said []records.Attendance
	for i := range stored {
		said = append(said, stored[i].Attendance)
	}
	return said, err
}

// PausedAway are the people of a site who want no messages for a while, by the settings or by
// what they wrote: who hears nothing of a round is sent on none, as long as somebody else is
// there to go.
func PausedAway(site *forecast.Site, pauses map[string]time.Time, bySettings func(person string) time.Time,
	now time.Time) []records.Attendance {
	var away []records.Attendance
	for _, p := range site.Gathering.People {
		until := pauses[p.ID]
		if longer := bySettings(p.ID); longer.After(until) {
			until = longer
		}
		if until.After(now) {
			away = append(away, records.Attendance{Kind: records.Away, Person: p.ID, Name: p.Name, From: now, To: until, SaidAt: now})
		}
	}
	if len(away) == len(site.Gathering.People) {
		return nil
	}
	return away
}

// pausedUntil is until when the settings pause a person's messages.
func (d *Daemon) pausedUntil(person string) time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[person]; p != nil {
		return p.PausedUntil
	}
	return time.Time{}
}

// goes notes that a person makes their next round, or one at the time that they say, and
// answers what they take by the plan that knows of it.
func (d *Daemon) goes(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	from := writer(in.person)
	helper := intake.Helper(in.site, &from).ID
	r := intake.RoundOf(in.site, &o.Work, helper, in.day(), in.now)
	said := records.Attendance{Kind: records.Going, Person: helper}
	switch at := in.goesAt(); {
	case at.IsZero() && r == nil:
		return in.words.Say("attend_no_round", nil), nil
	case at.IsZero():
		said = intake.GoesOn(r, helper)
	case r != nil && r.Start.Format(time.DateOnly) == at.Format(time.DateOnly):
		said = intake.GoesOn(r, helper)
		said.From, said.To = at, at.Add(r.End.Sub(r.Start))
	default:
		said.From, said.To = at, at.Add(usualRound)
	}
	if in.said.Group != "" {
		said.Groups = []string{in.said.Group}
	}
	return d.attend(ctx, in, said, o)
}

// cannot notes that a person can't make their next round, or not on the day that they say,
// and answers who goes instead.
func (d *Daemon) cannot(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	from := writer(in.person)
	said := records.Attendance{Kind: records.Away, Person: intake.Helper(in.site, &from).ID}
	if len(in.site.Gathering.Free) == 0 && from.Role.May(auth.Keeper) {
		said.Person = "" // nobody has hours of their own: then nobody can
	}
	if day := in.day(); day != "" || in.said.Value > 0 {
		if day == "" {
			day = in.now.In(in.site.Zone).Format(time.DateOnly)
		}
		midnight, err := time.ParseInLocation(time.DateOnly, day, in.site.Zone)
		if err != nil {
			return "", err
		}
		said.From, said.To = atHour(midnight, in.said.Value), atHour(midnight, 24)
		return d.attend(ctx, in, said, o)
	}
	r := intake.RoundOf(in.site, &o.Work, said.Person, "", in.now)
	if r == nil || len(r.Who) == 0 && said.Person != "" {
		return in.words.Say("attend_no_round_away", nil), nil
	}
	said.From, said.To = r.Start, r.End
	return d.attend(ctx, in, said, o)
}

// usualRound is how long a round of which nobody knows more is taken to last.
const usualRound = 3 * time.Hour

// attend keeps what somebody said of a round, lets the plan be made again, and words what
// came of it.
func (d *Daemon) attend(ctx context.Context, in *incoming, said records.Attendance, before *forecast.Outlook) (string, error) {
	put, _, err := d.intake().Attend(ctx, in.site, writer(in.person), said, "in/"+in.key, in.now)
	var fault *intake.AttendanceFault
	if errors.As(err, &fault) {
		return in.words.Say(fault.Key, nil), nil
	}
	if err != nil {
		return "", err
	}
	after := d.Outlook(ctx, in.site.ID) // waits until one knows of it
	if d.Behind(ctx, in.site.ID) {
		after = nil
	}
	return intake.SayAttendance(in.words, in.site, &put.Attendance, before, after), nil
}

// day is the local date of the day that a text names, "" for none.
func (in *incoming) day() string {
	today := in.now.In(in.site.Zone)
	var ahead int
	switch {
	case in.said.Ahead != nil:
		ahead = *in.said.Ahead
	case in.said.Until != nil:
		ahead = (int(*in.said.Until-today.Weekday()) + 7) % 7
	default:
		return ""
	}
	return today.AddDate(0, 0, ahead).Format(time.DateOnly)
}

// goesAt is when somebody says they go: without a day today, or tomorrow where that is
// past; zero where they name no time.
func (in *incoming) goesAt() time.Time {
	if in.said.Value == 0 {
		return time.Time{}
	}
	const late = time.Hour // "go 4 pm" at ten past is of today
	today := in.now.In(in.site.Zone)
	midnight := time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, in.site.Zone)
	if day := in.day(); day != "" {
		if named, err := time.ParseInLocation(time.DateOnly, day, in.site.Zone); err == nil {
			return atHour(named, in.said.Value)
		}
	}
	at := atHour(midnight, in.said.Value)
	if at.Add(late).Before(in.now) {
		at = atHour(midnight.AddDate(0, 0, 1), in.said.Value)
	}
	return at
}

// atHour is when the clocks of a day show an hour.
func atHour(midnight time.Time, hour float64) time.Time {
	return time.Date(midnight.Year(), midnight.Month(), midnight.Day(), 0, int(math.Round(60*hour)), 0, 0, midnight.Location())
}

// undoSaid takes back what a person said last of a round, if they have written down no
// record since; done is false where there is nothing of the kind.
func (d *Daemon) undoSaid(ctx context.Context, in *incoming) (answer string, done bool, err error) {
	from := writer(in.person)
	last, err := d.intake().LastSaid(ctx, in.site, from, in.now)
	if err != nil || last == nil {
		return "", false, err
	}
	if _, err := d.intake().TakeBack(ctx, in.site, from, last.ID, in.now); err != nil {
		return "", false, err
	}
	now := ""
	if o := d.Outlook(ctx, in.site.ID); o != nil && !d.Behind(ctx, in.site.ID) {
		now = intake.SayNext(in.words, in.site, o, last.Person, in.now)
	}
	return in.words.Say("attend_undone", map[string]any{"Now": now}), true, nil
}
