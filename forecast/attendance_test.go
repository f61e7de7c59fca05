package forecast

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast/records"
)

// shared is a bush of three groups with two helpers, a day on which sap runs.
func shared(t *testing.T, said ...records.Attendance) Inputs {
	t.Helper()
	site := bush(t)
	site.Groups = nil
	for _, id := range []string{"north", "south", "east"} {
		site.Groups = append(site.Groups, Group{ID: id, Taps: 60, Method: "pail", ContainerL: 7.5, Tapped: march.AddDate(0, 0, -10)})
	}
	for day := time.Sunday; day <= time.Saturday; day++ {
		site.Gathering.Free = append(site.Gathering.Free, Free{"ana", day, 14 * time.Hour, 18 * time.Hour},
			Free{"bo", day, 9 * time.Hour, 17 * time.Hour})
	}
	site.Gathering.People = []PersonName{{"ana", "Ana"}, {"bo", "Bo"}}
	return Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1, Attendance: said}
}

// thursday is an hour of the second day ahead.
func thursday(in *Inputs, hour float64) time.Time {
	return time.Date(2026, 3, 12, 0, int(60*hour), 0, 0, in.Site.Zone)
}

func goes(who string, from, to time.Time, groups ...string) records.Attendance {
	return records.Attendance{Kind: records.Going, Person: who, From: from, To: to, Groups: groups, SaidAt: march.Add(-time.Minute)}
}

func away(who string, from, to time.Time) records.Attendance {
	a := goes(who, from, to)
	a.Kind = records.Away
	return a
}

func plainly(w *Work) string {
	var b strings.Builder
	for i := range w.Rounds {
		r := &w.Rounds[i]
		fmt.Fprintf(&b, "%s-%s %v", r.Start.Format("Mon 15:04"), r.End.Format("15:04"), r.Who)
		for _, g := range r.Groups {
			fmt.Fprintf(&b, " %s %.0f", g.Group, g.VolumeL)
		}
		if r.Pinned {
			b.WriteString(" pinned")
		}
		b.WriteString("\n")
	}
	return b.String()
}

func roundOf(t *testing.T, w *Work, who string, start time.Time) *CrewRound {
	t.Helper()
	for i := range w.Rounds {
		if r := &w.Rounds[i]; r.Start.Equal(start) && slices.Contains(r.Who, who) {
			return r
		}
	}
	t.Fatalf("no round of %s at %s:\n%s", who, start, plainly(w))
	return nil
}

// Who says "I go" goes, whatever it is worth, and all others are planned around it; who
// can't go does not, and what others do who are not on that round stays theirs.
func TestWhatPeopleSayIsPlanned(t *testing.T) {
	in := shared(t)
	free := mustMake(t, in)
	at := thursday(&in, 10)
	in.Attendance = []records.Attendance{goes("ana", at, at.Add(2*time.Hour), "north")}
	o := mustMake(t, in)
	r := roundOf(t, &o.Work, "ana", at)
	if !r.Pinned || len(r.Groups) != 1 || r.Groups[0].Group != "north" || !r.End.After(r.Start) {
		t.Errorf("%s", plainly(&o.Work))
	}
	for _, r := range o.Work.Rounds {
		if !r.Pinned && slices.ContainsFunc(r.Groups, func(g RoundGroup) bool { return g.Group == "north" }) &&
			r.Start.Sub(at).Abs() < 3*time.Hour {
			t.Errorf("somebody else goes to the same group:\n%s", plainly(&o.Work))
		}
	}
	if g := o.Work.Group("north"); g.GoAt != nil && g.GoAt.Equal(at) && (g.Why != "pinned" || g.Who[0] != "ana") {
		t.Errorf("%+v", g)
	}
	// The first round of the free plan: who is on it can't.
	first := free.Work.Rounds[0]
	in.Attendance = []records.Attendance{away(first.Who[0], first.Start, first.End)}
	o = mustMake(t, in)
	for _, r := range o.Work.Rounds {
		if slices.Contains(r.Who, first.Who[0]) && r.Start.Before(first.End) && r.End.After(first.Start) {
			t.Errorf("%s can't:\n%s", first.Who[0], plainly(&o.Work))
		}
	}
	// A "can't" of hours in which somebody is on no round moves nothing.
	other := "ana"
	if first.Who[0] == "ana" {
		other = "bo"
	}
	busy := slices.ContainsFunc(free.Work.Rounds, func(r CrewRound) bool {
		return slices.Contains(r.Who, other) && r.Start.Before(first.End) && r.End.After(first.Start)
	})
	in.Attendance = []records.Attendance{away(other, first.Start, first.End), away("cy", first.Start, first.End.AddDate(0, 0, 3))}
	if o = mustMake(t, in); !busy && plainly(&o.Work) != plainly(&free.Work) {
		t.Errorf("%s was not on it:\n%s\nbefore\n%s", other, plainly(&o.Work), plainly(&free.Work))
	}
	if name := o.Bush.PersonName("ana"); name != "Ana" {
		t.Error(name)
	}
}

