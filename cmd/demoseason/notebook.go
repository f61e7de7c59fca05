package main

import (
	"math"
	"math/rand/v2"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// keepNotebook invents a crew's records until a moment: what the flow gives,
// more in some groups and on lucky days. The crew comes on most evenings with
// sap, and does not always write.
func keepNotebook(s *weather.Series, zone *time.Location, until time.Time, seed uint64) []records.Visit {
	rng := rand.New(rand.NewPCG(seed, 2))
	groups := []struct {
		id           string
		taps         int
		yield, fullL float64
	}{{"ridge", 60, 1.8, 60 * 7.57}, {"hollow", 30, 1.3, 30 * 11}, {"lane", 140, 2, 150 * 3.785}}
	var visits []records.Visit
	start := time.Date(s.Start().Year()+1, 3, 1, 0, 0, 0, 0, zone)
	flow := flowSince(s, start.Add(12*time.Hour))
	pails := map[string]*rounds.Pail{} // of one tap
	for _, g := range groups {
		pails[g.id] = &rounds.Pail{}
	}
	for day := start; ; day = day.AddDate(0, 0, 1) {
		at := time.Date(day.Year(), day.Month(), day.Day(), 17, 30, 0, 0, zone)
		if at.After(until) || day.After(start.AddDate(0, 0, 48)) {
			break
		}
		luck := 0.4 * rng.NormFloat64()
		for _, g := range groups {
			yield := g.yield * math.Exp(luck+0.15*rng.NormFloat64())
			for i := max(s.Index(at)-24, 0); i < s.Index(at); i++ {
				pails[g.id].Hour(yield*flow[i], rounds.Melts(s.At(weather.TemperatureC, i)))
			}
			v := records.Visit{Group: g.id, CollectedAt: at, Taps: g.taps, VolumeL: math.NaN(), BrixPct: math.NaN()}
			switch held := pails[g.id].LiquidL * float64(g.taps); {
			case pails[g.id].IceL > 0.5 && held < 10 && rng.Float64() < 0.4:
				v.Note = "all frozen, not gathered"
			case held > 25 && rng.Float64() < 0.75:
				v.VolumeL = round(min(held, g.fullL), 0)
				if held > g.fullL {
					v.Note = "brim full, some ran over"
				} else if pails[g.id].IceL > 0.3 {
					v.Note = "ice in most of them, left behind"
				}
				if rng.Float64() < 0.35 {
					v.BrixPct = round(2.3-0.012*day.Sub(start).Hours()/24+0.15*rng.NormFloat64(), 1)
				}
				pails[g.id].Empty()
			case held > 5 && rng.Float64() < 0.12:
				v.Note = "not checked"
			default:
				continue
			}
			visits = append(visits, v)
		}
	}
	return visits
}

// flowSince is the flow of a usual tap under the demonstration's canopy, litres
// an hour, bored at a moment.
func flowSince(s *weather.Series, bored time.Time) []float64 {
	tree := trunk.NewTree(0.33, trunk.Exposed(trunk.Closed, 180), place)
	state := tree.Rest(s.At(weather.TemperatureC, 0))
	wood := make([]trunk.Hour, s.Hours())
	tree.Run(&state, s, weather.Suns(s, place), wood)
	flow := make([]float64, len(wood))
	from := s.Index(bored)
	tap := sap.Begin(wood)
	sap.Usual.Run(&tap, wood[:from], 0, flow[:from])
	tap.WarmHours = 0
	sap.Usual.Run(&tap, wood[from:], 0, flow[from:])
	return flow
}
