package main

import (
	"math"
	"math/rand/v2"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// keepNotebook invents a crew's records until a moment. A day gives sap when it
// froze before and thaws: more the warmer, up to a point, and less late in the
// season. The crew comes on most evenings with sap, and does not always write.
func keepNotebook(s *weather.Series, zone *time.Location, until time.Time, seed uint64) []records.Visit {
	rng := rand.New(rand.NewPCG(seed, 2))
	groups := []struct {
		id           string
		taps         int
		yield, fullL float64
	}{{"ridge", 60, 1.1, 60 * 7.57}, {"hollow", 30, 0.85, 30 * 11}, {"lane", 140, 1.2, 150 * 3.785}}
	var visits []records.Visit
	start := time.Date(s.Start().Year()+1, 3, 1, 0, 0, 0, 0, zone)
	waiting := map[string]float64{}
	for day := start; ; day = day.AddDate(0, 0, 1) {
		at := time.Date(day.Year(), day.Month(), day.Day(), 17, 30, 0, 0, zone)
		if at.After(until) || day.After(start.AddDate(0, 0, 48)) {
			break
		}
		low, high := math.Inf(1), math.Inf(-1)
		for h := -12; h < 12; h++ {
			t := s.At(weather.TemperatureC, s.Index(day.Add(time.Duration(h+7)*time.Hour)))
			low, high = min(low, t), max(high, t)
		}
		tired := 1 / (1 + math.Exp((day.Sub(start).Hours()/24-36)/4))
		for _, g := range groups {
			if low < -1 && high > 1.5 {
				perTap := g.yield * 0.42 * min(high, 8) * tired * math.Exp(0.4*rng.NormFloat64())
				waiting[g.id] += perTap * float64(g.taps)
			}
			v := records.Visit{Group: g.id, CollectedAt: at, Taps: g.taps, VolumeL: math.NaN(), BrixPct: math.NaN()}
			switch held := waiting[g.id]; {
			case high < -1 && rng.Float64() < 0.1:
				v.Note = "all frozen, not gathered"
			case held > 25 && rng.Float64() < 0.75:
				v.VolumeL = round(min(held, g.fullL), 0)
				if held > g.fullL {
					v.Note = "brim full, some ran over"
				} else if low < -8 && rng.Float64() < 0.3 {
					v.Note = "ice in most of them, left behind"
				}
				if rng.Float64() < 0.35 {
					v.BrixPct = round(2.3-0.012*day.Sub(start).Hours()/24+0.15*rng.NormFloat64(), 1)
				}
				waiting[g.id] = 0
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
