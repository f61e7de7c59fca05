package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// leastSyrupL is the syrup that is worth stirring to sugar: a litre, a pot on a stove
// (common practice).
const leastSyrupL = 1.0

// sugarSpans finds the hours of each day to stir sugar in, on days whose first hour for
// it lies after there is syrup; syrup is zero where there will be none.
func sugarSpans(in *Inputs, e *weather.Ensemble, c *calendar, syrup time.Time) []boil.SugarSpan {
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
	if syrup.IsZero() {
		return out
	}
	dewK := make([][]float64, len(e.Futures))
	if !e.FromSource {
		dewK = weather.DewErrors(len(e.Futures), e.Futures[0].Hours(), in.Seed)
	}
	for d, hours := range stirred {
		if syrup.After(c.dates[d].Add(boil.StirFrom*time.Hour)) || len(hours) == 0 {
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

// syrupFrom is from when on there is syrup to stir, zero where there will be none: from
// the day after sap for leastSyrupL was carried in this winter, else from the end of the
// planned boil that makes it up. Where somebody writes down what is boiled, by that. Where no visit of this winter brought sap, what ran by
// the weather counts in its place. Syrup keeps: from then on there is some for the rest
// of the winter.
func syrupFrom(in *Inputs, o *Outlook, e *weather.Ensemble, flow []groupFlow, y *yields) time.Time {
	brix, _ := brixOf(in)
	need := leastSyrupL * boil.SapPerSyrup(brix, boil.SyrupBrix)
	came := carriedIn(in)
	switch {
	case o.Stock.BoilsKnown:
		if need -= o.Stock.SyrupL * boil.SapPerSyrup(brix, boil.SyrupBrix); need <= 0 {
			return in.Now
		}
		came = nil
	case len(came) == 0:
		came = ranBefore(in, e, flow, y)
	}
	for _, some := range came {
		if need -= some.litres; need <= 0 {
			year, month, day := some.at.In(in.Site.Zone).Date()
			return firstMoment(year, month, day+1, in.Site.Zone)
		}
	}
	for i := range o.Boil {
		if b := &o.Boil[i]; b.End != nil {
			if need -= b.SapL; need <= 0 {
				return *b.End
			}
		}
	}
	return time.Time{}
}

// someSap is sap that came at a moment.
type someSap struct {
	at     time.Time
	litres float64
}

// carriedIn is the sap of this winter's visits, the oldest first.
func carriedIn(in *Inputs) []someSap {
	winter := season.WinterStart(in.Now, in.Site.Zone)
	var out []someSap
	for _, visits := range in.visitsByGroup() {
		for _, v := range visits {
			if v.VolumeL > 0 && !v.CollectedAt.Before(winter) {
				out = append(out, someSap{v.CollectedAt, v.VolumeL})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b someSap) int { return a.at.Compare(b.at) })
	return out
}

// ranBefore is the sap that by the weather has run since groups were tapped, by hour.
func ranBefore(in *Inputs, e *weather.Ensemble, flow []groupFlow, y *yields) []someSap {
	out := make([]someSap, e.Past.Hours())
	for i := range out {
		out[i].at = e.Past.Time(i)
	}
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		if group.Tapped.IsZero() {
			continue
		}
		log, _ := y.bush.LogYield(g)
		for i := range out {
			out[i].litres += float64(group.Taps) * flow[g].past[i] * math.Exp(log)
		}
	}
	return out
}
