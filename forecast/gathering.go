package forecast

import (
	"slices"
	"time"

	"thawline/forecast/parallel"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// loadsOf is how each group fills over the coming hours; every so many draws
// are taken.
func loadsOf(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields, hours, every int) []rounds.Load {
	loads := make([]rounds.Load, len(in.Site.Groups))
	parallel.Each(len(loads), func(_, g int) {
		var own []float64
		loads[g] = loadOf(in, e, &flow[g], c, y, g, hours, every, &own)
	})
	return loads
}

// loadOf is how one group fills; space, which grows as needed, holds its flow.
func loadOf(in *Inputs, e *weather.Ensemble, flow *groupFlow, c *calendar, y *yields, g, hours, every int, space *[]float64) rounds.Load {
	hours = min(hours, e.Futures[0].Hours())
	group, count := &in.Site.Groups[g], (len(y.draws[g])+every-1)/every
	l := rounds.Load{Fill: rounds.Fill{Taps: group.Taps, ContainerL: group.ContainerL, TankL: group.TankL, Start: e.Futures[0].Start(),
		FlowL: make([][]float64, count), HeldL: make([]float64, count)}, IceL: make([]float64, count)}
	if len(*space) < count*hours {
		*space = make([]float64, count*hours)
	}
	for i := range count {
		d := i * every
		row, future, own := y.draws[g][d], flow.futures[d/drawsPerMember], (*space)[i*hours:(i+1)*hours]
		for h, day := range c.futureDay[:hours] {
			if own[h] = 0; day >= 0 {
				own[h] = future[h] * row[day]
			}
		}
		hangs := &y.hangs[g][flow.of[d/drawsPerMember]].Pail
		l.FlowL[i], l.HeldL[i] = own, (hangs.LiquidL+hangs.IceL)*row[0]
	}
	in.tellLevel(&l, g, flow, y, every)
	for i, held := range l.HeldL {
		hangs := &y.hangs[g][flow.of[i*every/drawsPerMember]]
		if came := hangs.Pail.LiquidL + hangs.Pail.IceL; came > 0 {
			l.IceL[i] = min(hangs.Ice.At(held/came), held)
		}
	}
	l.AgeUsed = ageOf(e, flow.past, y.now[g].EmptiedAt)
	return l
}

// ranFrom is the hour of the past in which the oldest sap in a group's containers ran,
// -1 where none has since they were emptied.
func ranFrom(flow []float64, emptiedAt int) int {
	const some = 0.02 // litres an hour
	for i := max(emptiedAt, 0); emptiedAt >= 0 && i < len(flow); i++ {
		if flow[i] > some {
			return i
		}
	}
	return -1
}

// ageOf is the share of its life that the oldest sap in a group's containers
// has used up.
func ageOf(e *weather.Ensemble, flow []float64, emptiedAt int) float64 {
	used := 0.0
	for i := ranFrom(flow, emptiedAt); i >= 0 && i < len(flow); i++ {
		used += rounds.LifePerHour(e.Past.At(weather.TemperatureC, i), rounds.PailHygiene)
	}
	return used
}

// boilBy is until when the sap that hangs now keeps, nil where there is hardly
// any, and whether it keeps beyond the known weather. Its clock starts in the hour of the past in which the oldest of it ran, and not
// anew with each outlook: sap that has gone bad stays bad.
func boilBy(in *Inputs, e *weather.Ensemble, l *rounds.Load, ran int) (until *time.Time, longer bool) {
	if quantiles(l.HeldL).P50 < 0.1 {
		return nil, false
	}
	const pailLag = 4 // hours; a part-filled pail follows the air (common practice)
	from, airC := e.Likely.Start(), e.Likely.Col(weather.TemperatureC)
	if ran >= 0 {
		from, airC = e.Past.Time(ran), slices.Concat(e.Past.Col(weather.TemperatureC)[ran:], airC)
	}
	bad, longer := knownUntil(rounds.BoilBy(from, 0, airC, pailLag, rounds.PailHygiene), from.Add(time.Duration(len(airC))*time.Hour))
	return local(bad, in.Site.Zone), longer
}

func local(t time.Time, zone *time.Location) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.In(zone)
	return &t
}
