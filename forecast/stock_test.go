package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// house is an entry of the sugarhouse's book; figures that are not given are NaN.
func house(kind records.HouseKind, at time.Time, sapL, syrupL float64) records.HouseEntry {
	nan := math.NaN()
	return records.HouseEntry{Kind: kind, At: at, SapL: sapL, SyrupL: syrupL, SugarKg: nan, WoodCords: nan, Hours: nan}
}

func carriedOn(at time.Time, litres float64) records.Visit {
	return records.Visit{Group: "pails", CollectedAt: at, Taps: 50, VolumeL: litres, BrixPct: math.NaN()}
}

// stocked is an outlook of the evening of the fourth day of waves, with what was carried in.
func stocked(t *testing.T, visits []records.Visit, entries ...records.HouseEntry) *Outlook {
	t.Helper()
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	site := bush(t)
	o := mustMake(t, Inputs{Site: site, Bulletin: b, Visits: visits, House: entries, Now: now, Seed: 1})
	return &o
}

// What was carried in at four is there in the evening, whole, with its day.
func TestWhatWasCarriedInIsInTheStock(t *testing.T) {
	four := march.AddDate(0, 0, 3).Add(16 * time.Hour)
	o := stocked(t, []records.Visit{carriedOn(march.AddDate(0, 0, 1), 30), carriedOn(four, 120)},
		house(records.Boiled, march.AddDate(0, 0, 2), 30, 0.7))
	if len(o.Stock.Sap) != 1 || math.Abs(o.Stock.Sap[0].Litres-120) > 0.1 || !o.Stock.BoilsKnown ||
		!slices.Equal(o.Stock.Sap[0].Groups, []string{"pails"}) {
		t.Fatalf("120 L were carried in at four: %+v", o.Stock)
	}
	one := o.Stock.Sap[0]
	if one.Spoilt || !one.BoilBy.After(four.AddDate(0, 0, 1)) || one.BoilBy.After(four.AddDate(0, 0, 7)) || one.RanOn > one.Batch {
		t.Errorf("%+v", one)
	}
	if o.Stock.SyrupL != 0.7 {
		t.Errorf("%.2f L of syrup were made, not %.2f", 0.7, o.Stock.SyrupL)
	}
}

// Stock, rounds, fires and what stays add up, day by day, and no day begins at nothing.
func TestFiresAddUp(t *testing.T) {
	o := stocked(t, []records.Visit{carriedOn(march.AddDate(0, 0, 2), 200)},
		house(records.SapLeft, march.AddDate(0, 0, 2).Add(time.Hour), 150, math.NaN()))
	had := o.Stock.GoodL()
	if math.Abs(had-150) > 0.5 {
		t.Fatalf("150 L were seen: %+v", o.Stock)
	}
	fires := 0
	for _, d := range o.Boil {
		had += d.GatheredL
		if diff := had - d.SapL - d.LeftL - d.NoRoomForL - d.SpoiltL; math.Abs(diff) > 1.5 {
			t.Errorf("%s: %.1f L at hand and gathered, %.1f boiled, %.1f stay, %.1f spoilt: %.1f astray", d.Date, had, d.SapL, d.LeftL,
				d.SpoiltL, diff)
		}
		had = d.LeftL + d.SpoiltL
		if (d.SapL > 0) != (d.Batch != nil) || (d.SapL > 0) != (d.Start != nil) {
			t.Errorf("%s: %.0f L to boil, %v, from %v", d.Date, d.SapL, d.Batch, d.Start)
		}
		if d.SapL > 0 {
			fires++
		}
	}
	if fires < 2 {
		t.Errorf("%d fires: hardly anything is checked", fires)
	}
}

// Nobody boils outside the hours that they gave, and eight to eight stands in where nobody
// gave any.
func TestFiresKeepToTheirHours(t *testing.T) {
	for _, hours := range [][]Free{nil, {{Weekday: time.Saturday, From: 9 * time.Hour, To: 20 * time.Hour},
		{Weekday: time.Tuesday, From: 17 * time.Hour, To: 26 * time.Hour}}} {
		site := bush(t)
		site.Boiling.Hours = hours
		site.Boiling.Pan.RateLH = 8 // more than a day's hours hold
		b := waves(3, 6, 14, 12)
		now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
		b.IssuedAt = now.Add(-time.Hour)
		o := mustMake(t, Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-2*time.Hour), 250)}, Now: now, Seed: 1})
		f := newFire(&Inputs{Site: site, Now: now})
		fires := 0
		for _, d := range o.Boil {
			if d.Start == nil {
				continue
			}
			fires++
			inside := false
			for _, s := range f.spans(now.AddDate(0, 0, -2), now.AddDate(0, 0, 15)) {
				inside = inside || !d.Start.Before(s.From) && !d.End.After(s.To)
			}
			if !inside || d.HoursGiven != (hours != nil) {
				t.Errorf("%v: a fire from %s to %s", hours, d.Start, d.End)
			}
		}
		if fires == 0 {
			t.Errorf("%v: no fire", hours)
		}
	}
}

