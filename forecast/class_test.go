package forecast

import (
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// booked is a visit on a later day, from nine to half past eleven.
func booked(now time.Time, days int, zone *time.Location) records.ClassVisit {
	y, m, d := now.In(zone).AddDate(0, 0, days).Date()
	return records.ClassVisit{ID: "class", Day: time.Date(y, m, d, 0, 0, 0, 0, zone), From: 9 * time.Hour,
		To: 11*time.Hour + 30*time.Minute, Learners: 24}
}

// For a visit sap is held back from when on it keeps; the fires before leave it, none of it
// is spoilt, and it boils with the class.
func TestSapIsHeldBackForAClass(t *testing.T) {
	site := bush(t)
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	in := Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-2*time.Hour), 250)}, Now: now, Seed: 1}
	before := mustMake(t, in)
	in.Classes = []records.ClassVisit{booked(now, 3, site.Zone), booked(now, 60, site.Zone), booked(now, -1, site.Zone)}
	o := mustMake(t, in)
	if len(o.Classes) != 2 {
		t.Fatalf("%d visits are planned: one is over", len(o.Classes))
	}
	near, far := &o.Classes[0], &o.Classes[1]
	if near.DaysAhead != 3 || near.Drips == nil || near.HoldFrom == nil || !near.HoldFrom.Before(near.From) ||
		near.From.Sub(*near.HoldFrom) > 9*24*time.Hour || near.NextStep() != 1 {
		t.Errorf("%+v", near)
	}
	if far.Drips != nil || far.HaveSapL != nil || far.Programme != FromStock || far.HoldFrom == nil || far.NextStep() != 7 {
		t.Errorf("%+v", far)
	}
	if near.SapL < 2 || near.SyrupL != 2 || near.HaveSapL == nil || *near.HaveSapL < near.SapL-0.6 || near.Programme == Indoors ||
		near.Programme == CalledOff {
		t.Errorf("%+v", near)
	}
	day := near.From.Format(time.DateOnly)
	i := slices.IndexFunc(o.Boil, func(d BoilDay) bool { return d.Date == day })
	if d := o.Boil[i]; d.Start == nil || d.Start.After(near.From) || d.SapL < near.SapL-0.6 {
		t.Errorf("no fire with the class: %+v", d)
	}
	without := slices.IndexFunc(before.Boil, func(d BoilDay) bool { return d.Date == day })
	if o.Boil[i-1].LeftL < before.Boil[without-1].LeftL+near.SapL/2 && o.Boil[i-1].LeftL < near.SapL-0.6 {
		t.Errorf("%.1f L are left on the eve, %.1f are to be held back", o.Boil[i-1].LeftL, near.SapL)
	}
	for _, d := range o.Boil {
		if d.BoilBy != nil && !d.BoilBy.After(*d.Start) {
			t.Errorf("%s: spoilt sap is boiled", d.Date)
		}
	}
}

// Danger calls a visit off: nothing is held back for it, and no order is given; in cold that
// children can't bear they stay under a roof.
func TestDangerCallsAClassOff(t *testing.T) {
	site := bush(t)
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	visit := booked(now, 2, site.Zone)
	in := Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-2*time.Hour), 250)}, Now: now, Seed: 1,
		Classes: []records.ClassVisit{visit}}
	in.Watch = known()
	in.Watch.KnownAt = now
	in.Watch.List = []weather.Warning{{ID: "storm", Severity: "Severe", Sent: now, From: visit.Start().Add(-time.Hour),
		To: visit.End().Add(time.Hour)}}
	o := mustMake(t, in)
	p := &o.Classes[0]
	if p.Programme != CalledOff || p.Danger == nil || p.Danger.What != DangerWarning || len(p.Order()) != 0 {
		t.Errorf("%+v", p)
	}
	cold := ClassPlan{Programme: FromStock}
	feels := -20.0
	cold.FeelsC = &feels
	if cold.choose(); cold.Programme != Indoors {
		t.Errorf("at %.0f °C: %s", feels, cold.Programme)
	}
	have := 1.0
	short := ClassPlan{SapL: 40, HaveSapL: &have}
	short.SyrupL = 2
	if short.choose(); short.Programme != Indoors || short.Boils != "" {
		t.Errorf("with %.0f of %.0f L of sap: %s", have, short.SapL, short.Programme)
	}
	short.HaveSyrup = 2
	if short.choose(); short.Programme != FromStock || short.Boils != "syrup" {
		t.Errorf("with syrup that was held back: %s, %q boils", short.Programme, short.Boils)
	}
}

