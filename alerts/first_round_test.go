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
