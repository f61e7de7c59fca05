package forecast

import (
	"testing"
	"time"

	"thawline/forecast/records"
)

// Somebody's word of how full pails are sets what hangs to a quarter of a pail, until they are emptied; one
// of another group, of another site, or from before the last visit does not. It is asked
// for only where it would decide.
func TestAWordOfHowFull(t *testing.T) {
	in := colderBush(t, 0)
	in.Visits = in.Visits[:len(in.Visits)-1]
	in.Site.Groups[0].ContainerL = 8
	plain := mustMake(t, in)
	before := plain.Work.Groups[0]
	word := func(kind records.ObservationKind, group string, ago time.Duration) GroupWork {
		told := in
		told.Observed = []records.Observation{{Site: in.Site.ID, Group: group, Kind: kind, At: in.Now.Add(-ago)}}
		o := mustMake(t, told)
		return o.Work.Groups[0]
	}
	half, none := word(records.HalfFull, "pails", time.Hour), word(records.HardlyAny, "", time.Hour)
	t.Logf("%+v, ask %v; half full %+v, hardly any %+v", before.HeldL, before.AskLevel, half.HeldL, none.HeldL)
	taps := float64(in.Site.Groups[0].Taps)
	if m := half.HeldL.P50 / taps; m < 3 || m > 5.5 {
		t.Errorf("half of 8 L is %.1f L", m)
	}
	if none.HeldL.P50 > taps || half.HeldL.P90-half.HeldL.P10 > 0.25*8*taps {
		t.Errorf("%+v after a word, %+v before", half.HeldL, before.HeldL)
	}
	if half.AskLevel || none.AskLevel {
		t.Error("it asks again within the hour")
	}
	for _, same := range []GroupWork{word(records.HalfFull, "others", time.Hour), word(records.HalfFull, "pails", 40*24*time.Hour),
		word(records.Dripping, "pails", 40*24*time.Hour)} {
		if same.HeldL != before.HeldL {
			t.Errorf("%+v, and %+v without the word", same.HeldL, before.HeldL)
		}
	}
}

// asks by chance and by what is left open.
func TestWhenAWordIsAskedFor(t *testing.T) {
	in := Inputs{Now: march}
	capacity := 400.0
	open := GroupWork{CapacityL: &capacity, HeldL: Range{50, 150, 250}, AloneProbability: 0.5}
	sure, full, unknown, narrow := open, open, open, open
	sure.AloneProbability, full.AloneProbability, unknown.CapacityL, narrow.HeldL = 0.05, 0.95, nil, Range{100, 120, 150}
	if !in.asks(&open) || in.asks(&sure) || in.asks(&full) || in.asks(&unknown) || in.asks(&narrow) {
		t.Error("a word is asked for where it decides nothing, or not where it does")
	}
	in.Observed = []records.Observation{{Kind: records.QuarterFull, At: march.Add(-3 * time.Hour)}}
	if in.asks(&open) {
		t.Error("it was said three hours ago")
	}
	in.Observed[0].At = march.Add(-30 * time.Hour)
	if !in.asks(&open) {
		t.Error("it was said the day before yesterday")
	}
}

// At a bush of which nothing is known yet the evening asks, where nobody is sent and pails may
// run over or not; of containers that no three days fill it does not, nor where somebody goes.
func TestNewBushIsAsked(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(4, 5, 14, 10), Now: march, Seed: 1}
	in.Site.Groups[0].Tapped = march.AddDate(0, 0, -4)
	in.Site.Gathering.AcceptedRisk, in.Site.Gathering.TripWorthL = 1, 5000
	asked := map[bool]int{}
	for _, litres := range []float64{5, 7.5, 11, 16, 200} {
		in.Site.Groups[0].ContainerL = litres
		o := mustMake(t, in)
		g := &o.Work.Groups[0]
		t.Logf("%.1f L: hang %+v, over %.2f, %s, asks %v", litres, g.HeldL, g.AloneProbability, g.Decision, g.AskLevel)
		asked[g.AskLevel]++
		if g.AskLevel && litres == 200 {
			t.Error("it asks of what can't run over")
		}
		if g.AskLevel && g.Decision == Gather && g.GoAt.Before(o.Work.Until) {
			t.Error("it asks of what somebody empties before the next evening")
		}
	}
	if asked[true] == 0 {
		t.Error("it never asks")
	}
}
