package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/sap"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// strongDayL is a strong day of the site's average tap, litres.
func strongDayL(site *Site, y *yields) float64 {
	sum := 0.0
	for i := range site.Groups {
		g := &site.Groups[i]
		sum += float64(g.Taps) * (volume.UsualStrongDayL * y.mean[i]) * sap.StrongDayGain(g.VacuumKPa)
	}
	return sum / float64(site.Taps())
}

func makeDays(site *Site, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) []Day {
	if len(site.Groups) == 0 {
		return idleDays(e, c)
	}
	taps := float64(site.Taps())
	strong := strongDayL(site, y)
	volumes := dayVolumes(site, flow, c, y.draws)
	windows := dayWindows(site, e, flow, c)
	big, bigOrNext := bigChances(site, e, flow, c, y)
	days := make([]Day, len(c.dates))
	ranBy, by := make([]bool, len(y.draws[0])), 0 // since tomorrow, of each draw
	for d := range days {
		sum, runs := 0.0, 0
		for k, v := range volumes[d] {
			sum += v
			if v < volume.RunDayL*taps {
				continue
			}
			if runs++; d > 0 && !ranBy[k] {
				ranBy[k] = true
				by++
			}
		}
		n := float64(len(volumes[d]))
		day := Day{
			Date:           c.dates[d].Format(time.DateOnly),
			RunProbability: round(float64(runs)/n, 3),
			FlowScore:      int(math.Round(min(100*sum/n/taps/strong, 100))),
			VolumeL:        quantiles(volumes[d]),

			BigProbability: big[d], BigOrNextProbability: bigOrNext[d], RunByProbability: round(float64(by)/n, 3),
		}
		day.Class = classOf(day.VolumeL.P50/taps, strong)
		if day.RunProbability >= windowFrom {
			day.Window = windows[d]
		}
		days[d] = day
	}
	setTemperatures(days, e, c)
	return days
}

// sayWhyStill says of warm days on which no run is likely what holds the sap back: frozen
// wood, or no frost that would have charged it.
func sayWhyStill(days []Day, frozen []float64, c *calendar) {
	const warmC, unlikely, halfFrozen = 4, 0.25, 0.3
	least := make([]float64, len(days))
	for d := range least {
		least[d] = math.Inf(1)
	}
	for h, d := range c.futureDay {
		if d >= 0 && h < len(frozen) {
			least[d] = min(least[d], frozen[h])
		}
	}
	for d := range days {
		day := &days[d]
		switch {
		case day.RunProbability >= unlikely || day.TemperatureC.Max < warmC || math.IsInf(least[d], 1):
		case least[d] >= halfFrozen:
			day.Why = StillFrozen
		default:
			day.Why = NoFrost
		}
	}
}

// idleDays are the days of a bush without taps: only their weather.
func idleDays(e *weather.Ensemble, c *calendar) []Day {
	days := make([]Day, len(c.dates))
	for d := range days {
		days[d] = Day{Date: c.dates[d].Format(time.DateOnly), Class: Still}
	}
	setTemperatures(days, e, c)
	return days
}

// windowFrom is the probability of a run from which its hours are worth saying.
const windowFrom = 0.15

func classOf(perTapL, strong float64) Class {
	switch {
	case perTapL >= 0.7*strong:
		return StrongRun
	case perTapL >= volume.RunDayL:
		return Run
	case perTapL >= 0.1:
		return Trickle
	}
	return Still
}

// dayVolumes sums the site's flow by day and draw, litres.
func dayVolumes(site *Site, flow []groupFlow, c *calendar, draws []groupDraws) [][]float64 {
	count := len(draws[0])
	volumes := make([][]float64, len(c.dates))
	for d := range volumes {
		volumes[d] = make([]float64, count)
	}
	for _, kind := range kindsOf(flow) {
		byDay := flow[kind[0]].byDay(c)
		for _, g := range kind {
			taps := float64(site.Groups[g].Taps)
			for k, factors := range draws[g] {
				for d, q := range byDay[k/drawsPerMember] {
					volumes[d][k] += taps * q * factors[d]
				}
			}
		}
	}
	return volumes
}