// Two who say they go to the same groups at the same time go together, nobody goes twice
// at once, and nothing is gathered twice.
func TestNobodyAndNothingIsPinnedTwice(t *testing.T) {
	in := shared(t)
	at := thursday(&in, 14)
	in.Attendance = []records.Attendance{
		goes("ana", at, at.Add(2*time.Hour), "north", "south"), goes("bo", at, at.Add(2*time.Hour), "south", "north"),
		goes("ana", at.Add(time.Hour), at.Add(3*time.Hour), "east"), // later said: this counts
	}
	o := mustMake(t, in)
	if r := roundOf(t, &o.Work, "bo", at); len(r.Who) != 1 || len(r.Groups) != 2 {
		t.Errorf("%s", plainly(&o.Work))
	}
	if r := roundOf(t, &o.Work, "ana", at.Add(time.Hour)); len(r.Who) != 1 || len(r.Groups) != 1 {
		t.Errorf("%s", plainly(&o.Work))
	}
	alone := roundOf(t, &o.Work, "bo", at).Minutes
	in.Attendance = in.Attendance[:2]
	o = mustMake(t, in)
	r := roundOf(t, &o.Work, "bo", at)
	if !slices.Equal(r.Who, []string{"ana", "bo"}) || r.Minutes >= alone {
		t.Errorf("together they take %d minutes, one alone %d:\n%s", r.Minutes, alone, plainly(&o.Work))
	}
	n := 0
	for _, r := range o.Work.Rounds {
		if r.Start.Equal(at) {
			n += len(r.Groups)
		}
	}
	if n != 2 {
		t.Errorf("%d groups at once:\n%s", n, plainly(&o.Work))
	}
	// Who was to go along and can't does not.
	in.Attendance = []records.Attendance{goes("ana", at, at.Add(2*time.Hour), "north"), away("bo", at, at.Add(time.Hour))}
	in.Attendance[0].With = []string{"bo"}
	o = mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", at); len(r.Who) != 1 {
		t.Errorf("%s", plainly(&o.Work))
	}
	in.Attendance = in.Attendance[:1]
	o = mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", at); len(r.Who) != 2 {
		t.Errorf("%s", plainly(&o.Work))
	}
}

