package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/sap"
	"thawline/forecast/season"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// rest is the sap that is to come until the season's end, day by day from today: that of
// the members as far as the forecast reaches, and then of some courses that the spring may
// take, with each of which some members go.
type rest struct {
	days    []time.Time
	courses []weather.Daily
	fresh   [][]freshDays // by group and course, the days after the calendar's
	of      []int         // the course of each draw
	ends    [][]int       // by group and draw: the last of the days on which its sap is good
	factor  [][]float64   // by group and draw: what a tap gives for a usual tap's litre
	coming  []*toCome     // by the first of the groups that run alike; nil until it is asked for
}

// restCourses are as many as stems are followed abreast, and restDraws every how manieth
// draw of the yields counts.
const (
	restCourses = 8
	restEvery   = 4
	lastChance  = 0.98 // of the sap to have turned: no day after it is looked at
)

// inSeason reports whether what is to come of a season's sap is worth saying.
func inSeason(now time.Time, s *Season) bool {
	return now.Month() <= time.May && s.Stage != season.Over && s.Stage != season.Closed
}

// restOf follows the season to its end.
func restOf(in *Inputs, p *Prospect, y *yields, turns *turning) *rest {
	c := p.calendar
	r := &rest{days: slices.Clone(c.dates)}
	goods, latest, off := map[maple.Species][]season.Dates{}, c.dates[0], map[maple.Species]bool{}
	for k := range restCourses {
		r.courses = append(r.courses, turns.courses[k*len(turns.courses)/restCourses])
	}
	for g := range in.Site.Groups {
		of := in.Site.Groups[g].Species.Name()
		for k := range r.courses {
			if len(goods[of]) <= k {
				good, tasted := turns.of(of, r.courses[k:k+1])
				goods[of], off[of] = append(goods[of], good), !tasted.IsZero()
				if last := good.Quantile(lastChance); last.After(latest) {
					latest = last
				}
			}
		}
	}
	for next := r.days[len(r.days)-1]; next.Before(latest); {
		year, month, day := next.Date()
		next = firstMoment(year, month, day+1, c.zone)
		r.days = append(r.days, next)
	}
	r.run(in, p)
	draws := len(y.draws[0])
	spread := y.bush.Spread()
	for k := 0; k < draws; k += restEvery {
		r.of = append(r.of, k/drawsPerMember*restCourses/max(len(p.ensemble.Futures), 1))
	}
	endsOf := map[maple.Species][]int{}
	for of, good := range goods {
		for i, course := range r.of {
			end := -1
			if u := math.Mod((float64(i)+0.5)*goldenShare, 1); !off[of] {
				end = r.dayOf(good[course].Quantile(u))
			}
			endsOf[of] = append(endsOf[of], end)
		}
	}
	for g := range in.Site.Groups {
		var factors []float64
		for i := range r.of {
			log := 0.0
			of := y.draws[g][i*restEvery]
			for _, f := range of {
				log += math.Log(f) / float64(len(of))
			}
			factors = append(factors, math.Exp(log+spread*spread/2))
		}
		r.ends, r.factor = append(r.ends, endsOf[in.Site.Groups[g].Species.Name()]), append(r.factor, factors)
	}
	r.coming = make([]*toCome, len(in.Site.Groups))
	return r
}

// goldenShare spreads a few numbers evenly (the golden ratio).
const goldenShare = 0.6180339887498949

// dayOf is the index of a date among the days, -1 for one that is past.
func (r *rest) dayOf(date time.Time) int {
	n := slices.IndexFunc(r.days, func(d time.Time) bool { return d.After(date) })
	if n < 0 {
		n = len(r.days)
	}
	return n - 1
}

