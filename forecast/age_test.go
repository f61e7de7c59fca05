package forecast

import (
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// The clock of what hangs starts when it ran: in warm weather with nobody visiting, the
// moment until which it keeps does not move with each new outlook, and once it is past
// it stays past, until somebody empties the pails (common practice: sap that has stood
// warm for days is tipped out).
func TestSpoiltSapStaysSpoiltUntilEmptied(t *testing.T) {
	b := waves(1, 7, 14, 16)
	warm := march.AddDate(0, 0, 2)
	for i := range b.Course.Hours() {
		if at := b.Course.Time(i); at.After(warm) {
			b.Course.Col(weather.TemperatureC)[i] = 21 // 70 °F
		}
	}
	site := bush(t)
	emptied := records.Visit{Group: "pails", CollectedAt: march, Taps: 50, VolumeL: 40}
	outlook := func(now time.Time, visits ...records.Visit) *Outlook {
		b.IssuedAt = now.Add(-time.Hour)
		o := mustMake(t, Inputs{Site: site, Bulletin: b, Visits: append([]records.Visit{emptied}, visits...), Now: now, Seed: 1})
		return &o
	}
	first := outlook(warm.Add(6 * time.Hour)).Overflow[0]
	if first.BoilBy == nil || first.Spoilt(warm.Add(6*time.Hour)) {
		t.Fatalf("a quarter of a warm day: %v", first.BoilBy)
	}
	for day := 2; day < 8; day++ {
		now := warm.AddDate(0, 0, day)
		o := outlook(now)
		f := o.Overflow[0]
		if f.BoilBy == nil || !f.BoilBy.Equal(*first.BoilBy) || len(o.TipOut()) != 1 {
			t.Errorf("after %d warm days the sap keeps until %v, first told %v", day, f.BoilBy, first.BoilBy)
		}
		for _, r := range o.Rounds {
			t.Errorf("after %d warm days it is to be gathered by %s", day, r.GatherBy)
		}
		for _, one := range o.Boil {
			if one.GatheredL > 0 {
				t.Errorf("after %d warm days %.0f L of bad sap are boiled on %s", day, one.GatheredL, one.Date)
			}
		}
	}
	now := warm.AddDate(0, 0, 5)
	if o := outlook(now, records.Visit{Group: "pails", CollectedAt: now.Add(-time.Hour), Taps: 50, VolumeL: 90}); len(o.TipOut()) != 0 {
		t.Errorf("emptied an hour ago, and still %v", o.TipOut())
	}
}
