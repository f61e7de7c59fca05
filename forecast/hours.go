package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/weather"
)

// Hours are the course of temperature and flow, hour by hour, as pictures need
// it: some past days, which have no range, and the coming week. Flow is that of
// the whole bush.
type Hours struct {
	Start        time.Time `json:"start"`
	Now          int       `json:"now"` // index of the first hour to come
	TemperatureC HourRange `json:"temperature_c"`
	FlowLH       HourRange `json:"flow_l_h"`
}

// HourRange holds one value an hour for the tenth, the half and nine tenths.
type HourRange struct {
	P10 []float64 `json:"p10"`
	P50 []float64 `json:"p50"`
	P90 []float64 `json:"p90"`
}

const (
	hoursBack  = 3 * 24
	hoursAhead = 7 * 24
)

func hoursOfOutlook(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) Hours {
	back := min(hoursBack, e.Past.Hours())
	ahead := min(hoursAhead, e.Futures[0].Hours())
	h := Hours{Start: e.Futures[0].Time(-back).In(in.Site.Zone), Now: back}
	add := func(r *HourRange, values []float64, digits int) {
		q := quantiles(values)
		r.P10, r.P50, r.P90 = append(r.P10, round(q.P10, digits)), append(r.P50, round(q.P50, digits)), append(r.P90, round(q.P90, digits))
	}
	first := e.Past.Hours() - back
	for i := range back {
		t := e.Past.At(weather.TemperatureC, first+i)
		if math.IsNaN(t) {
			t = 0
		}
		sum := 0.0
		for g := range flow {
			log, _ := y.bush.LogYield(g)
			sum += float64(in.Site.Groups[g].Taps) * flow[g].past[first+i] * math.Exp(log)
		}
		add(&h.TemperatureC, []float64{t}, 1)
		add(&h.FlowLH, []float64{sum}, 2)
	}
	temperatures := make([]float64, len(e.Futures))
	draws := make([]float64, 0, len(y.draws[0])/everyDraw+1)
	for i := range ahead {
		for m := range e.Futures {
			temperatures[m] = e.Futures[m].At(weather.TemperatureC, i)
		}
		draws = draws[:0]
		for d := 0; d < len(y.draws[0]); d += everyDraw {
			sum := 0.0
			for g := range flow {
				if day := c.futureDay[i]; day >= 0 {
					sum += float64(in.Site.Groups[g].Taps) * flow[g].futures[d/drawsPerMember][i] * y.draws[g][d][day]
				}
			}
			draws = append(draws, sum)
		}
		add(&h.TemperatureC, slices.Clone(temperatures), 1)
		add(&h.FlowLH, draws, 2)
	}
	return h
}
