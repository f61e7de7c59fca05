package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
)

// What a new round says is what Rounds shows, and it adds to what people know: another group
// that was told stays told, one that is moved by hours is told so, and what only moves a bit, or
// was made, is not.
func TestNewRoundAddsToWhatIsKnown(t *testing.T) {
	told := func(hour int) past {
		return past{}.and(Evening, "2026-03-20", Facts{Rounds: []NamedRound{{"lane", *at(21, 8)}, {"pails", *at(21, hour)}}}, dusk)
	}
	for name, c := range map[string]struct {
		memory past
		goAt   int
		visit  *time.Time
		want   string // what it says; "none" for no news
	}{
		"nobody knows of it":      {past{}.and(Evening, "2026-03-20", Facts{Rounds: []NamedRound{{"lane", *at(21, 8)}}}, dusk), 10, at(19, 9), ""},
		"hours earlier":           {told(14), 10, at(19, 9), movedRound},
		"hours later":             {told(9), 14, at(19, 9), movedRound},
		"a bit earlier":           {told(11), 10, at(19, 9), "none"},
		"a bit later":             {told(9), 11, at(19, 9), "none"},
		"a second one that day":   {told(7), 15, at(21, 7), ""},
		"made before its hour":    {told(8), 15, at(21, 7), ""},
		"told and not noted down": {told(5), 15, at(19, 9), "none"},
		"not noted down since yesterday": {past{}.and(Evening, "2026-03-19", Facts{Rounds: []NamedRound{{"lane", *at(21, 8)},
			{"pails", *at(20, 15)}}}, dusk.AddDate(0, 0, -1)), 15, at(19, 9), ""},
	} {
		o, m := quiet(), c.memory
		newRoundAt(21, c.goAt)(o)
		o.Work.Groups[0].SinceVisit = c.visit
		o.Work.Groups = append(o.Work.Groups, forecast.GroupWork{Group: "lane", Decision: forecast.Gather, GoAt: at(21, 8), LossAvoidedL: 90,
			VolumeL: &forecast.Range{P90: 200}, Latest: at(21, 8)})
		got := "none"
		for _, d := range decide(t, o, m, Moment{Now: at(21, 8).Add(time.Minute)}) {
			if d.Kind != NewRound {
				continue
			}
			got = d.Facts.What
			if f := &d.Facts; len(f.New) != 1 || f.New[0] != (NamedRound{"pails", *at(21, c.goAt)}) || len(f.Rounds) != 2 || f.Work == nil ||
				len(f.Work.Rounds) != len(o.Work.Rounds) {
				t.Errorf("%s: %+v", name, d.Facts)
			}
			later := m.and(NewRound, d.Key[len("new_round:"):], d.Facts, *at(21, 7))
			for _, again := range decide(t, o, later, Moment{Now: at(21, 8).Add(30 * time.Minute)}) {
				if again.Kind == NewRound {
					t.Errorf("%s: told again by %s", name, again.Key)
				}
			}
			if d.Overtaken(o) {
				t.Errorf("%s: overtaken as it is told", name)
			}
			o.Work.Groups[0].SinceVisit = at(21, c.goAt)
			if !d.Overtaken(o) {
				t.Errorf("%s: somebody has been there, and it is still told", name)
			}
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// Who emptied what news sent others to saves them the way, though the evening named none of it.
func TestNewsOfARoundIsOff(t *testing.T) {
	m := past{}.and(Evening, "2026-03-20", Facts{Rounds: []NamedRound{{"lane", *at(21, 5)}}}, dusk).
		and(NewRound, "one", Facts{Rounds: []NamedRound{{"lane", *at(21, 5)}, {"pails", *at(21, 14)}}}, *at(21, 7))
	o := quiet()
	hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Leave, HeldL: litres(2), SinceVisit: at(21, 8)})
	o.Work.Until = *at(21, 18)
	if got := kinds(decide(t, o, m, Moment{Now: *at(21, 9)})); got != "round_off" {
		t.Errorf("told %q", got)
	}
}