// Sap that has gone bad in the tank is never boiled and has to be tipped out; its clock
// does not start again with the next outlook. Somebody who pours it away is rid of it.
func TestBadStockIsTippedOut(t *testing.T) {
	b := waves(1, 7, 14, 16)
	warm := march.AddDate(0, 0, 1)
	for i := range b.Course.Hours() {
		if b.Course.Time(i).After(warm) {
			b.Course.Col(weather.TemperatureC)[i] = 21
		}
	}
	visits := []records.Visit{carriedOn(march, 200)}
	never := house(records.Boiled, march.Add(-time.Hour), 1, math.NaN()) // somebody writes boils down
	outlook := func(now time.Time, entries ...records.HouseEntry) *Outlook {
		b.IssuedAt = now.Add(-time.Hour)
		o := mustMake(t, Inputs{Site: bush(t), Bulletin: b, Visits: visits, House: append(entries, never), Now: now, Seed: 1})
		return &o
	}
	first := outlook(warm)
	if len(first.Stock.Sap) != 1 || first.Stock.Sap[0].Spoilt {
		t.Fatalf("%+v", first.Stock)
	}
	by := first.Stock.Sap[0].BoilBy
	if by.Sub(warm) > 5*24*time.Hour {
		t.Errorf("at 70 °F sap keeps until %s", by)
	}
	for day := 1; day < 6; day++ {
		now := warm.AddDate(0, 0, day)
		o := outlook(now)
		one := o.Stock.Sap[0]
		if diff := one.BoilBy.Sub(by); diff > time.Hour || diff < -time.Hour {
			t.Errorf("after %d days it keeps until %s, at first until %s", day, one.BoilBy, by)
		}
		if one.Spoilt == now.Before(by) {
			t.Errorf("%s: spoilt is %v, it keeps until %s", now, one.Spoilt, by)
		}
		if one.Spoilt && (o.Stock.GoodL() > 0 || o.Boil[0].SapL > 0 || math.Abs(o.Boil[0].SpoiltL-200) > 0.5) {
			t.Errorf("%s: %.0f L of bad sap are boiled, %.0f L told as bad", now, o.Boil[0].SapL, o.Boil[0].SpoiltL)
		}
	}
	now := warm.AddDate(0, 0, 5)
	if o := outlook(now, house(records.TippedOut, now.Add(-time.Hour), math.NaN(), math.NaN())); len(o.Stock.Sap) != 0 {
		t.Errorf("poured away, and still there: %+v", o.Stock)
	}
}

// Where nobody writes boils down, sap counts as boiled as it came: no heap of old sap.
func TestStockWithoutABookDoesNotGrow(t *testing.T) {
	var visits []records.Visit
	for day := range 3 {
		visits = append(visits, carriedOn(march.AddDate(0, 0, day).Add(16*time.Hour), 150))
	}
	o := stocked(t, visits)
	if o.Stock.BoilsKnown || o.Stock.GoodL() > 160 || o.Stock.SyrupL <= 0 {
		t.Errorf("%+v", o.Stock)
	}
}

// Who wrote down a boil and then no more is not told for the rest of the season that all sap since has
// gone bad: the book speaks for a week. Who goes on writing has the stock of the book.
func TestBookSpeaksForAWeek(t *testing.T) {
	b := waves(3, 6, 22, 10)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	var visits []records.Visit
	for day := range 15 {
		visits = append(visits, carriedOn(march.AddDate(0, 0, day-11).Add(16*time.Hour), 150))
	}
	first := house(records.Boiled, march.AddDate(0, 0, -11).Add(20*time.Hour), 100, math.NaN())
	of := func(entries ...records.HouseEntry) Stock {
		return mustMake(t, Inputs{Site: bush(t), Bulletin: b, Visits: visits, House: entries, Now: now, Seed: 1}).Stock
	}
	all := func(s Stock) (litres float64) {
		for _, one := range s.Sap {
			litres += one.Litres
		}
		return litres
	}
	if s := of(first); s.BoilsKnown || all(s) > 450 {
		t.Errorf("a fortnight after the only entry: %.0f L, %+v", all(s), s)
	}
	// Nor does the next entry bring all of it back as gone bad: it speaks of the week before it.
	if s := of(first, house(records.Boiled, now.Add(-time.Hour), 100, math.NaN())); !s.BoilsKnown || all(s) > 8*150 {
		t.Errorf("an hour after the second entry: %.0f L, %+v", all(s), s)
	}
	newest := house(records.Boiled, now.AddDate(0, 0, -3), 100, math.NaN())
	if s := of(first, newest); !s.BoilsKnown || all(s) < 450 {
		t.Errorf("three days after an entry: %.0f L, %+v", all(s), s)
	}
}

