package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// WhatIf is what one thing more would have changed in a season, litres: worked out by the
// flow of its weather and the yields that it taught.
type WhatIf struct {
	SapL    float64      `json:"sap_l"`   // of the season as it was
	LossL   float64      `json:"loss_l"`  // run over, with the rounds that were made
	Tank    *WhatTank    `json:"tank"`    // nil where there is no tank
	Helper  WhatHelper   `json:"helper"`  // one more, free from eight to six
	Earlier *WhatEarlier `json:"earlier"` // nil where the weather of the week before is not known
}

// WhatTank is one more tank such as there is.
type WhatTank struct {
	Group   string  `json:"group"` // whose tubing ends in it; "" for one that is drawn through the bush
	VolumeL float64 `json:"volume_l"`
	SavesL  float64 `json:"saves_l"` // with the same rounds
}

// WhatHelper is one more person who goes. Rounds are then those of the plan, by somebody
// who knows what comes.
type WhatHelper struct {
	PlanLossL float64 `json:"plan_loss_l"` // by the plan, with the people that there are
	SavesL    float64 `json:"saves_l"`     // of that
}

// WhatEarlier is boring a week earlier.
type WhatEarlier struct {
	GainL float64 `json:"gain_l"` // may be below nothing: the holes are older later
}

const (
	aWeek       = 7 * 24
	oneMoreName = "one more"
	littleShare = 0.001 // of a season's sap: so little is as good as nothing
	retoldEvery = 48    // hours: so often the plan is made anew
	retoldAhead = 72
)

// IfMore works out what one thing more would have changed. It does no I/O; ok is false where
// the weather is not known or nobody had tapped.
func IfMore(in PastInputs) (w WhatIf, ok bool, err error) {
	l, ok, err := lookBack(&in)
	if err != nil || !ok {
		return WhatIf{}, false, err
	}
	flow := l.flowThatCame()
	w.SapL = l.sapL(flow)
	if w.SapL <= 0 {
		return WhatIf{}, false, nil
	}
	lost := l.lostAsGone(&l.in.Site, flow)
	w.LossL = sumOf(lost)
	if more, tank := oneMoreTank(&l.in.Site, lost); tank != nil {
		tank.SavesL = w.LossL - sumOf(l.lostAsGone(&more, flow))
		w.Tank = tank
	}
	w.Helper.PlanLossL = sumOf(l.lostByPlan(&l.in.Site, flow))
	if more := oneMoreHelper(&l.in.Site); w.Helper.PlanLossL >= littleShare*w.SapL {
		w.Helper.SavesL = max(w.Helper.PlanLossL-sumOf(l.lostByPlan(&more, flow)), 0)
	}
	if earlier, known := l.boredEarlier(); known {
		w.Earlier = &WhatEarlier{l.sapL(l.litres(&earlier)) - l.sapL(l.litres(&l.in.Site))}
	}
	return w, true, nil
}

// flowThatCame is what a tap of each group gave by the hour: what visits brought, else by the yields.
func (l *lookedBack) flowThatCame() [][]float64 {
	flow := l.litres(&l.in.Site)
	for g := range flow {
		for i, litres := range l.brought[g].litres {
			if !math.IsNaN(litres) {
				flow[g][i] = litres / float64(l.in.Site.Groups[g].Taps)
			}
		}
	}
	return flow
}

// litres is what a tap of each group would give by the hour, with the yields as they were
// learnt.
func (l *lookedBack) litres(site *Site) [][]float64 {
	s := l.strands
	if site != &l.in.Site {
		e := weather.Ensemble{Past: l.w, PastSuns: weather.Suns(&l.w, site.Place)}
		s = followPast(site, &e, l.strands.offsets)
		s.weigh(l.bush)
	}
	out := make([][]float64, len(site.Groups))
	for g := range out {
		out[g] = make([]float64, l.w.Hours())
		for i, q := range s.flow[g].past {
			out[g][i] = q * l.bush.MeanYield(g)
		}
	}
	return out
}

// boredEarlier is the site with each group bored a week earlier; known is false where the
// weather does not reach back so far.
func (l *lookedBack) boredEarlier() (site Site, known bool) {
	site = l.in.Site
	site.Groups = slices.Clone(site.Groups)
	for g := range site.Groups {
		first := &site.Groups[g].Tapped
		if before := slices.Clone(site.Groups[g].Before); len(before) > 0 {
			site.Groups[g].Before, first = before, &before[0].From
		}
		if site.Groups[g].Untapped {
			continue
		}
		*first = first.Add(-aWeek * time.Hour)
		if i := l.w.Index(*first); i < 0 || i >= l.w.Hours() {
			return site, false
		}
	}
	return site, true
}

// oneMoreTank is the site with one tank more: like the one whose groups lost the most, else
// like the one that is drawn through the bush; nil where there is neither.
func oneMoreTank(site *Site, lost []float64) (Site, *WhatTank) {
	more := *site
	more.Groups = slices.Clone(site.Groups)
	worst := -1
	for g := range more.Groups {
		if more.Groups[g].TankL > 0 && (worst < 0 || lost[g] > lost[worst]) {
			worst = g
		}
	}
	switch {
	case worst >= 0 && (lost[worst] >= 1 || site.Gathering.TankL <= 0):
		id := more.Groups[worst].TankID
		tank := &WhatTank{Group: more.Groups[worst].ID}
		for g := range more.Groups {
			if group := &more.Groups[g]; g == worst || id != "" && group.TankID == id {
				tank.VolumeL += group.TankL
				group.TankL *= 2
			}
		}
		return more, tank
	case site.Gathering.TankL > 0:
		more.Gathering.TankL *= 2
		return more, &WhatTank{VolumeL: site.Gathering.TankL}
	}
	return more, nil
}

