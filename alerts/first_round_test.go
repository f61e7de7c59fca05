package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
)

// Of a group without any record an evening asks for the first round, once a season, and says
// nothing of sap gone bad; nobody is asked later whether that came true, and once somebody
// has been there it is over.
func TestAsksForTheFirstRound(t *testing.T) {
	o := quiet()
	hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Leave, AskRound: true})
	of := func(at Moment) (out []Decision) {
		list, err := Decide(o, past{}, at, Usual)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range list {
			if d.Kind == BoilBy {
				out = append(out, d)
			}
		}
		return out
	}
	first, next := of(Moment{Now: dusk, Evening: true}), of(Moment{Now: dusk.Add(24 * time.Hour), Evening: true})
	if len(first) != 1 || len(next) != 1 || first[0].Facts.What != firstRound || first[0].Key != next[0].Key {
		t.Fatalf("got %+v, a day later %+v", first, next)
	}
	// An hour later the plan may no longer ask: the sap of which nobody knows wants no boiling.
	keeps := dusk.Add(8 * time.Hour)
	for _, noRecord := range []bool{true, false} {
		hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Leave, HeldL: litres(100), KeepsUntil: &keeps, NoRecord: noRecord})
		if later := of(Moment{Now: dusk.Add(time.Hour)}); (len(later) == 0) != noRecord {
			t.Errorf("no record %v, an hour after it was asked for: %+v", noRecord, later)
		}
	}
	hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Leave, AskRound: true, NoRecord: true})
	if by := of(Moment{Now: dusk.Add(-6 * time.Hour)}); len(by) != 0 {
		t.Errorf("by day: %+v", by)
	}
	if asked := Questions([]Told{{Decision: first[0], MadeAt: dusk}}, nil, nil, dusk.Add(24*time.Hour), dusk.Location()); len(asked) != 0 {
		t.Errorf("asked whether it came true: %+v", asked)
	}
	hang(o, forecast.GroupWork{Group: "pails", SinceVisit: &dusk})
	if !first[0].Overtaken(o) {
		t.Error("somebody has been there, and it is still told")
	}
}