// Too little for the pan waits for more while it keeps, and is boiled before it goes bad.
func TestTooLittleWaitsForMore(t *testing.T) {
	site := bush(t)
	site.Boiling.Pan.AreaM2 = 1.1 // wants some 450 L at 2 %
	b := waves(3, -6, 2, 12)      // no more runs
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	o := mustMake(t, Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-2*time.Hour), 100)},
		House: []records.HouseEntry{house(records.WoodLeft, now.Add(-time.Hour), math.NaN(), math.NaN()),
			house(records.SapLeft, now.Add(-time.Hour), 100, math.NaN())}, Now: now, Seed: 1})
	boiled := -1
	for i, d := range o.Boil {
		if d.SpoiltL > 0 {
			t.Errorf("%s: %.0f L went bad waiting", d.Date, d.SpoiltL)
		}
		if d.SapL > 0 && boiled < 0 {
			boiled = i
		}
		if d.LeftL > 0 && !d.TooLittle {
			t.Errorf("%s: %.0f L wait without a reason", d.Date, d.LeftL)
		}
	}
	if boiled < 2 {
		t.Errorf("boiled on day %d, and it keeps for about a week", boiled)
	}
}

// The pan's rate and wood follow the boils that were written down, and one slip does not
// throw them.
func TestPanLearnsFromItsFires(t *testing.T) {
	site := bush(t)
	in := Inputs{Site: site, Now: march}
	usual := onePan(&in).Rate()
	for range 6 {
		one := house(records.Boiled, march.Add(-24*time.Hour), 200, 4.6)
		one.Hours, one.WoodCords = 200/(0.7*usual)+0.5, 0.3
		in.House = append(in.House, one)
	}
	if rate := onePan(&in).Rate() / usual; rate < 0.65 || rate > 0.76 {
		t.Errorf("six fires at seven tenths of the rate: %.2f", rate)
	}
	if share := onePan(&in).WoodShare; share <= 0 || share == 1 {
		t.Errorf("wood: %.2f", share)
	}
	slip := house(records.Boiled, march.Add(-24*time.Hour), 2000, 4.6)
	slip.Hours = 1
	in.House = []records.HouseEntry{slip}
	if rate := onePan(&in).Rate() / usual; rate > 3 {
		t.Errorf("one slip makes the pan %.1f times as fast", rate)
	}
	in.House = []records.HouseEntry{{Kind: records.Boiled, Site: "other", At: march.Add(-time.Hour), SapL: 100, Hours: 1}}
	if rate := onePan(&in).Rate(); rate != usual {
		t.Error("another bush's fires teach this pan")
	}
}

// Several pans boil what they boil together, wait until they can be flooded, burn the fuel
// of each, and a boil in one of them teaches that one; one pan is as it was.
func TestSeveralPans(t *testing.T) {
	site := bush(t)
	site.Boiling.Row = boil.Row{{ID: "back", Pan: boil.Pan{Kind: boil.Flue, AreaM2: 0.3, Fuel: boil.Wood}},
		{ID: "front", Pan: boil.Pan{AreaM2: 0.2, Fuel: boil.Gas}}}
	site.Boiling.FinishM2, site.Boiling.FinishOn, site.Boiling.Watches = 0.1, boil.Gas, 2
	b := waves(3, 6, 14, 12)
	now := march.AddDate(0, 0, 3).Add(18 * time.Hour)
	b.IssuedAt = now.Add(-time.Hour)
	in := Inputs{Site: site, Bulletin: b, Visits: []records.Visit{carriedOn(now.Add(-2*time.Hour), 250)}, Now: now, Seed: 1}
	o := mustMake(t, in)
	fires := 0
	for _, d := range o.Boil {
		if d.Batch == nil {
			continue
		}
		fires++
		if d.Batch.WoodCords <= 0 || d.Batch.GasL <= 0 {
			t.Errorf("%s: %.3f cords and %.2f L of gas", d.Date, d.Batch.WoodCords, d.Batch.GasL)
		}
		if flooded := site.Boiling.Row.HoldsL(); d.SapL < flooded && !d.TooLittle {
			t.Errorf("%s: lit with %.0f L, the pans take %.0f", d.Date, d.SapL, flooded)
		}
	}
	if fires == 0 {
		t.Error("no fire")
	}
	h := o.House
	if len(h.Pans) != 3 || h.Pans[0].ID != "back" || h.Pans[2].ID != FinishingPan || h.Watchers != 2 || h.HoldBackL < 5 ||
		h.Pans[1].Learnt || h.SyrupLost != 0 {
		t.Errorf("%+v", h)
	}
	slow := house(records.Boiled, now.Add(-30*time.Hour), 40, math.NaN())
	slow.Hours, slow.Pan = 12, "front"
	in.House = []records.HouseEntry{slow, slow}
	if after := mustMake(t, in).House; after.Pans[0] != h.Pans[0] || !(after.Pans[1].RateLH < h.Pans[1].RateLH) ||
		!after.Pans[1].Learnt || after.Pans[1].Fires != 2 {
		t.Errorf("two slow boils in front: %+v, were %+v", after, h)
	}
	in.Site.Boiling = bush(t).Boiling
	if one := mustMake(t, in).House; len(one.Pans) != 1 || one.Pans[0].ID != "" || one.HoldBackL != 0 || one.Watchers != 0 {
		t.Errorf("one pan: %+v", one)
	}
}

func onePan(in *Inputs) boil.Pan { pan, _, _ := panOf(in); return pan }