// oneMoreHelper is the site with somebody more who may go every day.
func oneMoreHelper(site *Site) Site {
	more := *site
	more.Gathering.Free = slices.Clone(site.Gathering.Free)
	everyDay := func(who string) {
		for day := time.Sunday; day <= time.Saturday; day++ {
			more.Gathering.Free = append(more.Gathering.Free, Free{Who: who, Weekday: day, From: usualFrom, To: usualTo})
		}
	}
	if len(more.Gathering.Free) == 0 {
		everyDay("")
	}
	everyDay(oneMoreName)
	return more
}

// lostAsGone is what ran over of each group with the rounds that were made.
func (l *lookedBack) lostAsGone(site *Site, flow [][]float64) []float64 {
	r := l.retell(site, flow)
	for g := range flow {
		entries := l.held.entriesOf(g)
		for i := range entries {
			last := i == len(entries)-1
			if e := &entries[i]; e.Since >= 0 && (last || entries[i+1].Since == e.To) {
				r.since[g] = min(e.Since, e.To)
				r.empty(g, min(e.To, l.w.Hours()))
			}
		}
	}
	return r.lost
}

// lostByPlan is what runs over of each group with rounds by the plan, made anew every other
// day with the flow known.
func (l *lookedBack) lostByPlan(site *Site, flow [][]float64) []float64 {
	r := l.retell(site, flow)
	first, last := reach(flow)
	for g := range r.since {
		r.since[g] = first
	}
	for h := first; h < last; h += retoldEvery {
		r.follow(h)
	}
	for g := range flow {
		r.empty(g, last)
	}
	return r.lost
}

func (l *lookedBack) retell(site *Site, flow [][]float64) *retold {
	r := &retold{l: l, in: l.in, flow: flow, lost: make([]float64, len(flow)), since: make([]int, len(flow)),
		shares: make([]float64, len(flow))}
	r.in.Site, r.in.Attendance, r.in.Told = *site, nil, Announced{}
	r.in.Site.Gathering.Pinned = nil
	return r
}

// retold is a season lived through again.
type retold struct {
	l      *lookedBack
	in     Inputs
	flow   [][]float64 // a tap, by group and hour
	lost   []float64
	since  []int     // the hour at which each group was emptied
	shares []float64 // of each group, what was emptied of it since
}

func (r *retold) fill(g int) rounds.Fill {
	group := &r.in.Site.Groups[g]
	return rounds.Fill{Taps: group.Taps, ContainerL: group.ContainerL, TankL: group.TankL}
}

// empty is that a group is emptied at an hour.
func (r *retold) empty(g, hour int) {
	gave := sumOf(r.flow[g][r.since[g]:hour])
	fill := r.fill(g)
	r.lost[g] += gave*float64(fill.Taps) - fill.Held(gave)
	r.since[g], r.shares[g] = hour, 0
}

// follow plans from an hour on and makes the rounds up to the next plan.
func (r *retold) follow(from int) {
	w := &r.l.w
	hours := min(retoldAhead, w.Hours()-from)
	e := weather.Ensemble{Past: w.Slice(0, from), Futures: []weather.Series{w.Slice(from, from+hours)}}
	e.Likely = e.Futures[0]
	mean, _ := r.l.bush.Offset()
	e.Futures[0].Warm(mean)
	r.in.Now = w.Time(from)
	var loads []rounds.Load
	for g := range r.flow {
		fill := r.fill(g)
		fill.Start, fill.FlowL, fill.HeldL = r.in.Now, [][]float64{r.flow[g][from : from+hours]},
			[]float64{sumOf(r.flow[g][r.since[g]:from])}
		loads = append(loads, rounds.Load{Fill: fill, AgeUsed: ageOf(&e, r.flow[g][:from], r.since[g])})
	}
	req := planRequest(&r.in, &e, loads, nil, &shelf{})
	req.Daylight = daylight(&r.in.Site, req.Start, hours)
	plan := rounds.PlanRounds(req)
	for i := range plan.Rounds {
		at := w.Index(plan.Rounds[i].Start)
		if at >= from+retoldEvery {
			continue
		}
		for _, load := range plan.Rounds[i].Groups {
			g := slices.IndexFunc(r.in.Site.Groups, func(one Group) bool { return one.ID == load.Group })
			if r.shares[g] += load.Share; r.shares[g] >= nearlyAll {
				r.empty(g, max(at, r.since[g]))
			}
		}
	}
}

// nearlyAll is the share of a group's taps from which all of it counts as emptied.
const nearlyAll = 0.999

// sapL is what all taps gave.
func (l *lookedBack) sapL(flow [][]float64) (litres float64) {
	for g := range flow {
		litres += sumOf(flow[g]) * float64(l.in.Site.Groups[g].Taps)
	}
	return litres
}

// reach is from the first hour in which sap runs to the last.
func reach(flow [][]float64) (first, last int) {
	first = math.MaxInt
	for g := range flow {
		for i, q := range flow[g] {
			if q > 0 {
				first, last = min(first, i), max(last, i+1)
			}
		}
	}
	return min(first, last), last
}

func sumOf(values []float64) (sum float64) {
	for _, v := range values {
		sum += v
	}
	return sum
}
