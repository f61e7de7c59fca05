package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
)

// A bush of thick stems is expected to give more until its visits have told; a group's own
// width counts before that of its bush, and the usual one as if nobody had said any.
func TestStemsAreCounted(t *testing.T) {
	in := Inputs{Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 4}
	of := func(siteM, groupM float64, visits ...records.Visit) float64 {
		in := in
		in.Site = bush(t)
		in.Site.TreeDiameterM, in.Site.Groups[0].TreeDiameterM = siteM, groupM
		in.Visits = visits
		return mustMake(t, in).Days[2].VolumeL.P50
	}
	thin, usual, thick := of(0.2, 0), of(0.3, 0), of(0.8, 0)
	if thick < 3*thin || thin > 0.8*usual { // published: four to five times, and 0.6 (see volume.Girth)
		t.Errorf("20, 30 and 80 cm: %.0f, %.0f, %.0f L", thin, usual, thick)
	}
	if got := of(0.3, 0.8); math.Abs(got-thick) > 1e-9 {
		t.Errorf("a group of 80 cm: %.1f L, a bush of them %.1f", got, thick)
	}
	if got := of(0.8, 0.3); math.Abs(got-usual) > 1e-9 {
		t.Errorf("a group of 30 cm: %.1f L, a bush of them %.1f", got, usual)
	}
	var visits []records.Visit
	for d := range 12 {
		visits = append(visits, records.Visit{Group: "pails", CollectedAt: march.Add(time.Duration(d-12)*24*time.Hour - time.Hour),
			Taps: 50, VolumeL: 80})
	}
	if a, b := of(0.2, 0, visits...), of(0.8, 0, visits...); b > 1.6*a {
		t.Errorf("after twelve visits of 80 L: %.0f L with thin stems, %.0f with thick ones", a, b)
	} else {
		t.Logf("before visits %.0f and %.0f L, after twelve %.0f and %.0f", thin, thick, a, b)
	}
}
