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
	for g := range in.Site.Groups {
		good := goods[in.Site.Groups[g].Species.Name()]
		var ends []int
		var factors []float64
		for i, course := range r.of {
			u := math.Mod((float64(i)+0.5)*goldenShare, 1)
			end := r.dayOf(good[course].Quantile(u))
			if off[in.Site.Groups[g].Species.Name()] {
				end = -1
			}
			ends = append(ends, end)
			log := 0.0
			of := y.draws[g][i*restEvery]
			for _, f := range of {
				log += math.Log(f) / float64(len(of))
			}
			factors = append(factors, math.Exp(log+spread*spread/2))
		}
		r.ends, r.factor = append(r.ends, ends), append(r.factor, factors)
	}
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
				_, flow := holes.run(p.strands.ends[g][members[k]], in.Site.Groups[g].VacuumKPa, wood[k])
				r.fresh[g][k] = byDays(flow, wood[k], days)
			}
		}
	}
}

// path is what a fresh hole of a group gives on each day, and its ageing, in one draw.
func (r *rest) path(p *Prospect, group, draw int) freshDays {
	return p.strands.fresh[group][draw*restEvery/drawsPerMember].then(&r.fresh[group][r.of[draw]])
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

// pastDays sums what a usual tap gave by local days from a date to now.
func (s *strands) pastDays(group int, zone *time.Location, from time.Time, now time.Time) []float64 {
	w := &s.past[0]
	out := make([]float64, int(math.Round(dateOf(now, zone).Sub(dateOf(from, zone)).Hours()/24))+1)
	first := dateOf(from, zone)
	for i, q := range s.flow[group].past {
		if d := int(math.Round(dateOf(w.Time(i), zone).Sub(first).Hours() / 24)); d >= 0 && d < len(out) {
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