// dayWindows finds the hours of each day's run: the stretch that gives most,
// made of hours with at least a fifth of the day's best one, as medians over
// the members in which anything runs.
func dayWindows(site *Site, e *weather.Ensemble, flow []groupFlow, c *calendar) []*Window {
	hours := e.Past.Hours()
	back := hours - min(c.pastFrom, hours) // hours of today that are past
	mean := make([]float64, back+e.Futures[0].Hours())
	firsts, lasts := make([][]int, len(c.dates)), make([][]int, len(c.dates))
	kinds := kindsOf(flow)
	for m := range e.Futures {
		clear(mean)
		for _, kind := range kinds {
			taps, g := 0, kind[0]
			for _, of := range kind {
				taps += site.Groups[of].Taps
			}
			w, before := float64(taps)/float64(site.Taps()), flow[g].before(m)
			for i := range back {
				mean[i] += w * before[hours-back+i]
			}
			for h, q := range flow[g].futures[m] {
				mean[back+h] += w * q
			}
		}
		for from := 0; from < len(mean); {
			d, to := 0, from+1
			if from >= back {
				d = c.futureDay[from-back]
			}
			for to < len(mean) && (to < back || c.futureDay[to-back] == d) {
				to++
			}
			if first, last, any := mainStretch(mean[from:to]); any && d >= 0 {
				firsts[d] = append(firsts[d], from+first-back)
				lasts[d] = append(lasts[d], from+last-back)
			}
			from = to
		}
	}
	windows := make([]*Window, len(c.dates))
	for d := range windows {
		n := len(firsts[d])
		if n == 0 {
			continue
		}
		slices.Sort(firsts[d])
		slices.Sort(lasts[d])
		start, end := firsts[d][n/2], lasts[d][n/2]
		windows[d] = &Window{
			Start: e.Futures[0].Time(start).In(c.zone),
			End:   e.Futures[0].Time(max(end, start) + 1).In(c.zone),
		}
	}
	return windows
}

// mainStretch is the run of hours that gives most, of those with at least a
// fifth of the best hour; breaks of up to two hours do not end it.
func mainStretch(flow []float64) (first, last int, found bool) {
	const leastLPerHour, share, pause = 0.02, 0.2, 2
	bound := max(share*slices.Max(flow), leastLPerHour)
	best, sum := 0.0, 0.0
	start, end := -1, -1
	for i, q := range flow {
		if q < bound {
			continue
		}
		if start < 0 || i-end > pause+1 {
			start, sum = i, 0
		}
		end, sum = i, sum+q
		if sum > best {
			first, last, found, best = start, end, true, sum
		}
	}
	return first, last, found
}

// setTemperatures finds each day's lowest and highest hour, as medians over the members,
// and how many of its hours are known.
func setTemperatures(days []Day, e *weather.Ensemble, c *calendar) {
	lows, highs := make([][]float64, len(c.dates)), make([][]float64, len(c.dates))
	for m := range e.Futures {
		low, high := make([]float64, len(c.dates)), make([]float64, len(c.dates))
		count := make([]int, len(c.dates))
		see := func(d int, t float64) {
			if count[d] == 0 || t < low[d] {
				low[d] = t
			}
			if count[d] == 0 || t > high[d] {
				high[d] = t
			}
			count[d]++
		}
		for i := c.pastFrom; i < e.Past.Hours(); i++ {
			see(0, e.Past.At(weather.TemperatureC, i))
		}
		for h, d := range c.futureDay {
			if d >= 0 {
				see(d, e.Futures[m].At(weather.TemperatureC, h))
			}
		}
		for d := range days {
			if count[d] > 0 {
				lows[d], highs[d] = append(lows[d], low[d]), append(highs[d], high[d])
				days[d].Hours = count[d]
			}
		}
	}
	for d := range days {
		days[d].TemperatureC = MinMax{round(quantiles(lows[d]).P50, 1), round(quantiles(highs[d]).P50, 1)}
	}
}
