package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
)

// What the evening told stands through the night and the next day, though another plan would
// be a little better: nobody reads the plan anew before they go. It is no promise, and a gain
// that is worth a trip moves it.
func TestWhatTheEveningToldStands(t *testing.T) {
	in := shared(t)
	free := mustMake(t, in)
	first := free.Work.Rounds[0]
	told := first
	told.Start, told.End, told.Who = first.Start.Add(time.Hour), first.End.Add(time.Hour), []string{"bo"}
	if first.Who[0] == "bo" && len(first.Who) == 1 {
		told.Who = []string{"ana"}
	}
	in.Told = Announced{Rounds: []CrewRound{told}}
	stands := func(o *Outlook) bool {
		return slices.ContainsFunc(o.Work.Rounds, func(r CrewRound) bool {
			return r.Start.Equal(told.Start) && slices.Equal(r.Who, told.Who) && !r.Pinned
		})
	}
	o := mustMake(t, in)
	if !stands(&o) {
		t.Fatalf("told %v at %s, now planned:\n%s", told.Who, told.Start, plainly(&o.Work))
	}
	for _, g := range told.Groups {
		if w := o.Work.Group(g.Group); !w.GoAt.Equal(told.Start) || w.Why == "pinned" || w.Latest.Before(told.Start) {
			t.Errorf("%s: %s, %q, latest %s", g.Group, w.GoAt, w.Why, w.Latest)
		}
	}
	if o.Work.LossL > free.Work.LossL+25 {
		t.Errorf("it costs %.0f L, more than the usual trip's worth", o.Work.LossL-free.Work.LossL)
	}
	// Who has said something else is not held to it.
	in.Attendance = []records.Attendance{away(told.Who[0], told.Start, told.End)}
	if o = mustMake(t, in); stands(&o) {
		t.Errorf("%s can't:\n%s", told.Who[0], plainly(&o.Work))
	}
	in.Attendance = nil
	// Nor is anybody sent to groups that were emptied since.
	in.Now = told.Start.Add(-2 * time.Hour)
	for _, g := range told.Groups {
		in.Visits = append(in.Visits, records.Visit{Group: g.Group, CollectedAt: in.Now.Add(-5 * time.Minute), Taps: 60, VolumeL: 40, BrixPct: math.NaN()})
	}
	o = mustMake(t, in)
	in.Told = Announced{}
	if anew := mustMake(t, in); plainly(&o.Work) != plainly(&anew.Work) {
		t.Errorf("they are emptied:\n%s\nbut planned anew\n%s", plainly(&o.Work), plainly(&anew.Work))
	}
	in.Visits, in.Told, in.Now = nil, Announced{Rounds: []CrewRound{told}}, march
	// What is over is forgotten.
	in.Now = told.End.Add(time.Minute)
	if o = mustMake(t, in); stands(&o) {
		t.Errorf("it is over:\n%s", plainly(&o.Work))
	}
	in.Now = march
	// Where it would lose far more than it saves people the trouble, the plan moves.
	in.Told.Rounds[0].Start, in.Told.Rounds[0].End = told.Start.AddDate(0, 0, 3), told.End.AddDate(0, 0, 3)
	if o = mustMake(t, in); o.Work.LossL > free.Work.LossL+25 {
		t.Errorf("%.0f L are lost for what was told, %.0f L without:\n%s", o.Work.LossL, free.Work.LossL, plainly(&o.Work))
	}
	// Nor does an evening name a round of today that is under way.
	evening := time.Date(2026, 3, 11, 18, 30, 0, 0, in.Site.Zone)
	under := told
	under.Start, under.End = evening.Add(-90*time.Minute), evening.Add(30*time.Minute)
	in.Now, in.Told = evening, Announced{Rounds: []CrewRound{under}}
	if o = mustMake(t, in); slices.ContainsFunc(o.Work.Rounds, func(r CrewRound) bool { return r.Start.Before(in.Now) }) {
		t.Errorf("told at %s:\n%s", evening, plainly(&o.Work))
	}
	in.Now = evening.Add(-80 * time.Minute) // but while it is, the plan knows of it
	if o = mustMake(t, in); !slices.ContainsFunc(o.Work.Rounds, func(r CrewRound) bool { return r.Start.Equal(under.Start) }) {
		t.Errorf("under way at %s:\n%s", in.Now, plainly(&o.Work))
	}
}

// Nobody is sent sooner than in half an hour, which people need to hear of it; who was told of an hour
// goes all the same.
func TestNobodyIsSentAtOnce(t *testing.T) {
	in := shared(t)
	in.Site.Gathering.Free = nil
	for day := time.Sunday; day <= time.Saturday; day++ {
		in.Site.Gathering.Free = append(in.Site.Gathering.Free, Free{"ana", day, 8 * time.Hour, 18 * time.Hour})
	}
	for g := range in.Site.Groups {
		in.Observed = append(in.Observed, records.Observation{Site: in.Site.ID, Group: in.Site.Groups[g].ID, Kind: records.BrimFull, At: march})
	}
	soonest := 24 * time.Hour
	for minutes := range 12 {
		in.Now, in.Told = march.Add(14*time.Hour+time.Duration(5*minutes)*time.Minute), Announced{}
		o := mustMake(t, in)
		if len(o.Work.Rounds) == 0 {
			t.Fatal("nobody goes: nothing is checked")
		}
		first := o.Work.Rounds[0]
		soonest = min(soonest, first.Start.Sub(in.Now))
		if first.Start.Sub(in.Now) < 30*time.Minute {
			t.Errorf("a round in %s", first.Start.Sub(in.Now))
		}
		in.Told, in.Now = Announced{Rounds: []CrewRound{first}}, first.Start.Add(-time.Minute)
		if o = mustMake(t, in); !slices.ContainsFunc(o.Work.Rounds, func(r CrewRound) bool { return r.Start.Equal(first.Start) }) {
			t.Errorf("a minute before, the round at %s that was told is gone:\n%s", first.Start, plainly(&o.Work))
		}
	}
	if soonest > time.Hour {
		t.Errorf("full pails, and nobody goes for %s", soonest)
	}
}
