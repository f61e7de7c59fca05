package forecast

import (
	"math"
	"time"
)

// JoinHours lays what is to come beside what was, from one moment to another;
// hours that neither knows are NaN, and those at both ends are left out. Either
// may be nil.
func JoinHours(past, ahead *Hours, from, to time.Time) Hours {
	first := from.Truncate(time.Hour)
	n := max(int(to.Sub(first)/time.Hour), 0)
	var out Hours
	out.Start, out.Now = first, n
	known := 0 // hours up to the last known one
	for i := range n {
		at := first.Add(time.Duration(i) * time.Hour)
		t, f, more, found, coming := hourAt(past, ahead, at)
		if coming && i < out.Now {
			out.Now = i
		}
		if !found && len(out.FlowLH.P50) == 0 {
			out.Start = at.Add(time.Hour)
			continue
		}
		add := func(r *HourRange, v [3]float64) {
			r.P10, r.P50, r.P90 = append(r.P10, v[0]), append(r.P50, v[1]), append(r.P90, v[2])
		}
		add(&out.TemperatureC, t)
		add(&out.FlowLH, f)
		out.PrecipitationMM, out.WoodIce = append(out.PrecipitationMM, more[0]), append(out.WoodIce, more[1])
		if found {
			known = len(out.FlowLH.P50)
		}
	}
	skipped := int(out.Start.Sub(first) / time.Hour)
	for _, r := range []*HourRange{&out.TemperatureC, &out.FlowLH} {
		r.P10, r.P50, r.P90 = r.P10[:known], r.P50[:known], r.P90[:known]
	}
	out.PrecipitationMM, out.WoodIce = out.PrecipitationMM[:known], out.WoodIce[:known]
	out.Now = min(max(out.Now-skipped, 0), known)
	if past != nil {
		out.Start = out.Start.In(past.Start.Location())
	} else if ahead != nil {
		out.Start = out.Start.In(ahead.Start.Location())
	}
	return out
}

// hourAt takes an hour from the past, else from the outlook; more is rain or snow and the
// wood's ice.
func hourAt(past, ahead *Hours, at time.Time) (t, f [3]float64, more [2]float64, found, coming bool) {
	nan := [3]float64{math.NaN(), math.NaN(), math.NaN()}
	for _, h := range []*Hours{past, ahead} {
		if h == nil || at.Before(h.Start) {
			continue
		}
		i := int(at.Sub(h.Start) / time.Hour)
		if i >= len(h.FlowLH.P50) || math.IsNaN(h.FlowLH.P50[i]) {
			continue
		}
		t = [3]float64{h.TemperatureC.P10[i], h.TemperatureC.P50[i], h.TemperatureC.P90[i]}
		f = [3]float64{h.FlowLH.P10[i], h.FlowLH.P50[i], h.FlowLH.P90[i]}
		if i < len(h.PrecipitationMM) && i < len(h.WoodIce) {
			more = [2]float64{h.PrecipitationMM[i], h.WoodIce[i]}
		} else {
			more = [2]float64{math.NaN(), math.NaN()} // of an outlook that an older daemon kept
		}
		return t, f, more, true, h == ahead && i >= h.Now
	}
	return nan, nan, [2]float64{math.NaN(), math.NaN()}, false, false
}
