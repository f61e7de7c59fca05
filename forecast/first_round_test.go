package forecast

import (
	"testing"
	"time"

	"thawline/forecast/records"
)

// Who starts in the middle of a season, with the day of the tapping in the settings and no
// round on record, is not told that sap has gone bad: somebody may have gathered it (common
// practice: pails are emptied within days). The first round is asked for instead. Sap that
// cannot be old yet is followed, and so is what records tell of: a tapping, a visit.
func TestNothingGoesBadWithoutARecord(t *testing.T) {
	site := bush(t)
	at := func(days int, visits []records.Visit, events ...records.TapEvent) *Work {
		here := site
		here.Groups = []Group{site.Groups[0]}
		if days > 0 {
			here.Groups[0].Tapped = march.AddDate(0, 0, -days)
		}
		o := mustMake(t, Inputs{Site: here, Bulletin: waves(4, 9, 20, 10), Visits: visits, TapEvents: events, Now: march, Seed: 1})
		return &o.Work
	}
	w := at(12, nil)
	if g := &w.Groups[0]; g.Decision == TipOut || g.Spoilt(march) || !g.AskRound || !g.NoRecord || g.SinceVisit != nil || g.HeldL.P50 > 1 {
		t.Errorf("tapped twelve days ago by the settings: %+v", g)
	}
	for i := range w.Rounds {
		if w.Rounds[i].TipsOut() {
			t.Errorf("a round tips out: %+v", w.Rounds[i])
		}
	}
	if g := &at(1, nil).Groups[0]; g.AskRound || !g.NoRecord || g.SinceVisit == nil || g.HeldL.P50 < 5 {
		t.Errorf("tapped yesterday: %+v", g)
	}
	tapped := records.TapEvent{Group: "pails", Kind: records.Tapped, On: march.AddDate(0, 0, -12)}
	if g := &at(0, nil, tapped).Groups[0]; g.AskRound || g.NoRecord || g.Decision != TipOut || !g.Spoilt(march) {
		t.Errorf("the tapping is on record: %+v", g)
	}
	visit := records.Visit{Group: "pails", CollectedAt: march.Add(-9 * 24 * time.Hour), VolumeL: 80}
	if g := &at(12, []records.Visit{visit}).Groups[0]; g.AskRound || g.NoRecord || g.Decision != TipOut || !g.Spoilt(march) {
		t.Errorf("a round nine days ago: %+v", g)
	}
}

// In a cold spring nobody goes for weeks after the tapping: what hangs is known to be nothing until the
// first sap, and the first rounds are planned. Three weeks after the first sap without a word the first
// round is asked for, too: a bush was else told of no round all spring, and asked nothing.
func TestColdWeeksAfterTheTapping(t *testing.T) {
	site := bush(t)
	at := func(mean, swing float64) *GroupWork {
		here := site
		here.Groups = []Group{site.Groups[0]}
		here.Groups[0].Tapped = march.AddDate(0, 0, -30)
		o := mustMake(t, Inputs{Site: here, Bulletin: waves(mean, swing, 40, 10), Now: march, Seed: 1})
		return &o.Work.Groups[0]
	}
	if g := at(-12, 4); g.SinceVisit == nil || g.AskRound {
		t.Errorf("no sap in thirty days: %+v", g)
	}
	if g := at(4, 9); g.SinceVisit != nil || !g.AskRound {
		t.Errorf("thirty days of sap: %+v", g)
	}
}
