package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
)

// A hole that is bored after warm weeks is as fresh as any other: what was warm
// before it was there has not aged it.
func TestHolesAgeFromTheirBoring(t *testing.T) {
	b := waves(8, 2, 14, 10)
	group := bush(t).Groups[0]
	bored := 10 * 24
	group.Tapped = b.Course.Time(bored)
	wood := make([]trunk.Hour, 14*24)
	for i := range wood {
		wood[i].WoodC = 8
	}
	past := b.Course.Slice(0, 14*24)
	var tap sap.State
	out := make([]float64, len(wood))
	since(&group, &tap, &past, wood, out)
	if want := float64(len(wood)-bored) * sap.AgeRate(8); math.Abs(tap.WarmHours-want) > 1e-6 {
		t.Errorf("four days after it was bored a hole has aged by %.0f warm hours, want %.0f", tap.WarmHours, want)
	}
}

// What was collected after the moment that counts as now is not known yet.
func TestVisitsToComeTeachNothing(t *testing.T) {
	visit := func(at time.Time, litres float64) records.Visit {
		return records.Visit{Group: "pails", CollectedAt: at, VolumeL: litres, BrixPct: math.NaN()}
	}
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1,
		Visits: []records.Visit{visit(march.Add(-48*time.Hour), 90)}}
	alone := mustMake(t, in)
	tomorrow := visit(march.Add(20*time.Hour), 5)
	tomorrow.BrixPct = 4.4
	in.Visits = append(in.Visits, tomorrow)
	later := mustMake(t, in)
	if alone.Boil[0].Brix != later.Boil[0].Brix || later.Boil[0].BrixMeasured {
		t.Errorf("sugar that is measured tomorrow counts today: %.1f and %.1f %%", alone.Boil[0].Brix, later.Boil[0].Brix)
	}
	if alone.Yields[0].Visits != later.Yields[0].Visits || alone.Days[1].VolumeL != later.Days[1].VolumeL {
		t.Errorf("a visit of tomorrow is learnt from: %+v and %+v", alone.Yields, later.Yields)
	}
}

// No container holds more than it has room for, and no pan boils two batches at a
// time.
func TestContainersAndPansHaveBounds(t *testing.T) {
	site := bush(t)
	site.Boiling.Pan.RateLH = 4 // a small pan: a day's sap takes longer than a day
	o := mustMake(t, Inputs{Site: site, Bulletin: waves(2, 8, 14, 14), Now: march, Seed: 1,
		Visits: []records.Visit{{Group: "pails", CollectedAt: march.Add(-60 * time.Hour), VolumeL: 10, BrixPct: math.NaN()}}})
	for _, g := range o.Work.Groups {
		if g.GoAt == nil {
			t.Fatal("nobody goes: nothing is checked")
		}
		if g.VolumeL.P90 > 50*7.5 || g.HeldL.P90+g.IceL > 50*7.5 {
			t.Errorf("%.0f L, later %.0f L in 50 pails of 7.5 L", g.HeldL.P90+g.IceL, g.VolumeL.P90)
		}
	}
	var end time.Time
	batches := 0
	for _, b := range o.Boil {
		if b.Batch == nil {
			continue
		}
		if batches++; b.Start.Before(end) {
			t.Errorf("%s: a fire begins at %s, before the one before it ends at %s", b.Date, b.Start, end)
		}
		end = *b.End
	}
	if batches < 2 {
		t.Errorf("%d fires: nothing is checked", batches)
	}
}
