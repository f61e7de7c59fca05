package forecast

import (
	"testing"

	"thawline/forecast/records"
)

// A big run is one of the bush's own best days: frost by night and thaw by day after a
// cold spell is likely to bring one, and what its taps give more or less than others'
// changes nothing. That it comes on a day or the next is as likely as either at least,
// and no likelier than both together.
func TestChanceOfABigRun(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped = march.AddDate(0, 0, -8)
	none := mustMake(t, Inputs{Site: site, Bulletin: waves(-14, 5, 14, 10), Now: march, Seed: 1})
	thaw := waves(3, 9, 14, 10)
	o := mustMake(t, Inputs{Site: site, Bulletin: thaw, Now: march, Seed: 1})
	if none.Days[2].BigOrNextProbability != 0 || o.Days[1].BigProbability < 0.5 {
		t.Errorf("big with a chance of %.2f in hard frost, %.2f in frost and thaw", none.Days[2].BigOrNextProbability,
			o.Days[1].BigProbability)
	}
	for d := range o.Days {
		own, next := o.Days[d].BigProbability, 0.0
		if d+1 < len(o.Days) {
			next = o.Days[d+1].BigProbability
		}
		if either := o.Days[d].BigOrNextProbability; either < max(own, next) || either > min(own+next, 1)+0.002 {
			t.Errorf("day %d: %.3f of it or the next, where it has %.3f and the next %.3f", d, either, own, next)
		}
	}
	var rich []records.Visit
	for d := range 6 {
		rich = append(rich, records.Visit{Group: "pails", CollectedAt: march.AddDate(0, 0, d-6), Taps: 50, VolumeL: 300})
	}
	more := mustMake(t, Inputs{Site: site, Bulletin: thaw, Visits: rich, Now: march, Seed: 1})
	if more.Days[1].VolumeL.P50 < 1.2*o.Days[1].VolumeL.P50 {
		t.Fatalf("the visits taught nothing: %v after %v", more.Days[1].VolumeL, o.Days[1].VolumeL)
	}
	for d := range o.Days[:4] {
		// What visits teach of the bush's air moves the chance a little.
		if got, want := more.Days[d].BigProbability, o.Days[d].BigProbability; got-want > 0.08 || want-got > 0.08 {
			t.Errorf("day %d is big with %.2f where taps give more, %.2f where they give the usual", d, got, want)
		}
	}
}
