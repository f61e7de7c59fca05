package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// leastSyrupL is the syrup that is worth stirring to sugar: a litre, a pot on a stove
// (common practice).
const leastSyrupL = 1.0

// sugarSpans finds the hours of each day to stir sugar in, on days on which there is
// syrup.
func sugarSpans(in *Inputs, o *Outlook, e *weather.Ensemble, c *calendar) []boil.SugarSpan {
	room := in.Site.Boiling.RoomC
	if room == 0 {
		room = math.NaN()
	}
	stirred := make([][]int, len(c.dates)) // hours of the futures
	for h, d := range c.futureDay {
		at := e.Futures[0].Time(h).In(c.zone)
		if d >= 0 && at.Hour() >= boil.StirFrom && at.Hour() < boil.StirTo {
			stirred[d] = append(stirred[d], h)
		}
	}
	out := []boil.SugarSpan{}
	first := syrupFrom(in, o)
	if first.IsZero() {
		return out
	}
	dewK := make([][]float64, len(e.Futures))
	if !e.FromSource {
		dewK = weather.DewErrors(len(e.Futures), e.Futures[0].Hours(), in.Seed)
	}
	for d, hours := range stirred {
		if first.After(c.dates[d].Add(boil.StirFrom*time.Hour)) || len(hours) == 0 {
			continue
		}
		humidity := make([][]float64, len(e.Futures))
		for m := range e.Futures {
			for _, h := range hours {
				w := &e.Futures[m]
				air, dew := w.At(weather.TemperatureC, h), w.At(weather.DewPointC, h)
				if dewK[m] != nil {
					dew = min(dew+dewK[m][h], air)
				}
				humidity[m] = append(humidity[m], boil.HumidityIndoors(dew, air, room))
			}
		}
		s, found := boil.DryStretch(humidity)
		if !found {
			continue
		}
		out = append(out, boil.SugarSpan{Date: c.dates[d].Format(time.DateOnly), Grade: s.Grade,
			From: e.Futures[0].Time(hours[s.From]).In(c.zone), To: e.Futures[0].Time(hours[s.To-1] + 1).In(c.zone),
			Chance: round(s.Chance, 2), HumidityPct: round(s.HumidityPct, 0)})
	}
	return out
}

// syrupFrom is from when on there is syrup to stir: from the midnight after the visit
// of this winter with which, at the latest, sap for leastSyrupL was carried in, else from
// the end of the planned boil that makes it up. Zero where there will be none. Syrup
// keeps: from then on there is some for the rest of the winter.
func syrupFrom(in *Inputs, o *Outlook) time.Time {
	brix, _ := brixOf(in)
	need := leastSyrupL * boil.SapPerSyrup(brix, boil.SyrupBrix)
	winter := season.WinterStart(in.Now, in.Site.Zone)
	var visits []records.Visit
	for g := range in.Site.Groups {
		visits = append(visits, in.visitsOf(in.Site.Groups[g].ID)...)
	}
	records.Sort(visits)
	for _, v := range visits {
		if v.CollectedAt.Before(winter) || !(v.VolumeL > 0) {
			continue
		}
		if need -= v.VolumeL; need <= 0 {
			y, m, d := v.CollectedAt.In(in.Site.Zone).Date()
			return firstMoment(y, m, d+1, in.Site.Zone)
		}
	}
	for i := range o.Boil {
		if b := o.Boil[i].Batch; b != nil {
			if need -= b.SapL; need <= 0 {
				return b.End
			}
		}
	}
	return time.Time{}
}
