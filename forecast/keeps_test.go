package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// Sap that freezes keeps (common practice), and how long nobody can say beyond the days that
// the forecast knows: until then at least, and not a day farther. Sap that goes bad within them
// is told its moment.
func TestKeepsNoFartherThanTheForecastReaches(t *testing.T) {
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	outlook := func(laterC float64) (*Outlook, time.Time) {
		b := waves(3, 6, 14, 10)
		b.IssuedAt = now.Add(-time.Hour)
		for i := range b.Course.Hours() {
			if b.Course.Time(i).After(now) {
				b.Course.Col(weather.TemperatureC)[i] = laterC
			}
		}
		site := bush(t)
		site.Boiling.Hours = []Free{{Weekday: now.AddDate(0, 0, 4).Weekday(), From: 9 * time.Hour, To: 20 * time.Hour}}
		o := mustMake(t, Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-26*time.Hour), 120)},
			House: []records.HouseEntry{house(records.SapLeft, now.Add(-2*time.Hour), 15, math.NaN())}, Now: now, Seed: 1})
		return &o, b.Course.End()
	}
	frost, end := outlook(-9)
	one := &frost.Stock.Sap[0]
	if one.Spoilt || !one.KeepsLonger || !one.BoilBy.Equal(end) {
		t.Errorf("frozen in the tank until %s: keeps until %s, longer %v", end, one.BoilBy, one.KeepsLonger)
	}
	if g := &frost.Work.Groups[0]; g.KeepsUntil == nil || !g.KeepsLonger || !g.KeepsUntil.Equal(end) || g.Spoilt(end.Add(time.Hour)) {
		t.Errorf("frozen in pails until %s: keeps until %v, longer %v", end, g.KeepsUntil, g.KeepsLonger)
	}
	stays := 0
	for _, d := range frost.Boil {
		if d.KeepsUntil != nil && (!d.KeepsLonger || !d.KeepsUntil.Equal(end)) || d.BoilBy != nil {
			t.Errorf("%s: what stays keeps until %v, longer %v; boil by %v", d.Date, d.KeepsUntil, d.KeepsLonger, d.BoilBy)
		}
		if d.KeepsUntil != nil {
			stays++
		}
	}
	if stays == 0 {
		t.Error("nothing stays: hardly anything is checked")
	}
	warm, end := outlook(12)
	if one := &warm.Stock.Sap[0]; one.KeepsLonger || !one.BoilBy.Before(end) {
		t.Errorf("at 12 °C in the tank: keeps until %s, longer %v", one.BoilBy, one.KeepsLonger)
	}
	if g := &warm.Work.Groups[0]; g.KeepsUntil == nil || g.KeepsLonger || !g.KeepsUntil.Before(end) || !g.Spoilt(end) {
		t.Errorf("at 12 °C in pails: keeps until %v, longer %v", g.KeepsUntil, g.KeepsLonger)
	}
}