// A running order fills the visit, begins with the rules, and goes by five minutes.
func TestRunningOrder(t *testing.T) {
	visit := booked(march, 5, bush(t).Zone)
	for _, programme := range []Programme{Dripping, FromStock, Indoors} {
		p := ClassPlan{From: visit.Start(), To: visit.End(), Programme: programme}
		order := p.Order()
		if len(order) < 4 || order[0].What != "rules" || !order[0].At.Equal(p.From) {
			t.Fatalf("%s: %v", programme, order)
		}
		for i := 1; i < len(order); i++ {
			if step := order[i].At.Sub(order[i-1].At); step < 5*time.Minute || order[i].At.Minute()%5 != 0 ||
				!order[i].At.Before(p.To.Add(-5*time.Minute)) {
				t.Errorf("%s: %v", programme, order)
			}
		}
	}
}

// Run, boil, air and weather of a day for learners are judged in the same hours: a fire in
// the evening is none for them.
func TestLearnersHoursAreOne(t *testing.T) {
	site := bush(t)
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	visits := []records.Visit{carriedOn(now.Add(-2*time.Hour), 250)}
	boilsIn := func(from, to time.Duration) (days int) {
		s := site
		for day := time.Sunday; day <= time.Saturday; day++ {
			s.Boiling.Hours = append(s.Boiling.Hours, Free{Weekday: day, From: from, To: to})
		}
		o := mustMake(t, Inputs{Site: s, Bulletin: b, Visits: visits, Now: now, Seed: 1})
		for _, d := range o.Teaching {
			if d.Boil {
				days++
			}
		}
		return days
	}
	if evening, day := boilsIn(17*time.Hour, 23*time.Hour), boilsIn(9*time.Hour, 15*time.Hour); evening != 0 || day == 0 {
		t.Errorf("fires for learners on %d days of evening fires, on %d of others", evening, day)
	}
	site.Boiling.School = []Free{{Weekday: time.Tuesday, From: 18 * time.Hour, To: 20 * time.Hour}}
	from, to := learnersHours(site.Boiling.School, time.Date(2015, 3, 10, 0, 0, 0, 0, time.UTC))
	if from.Hour() != 18 || to.Hour() != 20 {
		t.Errorf("%s to %s", from, to)
	}
	if from, to := learnersHours(site.Boiling.School, time.Date(2015, 3, 11, 0, 0, 0, 0, time.UTC)); from.Hour() != 9 || to.Hour() != 15 {
		t.Errorf("%s to %s", from, to)
	}
}

// Where nobody writes down what is boiled, sap counts as boiled as it came, but for what a
// class was booked for by then; a visit that was booked later finds it gone. Sap that likely
// runs after the planned rounds counts for a visit beyond them.
func TestHeldBackWhereNobodyWritesBoils(t *testing.T) {
	site := bush(t)
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 4).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	in := Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-50*time.Hour), 250)}, Now: now, Seed: 1}
	for _, c := range []struct {
		booked time.Time
		stays  bool
	}{{now.Add(-60 * time.Hour), true}, {now.Add(-time.Hour), false}} {
		visit := booked(now, 1, site.Zone)
		visit.BookedAt = c.booked
		in.Classes = []records.ClassVisit{visit}
		o := mustMake(t, in)
		if o.Stock.BoilsKnown || o.Classes[0].SapL <= 0 {
			t.Fatalf("%+v", o.Stock)
		}
		if stays := o.Stock.GoodL() > o.Classes[0].SapL-1; stays != c.stays {
			t.Errorf("booked %s: %.0f L of sap are there, %.0f are to be held back", c.booked, o.Stock.GoodL(), o.Classes[0].SapL)
		}
	}
	later := &burn{fire: &fire{site: &site}, planned: now.AddDate(0, 0, 5)}
	for k := range 10 {
		later.days = append(later.days, Day{Date: now.AddDate(0, 0, k).Format(time.DateOnly), VolumeL: Range{P50: 10}})
	}
	from := now.AddDate(0, 0, 1)
	if got := later.beyond(&visit{ClassPlan: &ClassPlan{From: now.AddDate(0, 0, 7).Add(15 * time.Hour), HoldFrom: &from}}); got != 30 {
		t.Errorf("%.0f L run after the planned rounds, want three evenings' 30", got)
	}
}
