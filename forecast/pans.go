package forecast

import (
	"thawline/forecast/boil"
	"thawline/forecast/records"
)

// Finishing is the pan in which syrup is finished: the one for it, else the last of a row,
// else the big one, else a pot on a stove.
func (b *Boiling) Finishing() boil.Vessel {
	switch {
	case b.FinishM2 > 0:
		v := boil.Vessel{Pan: boil.Pan{AreaM2: b.FinishM2, Fuel: b.Pan.Fuel}, DepthM: b.FinishM}
		if b.FinishOn != "" {
			v.Fuel = b.FinishOn
		}
		return v
	case len(b.Row) > 0:
		return b.Row[len(b.Row)-1]
	case b.Pan.AreaM2 > 0:
		return boil.Vessel{Pan: b.Pan}
	}
	return boil.Vessel{Pan: boil.Pan{AreaM2: potM2}}
}

// PanIDs are the pans that a boil can be written down of, one by one: none where there is one
// alone.
func (b *Boiling) PanIDs() (ids []string) {
	for i := range b.Row {
		ids = append(ids, b.Row[i].ID)
	}
	if b.FinishM2 > 0 {
		ids = append(ids, FinishingPan)
	}
	return ids
}

// Pans are how many boil at once, the finishing pan with them.
func (b *Boiling) Pans() int {
	n := max(len(b.Row), 1)
	if b.FinishM2 > 0 {
		n++
	}
	return n
}

// Watchers are the people that so many pans need, 0 if nobody has said what one can watch.
func (b *Boiling) Watchers() int {
	if b.Watches <= 0 {
		return 0
	}
	return (b.Pans() + b.Watches - 1) / b.Watches
}

// panOf is the site's pan, or its row and that as one pan: rates, wood and what is lost of
// the syrup as boils that were written down taught them.
func panOf(in *Inputs) (pan boil.Pan, row boil.Row, lost float64) {
	pan, row, lost, _ = pansOf(in)
	return pan, row, lost
}

// houseOf is what the sugarhouse boils in.
func houseOf(in *Inputs) HouseNow {
	_, row, lost, each := pansOf(in)
	return HouseNow{Pans: each, HoldBackL: round(row.HoldBackL(), 1), Watchers: in.Site.Boiling.Watchers(), SyrupLost: round(lost, 3)}
}

// FinishingPan is the id of the pan in which syrup is finished, where it stands apart.
const FinishingPan = "finishing"

// pansOf is panOf with each pan as it is now, the finishing pan last.
func pansOf(in *Inputs) (pan boil.Pan, row boil.Row, lost float64, each []PanNow) {
	house := &in.Site.Boiling
	pan = house.Pan
	if len(house.Row) > 0 {
		pan = house.Row.Together()
		pan.ReachBrix = house.Pan.ReachBrix
	}
	if pan.Rate() <= 0 {
		pan.AreaM2 = boil.Usual().AreaM2
	}
	fires := map[string][]boil.Fired{}
	var gave []float64
	for i := range in.House {
		one := &in.House[i]
		if one.Kind == records.Boiled && (one.Site == "" || one.Site == in.Site.ID) && !one.At.After(in.Now) {
			water := one.SapL * boil.WaterPerSap(boil.BrixBySeason(15), boil.SyrupBrix, pan)
			if one.SyrupL > 0 {
				water = one.SapL - one.SyrupL
				gave = append(gave, one.SyrupL*boil.SapPerSyrup(boil.BrixBySeason(15), boil.SyrupBrix)/one.SapL)
			}
			of := one.Pan
			if len(house.Row) == 0 && of != FinishingPan {
				of = ""
			}
			fires[of] = append(fires[of], boil.Fired{WaterL: water, Hours: one.Hours, WoodCords: one.WoodCords})
		}
	}
	now := func(id string, v *boil.Vessel, of []boil.Fired) {
		each = append(each, PanNow{ID: id, RateLH: round(v.Rate(), 2), Learnt: v.RateLH > 0, Fires: len(of),
			HoldsL: round(v.HoldsL(), 1), HoldBackL: round(v.HoldBackL(), 1)})
	}
	if len(house.Row) == 0 {
		pan = pan.Learnt(fires[""])
		now("", &boil.Vessel{Pan: pan}, fires[""])
	} else {
		row = house.Row.Learnt(fires)
		reach := pan.ReachBrix
		pan = row.Together()
		pan.ReachBrix = reach
		for i := range row {
			now(row[i].ID, &row[i], append(fires[""], fires[row[i].ID]...))
		}
	}
	if apart := house.Finishing(); house.FinishM2 > 0 {
		apart.Pan = apart.Learnt(fires[FinishingPan])
		now(FinishingPan, &apart, fires[FinishingPan])
	}
	return pan, row, boil.Lost(gave), each
}