// run follows trees and taps through the courses, from where members end.
func (r *rest) run(in *Inputs, p *Prospect) {
	from, after := p.ensemble.Futures[0].End(), len(p.calendar.dates)
	r.fresh = make([][]freshDays, len(in.Site.Groups))
	for g := range r.fresh {
		r.fresh[g] = make([]freshDays, len(r.courses))
	}
	if after >= len(r.days) {
		return
	}
	year, month, day := r.days[len(r.days)-1].Date()
	to := firstMoment(year, month, day+1, p.calendar.zone)
	warmer, _ := p.bush.Offset()
	courses, members := make([]weather.Daily, len(r.courses)), make([]int, len(r.courses))
	for k := range r.courses {
		courses[k] = r.courses[k].Between(from.AddDate(0, 0, -2), to.AddDate(0, 0, 2))
		members[k] = k * len(p.ensemble.Futures) / len(r.courses)
	}
	air, suns := weather.HourlyAlike(courses, in.Site.Place, from, to)
	for k := range air {
		air[k].Warm(warmer)
	}
	days := &calendar{zone: p.calendar.zone, dates: r.days[after:], end: to}
	for i := range air[0].Hours() {
		days.futureDay = append(days.futureDay, days.dayOf(air[0].Time(i)))
	}
	for i := range p.strands.stands {
		stand := &p.strands.stands[i]
		states, wood := make([]trunk.State, len(air)), make([][]trunk.Hour, len(air))
		for k := range air {
			states[k], wood[k] = stand.ends[members[k]].Clone(), make([]trunk.Hour, air[k].Hours())
		}
		stand.tree.Coarse().RunMembers(states, air, suns, wood)
		for k := range air {
			holes := make(freshHoles, 1)
			for _, g := range stand.groups {
				if first := p.strands.flow[g].alike; first != g {
					r.fresh[g] = r.fresh[first]
					continue
				}
				_, flow := holes.run(p.strands.ends[g][members[k]], in.Site.Groups[g].VacuumKPa, wood[k])
				r.fresh[g][k] = byDays(flow, wood[k], days)
			}
		}
	}
}

// toCome is what is to come from a usual tap of groups that run alike, by draw, litres: what
// a fresh hole gives on each day and its ageing, what theirs do, day by day and in all.
type toCome struct {
	paths   []freshDays
	days    [][]float64
	sums    []float64
	borings []boring // nil until they are asked for
}

// comingOf is what is to come from a usual tap of a group.
func (r *rest) comingOf(in *Inputs, p *Prospect, g int) *toCome {
	first := p.strands.flow[g].alike
	if r.coming[first] != nil {
		return r.coming[first]
	}
	group, from, aged := &in.Site.Groups[g], 0, 0.0
	if in.tapped(group) {
		aged = p.strands.agedOf(g, p.bush.Weights())
	} else if group.Tapped.After(in.Now) {
		from = max(r.dayOf(group.Tapped), 0)
	}
	k := &toCome{sums: make([]float64, len(r.of))}
	for i, course := range r.of {
		k.paths = append(k.paths, p.strands.fresh[g][i*restEvery/drawsPerMember].then(&r.fresh[g][course]))
		out, last := make([]float64, len(r.days)), r.ends[g][i]
		if !group.In() {
			last = -1
		}
		k.sums[i] = bored(group.hole(), &k.paths[i], from, aged, last, out)
		k.days = append(k.days, out)
	}
	r.coming[first] = k
	return k
}

// bored is what a tap of a group gives day by day in a draw if its hole is bored on one of
// the days, or has aged so many warm hours already, until its sap turns.
func bored(hole *sap.Parameters, fresh *freshDays, from int, aged float64, last int, out []float64) (sum float64) {
	clear(out)
	for d := from; d <= min(last, len(out)-1); d++ {
		out[d] = fresh.litres[d] * hole.Ageing(aged+fresh.warmHours[d]/2)
		aged += fresh.warmHours[d]
		sum += out[d]
	}
	return sum
}

// agedOf is how far the holes of a group have aged, warm hours, most likely.
func (s *strands) agedOf(group int, weights []float64) float64 {
	sum := 0.0
	for n := range s.taps[group] {
		sum += weights[n] * s.taps[group][n].WarmHours
	}
	return sum
}

// pastDays are the local days from a date on, 0 and up, of the hours of the past.
func (s *strands) pastDays(zone *time.Location, from time.Time) []int {
	w, first := &s.past[0], dateOf(from, zone)
	days := make([]int, w.Hours())
	for i := range days {
		days[i] = int(math.Round(dateOf(w.Time(i), zone).Sub(first).Hours() / 24))
	}
	return days
}

// sumByDay sums hours by their days, of which there are so many.
func sumByDay(hours []float64, dayOf []int, days int) []float64 {
	out := make([]float64, days)
	for i, q := range hours {
		if d := dayOf[i]; d >= 0 && d < days {
			out[d] += q
		}
	}
	return out
}

// dateOf is a local date at midnight UTC.
func dateOf(t time.Time, zone *time.Location) time.Time {
	year, month, day := t.In(zone).Date()
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

// runDaysL is what a group gives on so many run days.
func (g *Group) runDaysL(days float64) float64 { return days * volume.RunDayL * float64(g.Taps) }
