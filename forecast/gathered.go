package forecast

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/notebook"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// gathered is what visits brought of each group, spread over the hours in which it ran.
type gathered []struct {
	litres []float64 // of all taps, by hour; NaN in hours of which no visit tells
	visit  []int     // the one that tells of an hour
}

// gathered spreads what visits brought over the hours since those before, ice that was left
// too. Where pails were full, or some was spilled, what is likely missing is added.
func (h *held) gathered(in *Inputs, s *strands, bush *volume.Bush) gathered {
	out := make(gathered, len(s.flow))
	for g := range out {
		own := &out[g]
		own.litres, own.visit = make([]float64, len(s.flow[g].past)), make([]int, len(s.flow[g].past))
		for i := range own.litres {
			own.litres[i] = math.NaN()
		}
		log, _ := bush.LogYield(g)
		yield := math.Exp(log)
		for i, e := range h.entriesOf(g) {
			from, to := e.Since, min(e.To, len(own.litres))
			if from >= to { // in the hour of the visit before it
				from = to - 1
			}
			taps := float64(e.Visit.Taps)
			if taps == 0 {
				taps = float64(in.Site.Groups[g].Taps)
			}
			if e.Why != "" && e.Why != notebook.Confirmed || from < 0 || taps == 0 {
				continue
			}
			ran := asItRan(s.flow[g].past[from:to], &s.past[0], from, yield)
			share := e.CarriedL / sumOf(ran)
			if e.Visit.AtLeast {
				share *= beyond(share/taps, bush.Spread())
			}
			for k, q := range ran {
				at := &own.litres[from+k]
				if own.visit[from+k] = i; math.IsNaN(*at) {
					*at = 0
				}
				*at += share * q
			}
		}
	}
	return out
}

// beyond is how many times what a visit brought ran, in the mean, where at least so much did:
// that was so many times what was expected, and a day strays by so much of a logarithm.
func beyond(brought, spread float64) float64 {
	if brought <= 0 || spread <= 0 {
		return 1
	}
	full := math.Log(brought) / spread
	over := distuv.UnitNormal.Survival(full)
	if over < 1e-6 { // hardly to be believed: as good as just full
		return 1
	}
	// The mean of a logarithmic normal law beyond a bound (from memory).
	return math.Exp(spread*spread/2) * distuv.UnitNormal.Survival(full-spread) / over / brought
}

// leastL is so little sap, litres a tap, that a visit brings it when no hour is known in
// which any ran.
const leastL = 0.01

// asItRan is what a tap most likely gave in the hours from one on, litres, with [leastL] more
// over those without frost, or over all if there are none.
func asItRan(flow []float64, air *weather.Series, from int, yield float64) []float64 {
	out, mild := make([]float64, len(flow)), 0
	for i := range flow {
		if air.At(weather.TemperatureC, from+i) > 0 {
			mild++
		}
	}
	for i, q := range flow {
		out[i] = q * yield
		switch {
		case mild == 0:
			out[i] += leastL / float64(len(flow))
		case air.At(weather.TemperatureC, from+i) > 0:
			out[i] += leastL / float64(mild)
		}
	}
	return out
}

// toldApart parts the flow of a usual tap, litres an hour, of hours of which no visit tells from
// what visits brought in the others, litres; both are 0 where they say nothing.
func toldApart(flow, brought []float64) (open, known []float64) {
	open, known = make([]float64, len(flow)), make([]float64, len(flow))
	for i, litres := range brought {
		if math.IsNaN(litres) {
			open[i] = flow[i]
		} else {
			known[i] = litres
		}
	}
	return open, known
}

// daySum is the sap of a day, litres: what it most likely was, and in the mean of many such
// days.
type daySum struct{ litres, meanL, strays float64 } // strays: each litre by its own standard deviation, as a logarithm

func (d *daySum) add(litres, meanL, sd float64) {
	d.litres, d.meanL, d.strays = d.litres+litres, d.meanL+meanL, d.strays+litres*sd
}

// logSD is how far the day strays, as a logarithm: groups share its luck.
func (d *daySum) logSD() float64 {
	if d.litres <= 0 {
		return 0
	}
	return d.strays / d.litres
}

// sumDays sums hours by their days, of which there are so many; an hour of day -1 is left
// out. A day strays by what yields may be off and by its own luck; of what a visit brought,
// only how it fell on the days before is open.
func (l *lookedBack) sumDays(dayOf []int, days int) []daySum {
	sums, luck := make([]daySum, days), l.bush.Spread()
	for g := range l.brought {
		log, own := l.bush.LogYield(g)
		yield, sd := float64(l.in.Site.Groups[g].Taps)*math.Exp(log), math.Hypot(own, luck)
		mean := math.Exp(luck * luck / 2)
		between, first, visit := make([]float64, 0, 8), 0, -1 // by day from the first on, since the visit before
		flush := func() {
			all, squares := 0.0, 0.0
			for _, litres := range between {
				all += litres
				squares += litres * litres
			}
			for k, litres := range between {
				strays := sd // what ran over is the guess of the model
				if !l.held.entriesOf(g)[visit].Visit.AtLeast && all > 0 {
					strays = luck * math.Sqrt(max(1-2*litres/all+squares/all/all, 0))
				}
				sums[first+k].add(litres, litres, strays)
			}
			between = between[:0]
		}
		for i, litres := range l.brought[g].litres {
			switch {
			case dayOf[i] < 0:
			case math.IsNaN(litres):
				litres = l.strands.flow[g].past[i] * yield
				sums[dayOf[i]].add(litres, litres*mean, sd)
			default:
				if visit != l.brought[g].visit[i] {
					flush()
					visit, first = l.brought[g].visit[i], dayOf[i]
				}
				for len(between) <= dayOf[i]-first {
					between = append(between, 0)
				}
				between[dayOf[i]-first] += litres
			}
		}
		flush()
	}
	return sums
}
