package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// boilDays works out what each day means for the fire. Where no service gives the
// air pressure, what is usual at the height stands in: hours and wood hardly change,
// draw-off points only by less than a degree, and the day says so.
func boilDays(in *Inputs, o *Outlook, e *weather.Ensemble, c *calendar) []BoilDay {
	pan, syrup := in.Site.Boiling.Pan, in.Site.Boiling.SyrupBrix
	if pan.Rate() <= 0 {
		usual := boil.Usual()
		pan.AreaM2 = usual.AreaM2
	}
	if syrup == 0 {
		syrup = boil.SyrupBrix
	}
	brix, measured := brixOf(in)
	pressure := dayPressures(len(o.Days), e, c)
	height, heightKnown := heightOf(in)
	out := []BoilDay{}
	stored := 0.0
	var free time.Time          // when the pan is done with what was gathered before
	tipOut := o.Work.ToTipOut() // what the next visit to them brings is not boiled
	for d := range o.Days {
		p, known := pressure[d], !math.IsNaN(pressure[d])
		if !known {
			p = weather.StandardPressureHPa(height)
		}
		day := BoilDay{Date: o.Days[d].Date, SapL: o.Days[d].VolumeL, PressureHPa: round(p, 1), PressureKnown: known, HeightKnown: heightKnown, Brix: round(brix, 1), BrixMeasured: measured,
			BoilingPointC: round(boil.WaterBoilsC(p), 2), DrawOffC: round(boil.DrawOffC(p, syrup), 2)}
		var last time.Time
		var first time.Time
		for _, r := range o.Work.Rounds {
			if r.Start.Format(time.DateOnly) != day.Date {
				continue
			}
			if day.GatheredL == 0 {
				first = r.Start
			}
			for _, g := range r.Groups {
				if at := slices.Index(tipOut, g.Group); at >= 0 {
					tipOut = slices.Delete(tipOut, at, at+1)
					continue
				}
				day.GatheredL = round(day.GatheredL+g.VolumeL, 1)
			}
			if r.End.After(last) {
				last = r.End
			}
		}
		if batch, err := boil.Boil(day.GatheredL, brix, syrup, p, pan); err == nil {
			if free.After(last) {
				last = free
			}
			free = last.Add(time.Duration(batch.Hours * float64(time.Hour))).Truncate(time.Minute)
			day.Batch = &BoilBatch{Batch: batch, Start: last, End: free, BoilBy: keepsUntil(first, e).In(c.zone)}
		}
		stored = max(stored+day.GatheredL-boiledHours*pan.Rate(), 0)
		if room := in.Site.Boiling.StoreL; room > 0 && stored > room {
			day.NoRoomForL, stored = round(stored-room, 1), room
		}
		day.StoredL = round(stored, 1)
		if d == 1 {
			day.ByHour = hoursOf(e, c, syrup)
		}
		out = append(out, day)
	}
	return out
}

// heightOf is the height of the pan: of the trees, or as the service has it; else that
// of the sea.
func heightOf(in *Inputs) (m float64, known bool) {
	for _, m := range []float64{in.Site.Place.ElevationM, in.Bulletin.ElevationM} {
		if !math.IsNaN(m) {
			return m, true
		}
	}
	return 0, false
}

// dayPressures are the mean station pressures between ten and six, or of what is left
// of the day after that; NaN where they are not known.
func dayPressures(days int, e *weather.Ensemble, c *calendar) []float64 {
	mean := func(from, to int) []float64 {
		sum, count := make([]float64, days), make([]float64, days)
		for h, d := range c.futureDay {
			p := e.Futures[0].At(weather.SurfacePressureHPa, h)
			if hour := e.Futures[0].Time(h).In(c.zone).Hour(); d >= 0 && !math.IsNaN(p) && hour >= from && hour < to {
				sum[d] += p
				count[d]++
			}
		}
		for d := range sum {
			sum[d] /= count[d] // 0/0 is NaN
		}
		return sum
	}
	out, rest := mean(10, 18), mean(0, 24)
	for d := range out {
		if math.IsNaN(out[d]) {
			out[d] = rest[d]
		}
	}
	return out
}

// hoursOf are the draw-off points of tomorrow's waking hours.
func hoursOf(e *weather.Ensemble, c *calendar, syrup float64) []BoilHour {
	var out []BoilHour
	for h, d := range c.futureDay {
		at := e.Futures[0].Time(h).In(c.zone)
		p := e.Futures[0].At(weather.SurfacePressureHPa, h)
		if d == 1 && at.Hour() >= 6 && at.Hour() <= 22 && !math.IsNaN(p) {
			out = append(out, BoilHour{at, round(boil.WaterBoilsC(p), 2), round(boil.DrawOffC(p, syrup), 2)})
		}
	}
	return out
}

// keepsUntil is until when sap that is gathered at a moment keeps in a clean
// tank in the shade, having hung in pails for half a day.
func keepsUntil(gathered time.Time, e *weather.Ensemble) time.Time {
	w := &e.Futures[0]
	from := max(w.Index(gathered), 0)
	const hung, tankLag = 12, 36 // hours
	used := 0.0
	for h := max(from-hung, 0); h < from; h++ {
		used += rounds.LifePerHour(w.At(weather.TemperatureC, h), rounds.PailHygiene)
	}
	return rounds.BoilBy(gathered, used, w.Col(weather.TemperatureC)[min(from, w.Hours()-1):], tankLag, rounds.TankHygiene)
}

// brixOf is the sugar of the sap: the mean of what was measured in the last ten
// days, else what is usual for the time of the season.
func brixOf(in *Inputs) (brix float64, measured bool) {
	sum, n := 0.0, 0.0
	var tapped time.Time
	for g := range in.Site.Groups {
		if t := in.Site.Groups[g].Tapped; !t.IsZero() && (tapped.IsZero() || t.Before(tapped)) {
			tapped = t
		}
		for _, v := range in.visitsOf(in.Site.Groups[g].ID) {
			if !math.IsNaN(v.BrixPct) && in.Now.Sub(v.CollectedAt) < 10*24*time.Hour {
				sum, n = sum+v.BrixPct, n+1
			}
		}
	}
	if n > 0 {
		return sum / n, true
	}
	if tapped.IsZero() {
		return boil.BrixBySeason(15), false
	}
	return boil.BrixBySeason(in.Now.Sub(tapped).Hours() / 24), false
}
