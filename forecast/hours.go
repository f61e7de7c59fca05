package forecast

import (
	"math"
	"time"

	"thawline/forecast/volume"
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
	// Rain and snow, in mm of water, and the share of the wood that is ice, 0 to 1: medians;
	// none where nobody knows them.
	PrecipitationMM []float64 `json:"precipitation_mm,omitempty"`
	WoodIce         []float64 `json:"wood_ice,omitempty"`
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

func hoursOfOutlook(in *Inputs, e *weather.Ensemble, s *strands, frozen []float64, c *calendar, y *yields, brought gathered) Hours {
	flow := s.flow
	back := min(hoursBack, e.Past.Hours())
	ahead := min(hoursAhead, e.Futures[0].Hours())
	h := Hours{Start: e.Futures[0].Time(-back).In(in.Site.Zone), Now: back}
	add := func(r *HourRange, values []float64, digits int) {
		q := quantiles(values)
		r.P10, r.P50, r.P90 = append(r.P10, round(q.P10, digits)), append(r.P50, round(q.P50, digits)), append(r.P90, round(q.P90, digits))
	}
	first := e.Past.Hours() - back
	yields := yieldsSaid(len(flow), y.bush)
	for i := range back {
		t := e.Past.At(weather.TemperatureC, first+i)
		if math.IsNaN(t) {
			t = 0
		}
		sum, low, high := pastFlow(&in.Site, flow, brought, yields, first+i)
		add(&h.TemperatureC, []float64{t}, 1)
		h.FlowLH.P10, h.FlowLH.P50, h.FlowLH.P90 = append(h.FlowLH.P10, low), append(h.FlowLH.P50, sum), append(h.FlowLH.P90, high)
		h.PrecipitationMM = append(h.PrecipitationMM, orZero(e.Past.At(weather.PrecipitationMM, first+i)))
		h.WoodIce = append(h.WoodIce, round(s.ice[first+i], 2))
	}
	temperatures := make([]float64, len(e.Futures))
	draws := make([]float64, 0, len(y.draws[0])/everyDraw+1)
	kinds, factors := kindsOf(flow), factorsOf(&in.Site, flow, y)
	for i := range ahead {
		for m := range e.Futures {
			temperatures[m] = e.Futures[m].At(weather.TemperatureC, i)
		}
		draws = draws[:0]
		for d := 0; d < len(y.draws[0]); d += everyDraw {
			sum := 0.0
			for k, kind := range kinds {
				if day := c.futureDay[i]; day >= 0 {
					sum += flow[kind[0]].futures[d/drawsPerMember][i] * factors[k][d/everyDraw][day]
				}
			}
			draws = append(draws, sum)
		}
		add(&h.TemperatureC, temperatures, 1)
		add(&h.FlowLH, draws, 2)
		for m := range e.Futures {
			temperatures[m] = orZero(e.Futures[m].At(weather.PrecipitationMM, i))
		}
		h.PrecipitationMM = append(h.PrecipitationMM, round(quantiles(temperatures).P50, 1))
		h.WoodIce = append(h.WoodIce, round(frozen[i], 2))
	}
	return h
}

// factorsOf are what all taps that run alike give for a usual tap's litre: by kind, draw of
// those that are looked at, and day.
func factorsOf(site *Site, flow []groupFlow, y *yields) [][][]float64 {
	kinds := kindsOf(flow)
	out := make([][][]float64, len(kinds))
	for k, kind := range kinds {
		for d := 0; d < len(y.draws[0]); d += everyDraw {
			sums := make([]float64, len(y.draws[0][d]))
			for _, g := range kind {
				taps := float64(site.Groups[g].Taps)
				for day, factor := range y.draws[g][d] {
					sums[day] += taps * factor
				}
			}
			out[k] = append(out[k], sums)
		}
	}
	return out
}

// orZero is a value, or 0 where nobody knows it.
func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return round(v, 1)
}

// said are what a group's yield most likely is, and by how much less and more it may be:
// four times in five.
type said struct{ mid, low, high float64 }

func yieldsSaid(groups int, bush *volume.Bush) []said {
	const fourInFive = 1.2816 // standard deviations
	out := make([]said, groups)
	for g := range out {
		log, sd := bush.LogYield(g)
		out[g] = said{math.Exp(log), math.Exp(-fourInFive * sd), math.Exp(fourInFive * sd)}
	}
	return out
}

// pastFlow is what all taps gave in an hour of the past, litres: what visits brought, and
// else what visits have taught of the yields, with how far that may be off four times in
// five.
func pastFlow(site *Site, flow []groupFlow, brought gathered, yields []said, hour int) (mid, low, high float64) {
	for g := range flow {
		if known := brought[g].litres[hour]; !math.IsNaN(known) {
			mid, low, high = mid+known, low+known, high+known
			continue
		}
		litres := float64(site.Groups[g].Taps) * flow[g].past[hour] * yields[g].mid
		mid, low, high = mid+litres, low+litres*yields[g].low, high+litres*yields[g].high
	}
	return round(mid, 2), round(low, 2), round(high, 2)
}
