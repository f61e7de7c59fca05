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
	first := outlook(warm.Add(6 * time.Hour)).Work.Groups[0]
	if first.KeepsUntil == nil || first.Spoilt(warm.Add(6*time.Hour)) {
		t.Fatalf("a quarter of a warm day: %v", first.KeepsUntil)
	}
	for day := 2; day < 8; day++ {
		now := warm.AddDate(0, 0, day)
		o := outlook(now)
		f := o.Work.Groups[0]
		if f.KeepsUntil == nil || !f.KeepsUntil.Equal(*first.KeepsUntil) || len(o.Work.ToTipOut()) != 1 {
			t.Errorf("after %d warm days the sap keeps until %v, first told %v", day, f.KeepsUntil, first.KeepsUntil)
		}
		if due := o.Work.Due(); len(due) > 0 {
			t.Errorf("after %d warm days it is to be gathered: %+v", day, due)
		}
		for _, one := range o.Boil {
			if one.GatheredL > 0 || one.SapL > 0 {
				t.Errorf("after %d warm days %.0f L of bad sap are boiled on %s", day, one.GatheredL+one.SapL, one.Date)
			}
		}
	}
	now := warm.AddDate(0, 0, 5)
	if o := outlook(now, records.Visit{Group: "pails", CollectedAt: now.Add(-time.Hour), Taps: 50,
		VolumeL: 90}); len(o.Work.ToTipOut()) != 0 {
		t.Errorf("emptied an hour ago, and still %v", o.Work.ToTipOut())
	}
}