// A round that somebody has said counts until it is over or all of it is written down, also
// while it is under way; one that can't be is dropped and said.
func TestARoundIsOverOrOff(t *testing.T) {
	in := shared(t)
	at := march.Add(-90 * time.Minute) // half past three
	in.Attendance = []records.Attendance{goes("ana", at, march.Add(30*time.Minute), "north", "south")}
	in.Attendance[0].SaidAt = at.Add(-time.Hour)
	for _, minutes := range []int{0, 20} { // on the hour and after it
		in.Now = march.Add(time.Duration(minutes) * time.Minute)
		o := mustMake(t, in)
		if r := roundOf(t, &o.Work, "ana", at); !r.Pinned || !r.End.After(in.Now) || len(r.Groups) != 2 {
			t.Errorf("under way: %s", plainly(&o.Work))
		}
		if g := o.Work.Group("south"); !g.GoAt.Equal(at) || g.Why != "pinned" {
			t.Errorf("%s %s", g.GoAt, g.Why)
		}
	}
	in.Now = march
	in.Visits = []records.Visit{{Group: "north", CollectedAt: march.Add(-10 * time.Minute), Taps: 60, VolumeL: 40, BrixPct: math.NaN()}}
	o := mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", at); len(r.Groups) != 1 || r.Groups[0].Group != "south" {
		t.Errorf("north is done: %s", plainly(&o.Work))
	}
	in.Visits = append(in.Visits, records.Visit{Group: "south", CollectedAt: march, Taps: 60, VolumeL: 40, BrixPct: math.NaN()})
	over := mustMake(t, in)
	in.Visits, in.Now = nil, march.Add(31*time.Minute)
	late := mustMake(t, in)
	for _, w := range []*Work{&over.Work, &late.Work} {
		if slices.ContainsFunc(w.Rounds, func(r CrewRound) bool { return r.Pinned }) || len(w.Off) != 0 {
			t.Errorf("it is over: %s", plainly(w))
		}
	}
	in.Now = march
	in.Attendance = []records.Attendance{goes("ana", thursday(&in, 15), thursday(&in, 17), "north", "hollow"),
		goes("bo", thursday(&in, 15), thursday(&in, 17), "hollow")}
	o = mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", thursday(&in, 15)); len(r.Groups) != 1 || r.Groups[0].Group != "north" {
		t.Errorf("%s", plainly(&o.Work))
	}
	if off := o.Work.Off; len(off) != 2 || off[0].Who != "ana" || off[1].Who != "bo" ||
		!slices.Equal(off[0].Groups, []string{"hollow"}) || off[0].Why != "gone" {
		t.Errorf("%+v", o.Work.Off)
	}
	for _, r := range o.Work.Rounds {
		if slices.Contains(r.Who, "bo") && r.Pinned {
			t.Errorf("%s", plainly(&o.Work))
		}
	}
}

// A round of taps that were pulled since is dropped, and said; what is left of it stands.
func TestARoundOfPulledTapsIsOff(t *testing.T) {
	in := shared(t)
	at := thursday(&in, 15)
	in.Attendance = []records.Attendance{goes("ana", at, at.Add(2*time.Hour), "north", "south"), goes("bo", at, at.Add(time.Hour), "south")}
	in.TapEvents = []records.TapEvent{{Group: "south", Kind: records.Pulled, On: march.Add(-time.Hour)}}
	o := mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", at); len(r.Groups) != 1 || r.Groups[0].Group != "north" {
		t.Errorf("%s", plainly(&o.Work))
	}
	for _, r := range o.Work.Rounds {
		if r.Pinned && slices.Contains(r.Who, "bo") ||
			slices.ContainsFunc(r.Groups, func(g RoundGroup) bool { return g.Group == "south" }) {
			t.Errorf("south is pulled:\n%s", plainly(&o.Work))
		}
	}
	if off := o.Work.Off; len(off) != 2 || off[0].Who != "ana" || off[1].Who != "bo" || off[0].Why != "pulled" ||
		!slices.Equal(off[0].Groups, []string{"south"}) {
		t.Errorf("%+v", off)
	}
	for _, g := range []string{"north", "east"} {
		in.TapEvents = append(in.TapEvents, records.TapEvent{Group: g, Kind: records.Pulled, On: march.Add(-time.Hour)})
	}
	if o = mustMake(t, in); len(o.Work.Rounds) != 0 || len(o.Work.Off) != 2 {
		t.Errorf("all are pulled:\n%s", plainly(&o.Work))
	}
}

// Where nobody has said when they are free, who says "I go" is who would have gone.
func TestWhoGoesWhereNobodyHasHours(t *testing.T) {
	in := shared(t)
	in.Site.Gathering.Free, in.Site.Gathering.People = nil, nil
	at := thursday(&in, 15)
	in.Attendance = []records.Attendance{goes("ana", at, at.Add(2*time.Hour)), away("", thursday(&in, 0), thursday(&in, 14))}
	in.Attendance[0].Name = "Ana"
	o := mustMake(t, in)
	if r := roundOf(t, &o.Work, "ana", at); len(r.Groups) == 0 || o.Bush.PersonName("ana") != "Ana" {
		t.Errorf("the plan chooses no group: %s", plainly(&o.Work))
	}
	for _, r := range o.Work.Rounds {
		if r.Start.Before(at.Add(time.Hour)) && r.End.After(at) && !r.Pinned {
			t.Errorf("one can't be at two places:\n%s", plainly(&o.Work))
		}
		if r.Start.After(thursday(&in, 0)) && r.Start.Before(thursday(&in, 14)) {
			t.Errorf("nobody can go then:\n%s", plainly(&o.Work))
		}
	}
}
