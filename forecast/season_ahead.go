package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/sap"
	"thawline/forecast/season"
	"thawline/forecast/volume"
)

// seasonAhead adds to a season what is still to come of it, for each group and in all.
func seasonAhead(in *Inputs, p *Prospect, y *yields, turns *turning, brought gathered, s *Season) {
	s.Groups, s.Warmth = []GroupSeason{}, warmthOf(turns)
	if in.Now.Month() > time.May || s.Stage == season.Closed {
		return
	}
	var r *rest
	if inSeason(in.Now, s) {
		r = restOf(in, p, y, turns)
		s.Sap = r.sapOf(in, p, brought)
	}
	weights := p.bush.Weights()
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		if !group.Pulled.IsZero() {
			continue
		}
		one := turns.group(g, s)
		tapped := in.tapped(group)
		if tapped {
			aged := p.strands.agedOf(g, weights)
			days, left := int(in.Now.Sub(group.Tapped).Hours()/24), round(group.hole().Ageing(aged), 2)
			one.HoleDays, one.HoleLeft = &days, &left
		}
		if r != nil {
			coming := r.comingOf(in, p, g)
			r.ahead(in, coming, g, &one)
			if !tapped {
				r.weeks(in, coming, g, &one)
			}
		}
		switch {
		case !tapped:
		case r == nil || one.OffChance >= season.OverAt || one.ToComeL.P90 < group.runDaysL(1):
			one.Taps = PullNow
		case one.ToComeL.P50 < group.runDaysL(2):
			one.Taps = PullSoon
		default:
			one.Taps = LeaveIn
		}
		s.Groups = append(s.Groups, one)
	}
}

// tapped reports whether the taps of a group are known to be in.
func (in *Inputs) tapped(g *Group) bool {
	return !g.Tapped.IsZero() && !g.Tapped.After(in.Now) && in.Now.Sub(g.Tapped) < 200*24*time.Hour
}

// group is what is known of a group's season without its litres.
func (t *turning) group(g int, s *Season) GroupSeason {
	group := &t.in.Site.Groups[g]
	of := group.Species.Name()
	good, _ := t.usual(of)
	one := GroupSeason{Group: group.ID, Species: string(of), Buds: t.leaves(of), OffChance: round(good.By(t.here), 2),
		TapWeeks: []TapWeek{}}
	if one.OffChance < season.OverAt && s.Stage != season.Over { // then no date lies in the past
		good = good.After(t.here.AddDate(0, 0, -1))
	}
	one.End = datesOf(good.End())
	now, measured := t.sugar.brix(g)
	half := max(good.Quantile(0.5).Sub(t.here).Hours()/24/2, 0)
	days := t.in.daysTapped()
	then, sd := now*boil.BrixBySeason(days+half)/boil.BrixBySeason(days), maple.Of(of).SugarLogSD
	if measured {
		sd = measuredLogSD
	}
	wide := math.Exp(tenthSigma * sd)
	one.Brix = Range{round(then/wide, 1), round(then, 1), round(then*wide, 1)}
	return one
}

// Sap that was measured lately strays so far from that, as a logarithm (common practice),
// and one time in ten a normal law lies so many standard deviations below its middle.
const (
	measuredLogSD = 0.08
	tenthSigma    = 1.2816
)

// ahead fills in what a group gives from now on.
func (r *rest) ahead(in *Inputs, k *toCome, g int, one *GroupSeason) {
	sums := make([]float64, len(r.of))
	for i := range r.of {
		sums[i] = float64(in.Site.Groups[g].Taps) * r.factor[g][i] * k.sums[i]
	}
	one.ToComeL = tens(quantiles(sums))
}

// tens rounds litres of a season as coarsely as they are known.
func tens(r Range) Range { return Range{round(r.P10, 0), round(r.P50, 0), round(r.P90, 0)} }

// Boring is looked at on so many days a week apart, while sap is likely good for as long.
const tapWeeks = 9

// boring is what a usual tap gives until its sap turns, litres: in each coming week before
// a hole that is bored today, and of a hole that is bored then.
type boring struct{ before, season [tapWeeks]float64 }

// borings fills in what boring in each coming week would give, once for groups that run
// alike.
func (r *rest) borings(hole *sap.Parameters, k *toCome, ends []int) []boring {
	if k.borings != nil {
		return k.borings
	}
	k.borings = make([]boring, len(r.of))
	out, scratch := make([]float64, len(r.days)), make([]float64, len(r.days))
	for i := range k.borings {
		b := &k.borings[i]
		bored(hole, &k.paths[i], 0, 0, ends[i], out)
		before, d := 0.0, 0
		for w := range tapWeeks {
			for ; d < min(7*w, len(out)); d++ {
				before += out[d]
			}
			b.before[w], b.season[w] = before, bored(hole, &k.paths[i], 7*w, 0, ends[i], scratch)
		}
	}
	return k.borings
}

// weeks fills in what boring in each coming week would give.
func (r *rest) weeks(in *Inputs, k *toCome, g int, one *GroupSeason) {
	group := &in.Site.Groups[g]
	draws := len(r.of)
	var seasons [tapWeeks][]float64
	var early [tapWeeks]float64
	for i, b := range r.borings(group.hole(), k, r.ends[g]) {
		litres := float64(group.Taps) * r.factor[g][i]
		for w := range seasons {
			early[w] += litres * b.before[w] / float64(draws)
			seasons[w] = append(seasons[w], litres*b.season[w])
		}
	}
	best, most := 0, 0.0
	for w := range seasons {
		if 7*w >= len(r.days) || w > 0 && r.days[7*w].Format(time.DateOnly) > one.End.P50 {
			break
		}
		gains, mean, whole := make([]float64, draws), 0.0, 0.0
		for i, litres := range seasons[w] {
			gains[i] = seasons[0][i] - litres
			mean, whole = mean+gains[i]/float64(draws), whole+litres/float64(draws)
		}
		if whole > most {
			best, most = w, whole
		}
		one.TapWeeks = append(one.TapWeeks,
			TapWeek{On: r.days[7*w].Format(time.DateOnly), SeasonL: tens(quantiles(seasons[w])), GainL: tens(quantiles(gains)),
				EarlyL: round(early[w], 0), LaterL: round(early[w]-mean, 0)})
	}
	on := one.TapWeeks[best].On
	one.TapOn = &on
}

// sapOf adds up the sap of the season, as it came, what visits brought and else by the
// weather, and as it may come.
func (r *rest) sapOf(in *Inputs, p *Prospect, brought gathered) *SeasonSap {
	zone := in.Site.Zone
	start := p.ensemble.Past.Start()
	from, whole := in.Now, true
	for g := range in.Site.Groups {
		for _, spell := range in.Site.Groups[g].spells() {
			if t := spell.From; !t.IsZero() && t.Before(from) && in.Now.Sub(t) < 200*24*time.Hour {
				from = t
			}
		}
	}
	if from.Before(start) {
		whole = start.Sub(from) < 36*time.Hour
		from = start
	}
	first := dateOf(from, zone)
	s := &SeasonSap{Whole: whole, From: first.Format(time.DateOnly), Today: int(math.Round(dateOf(in.Now, zone).Sub(first).Hours() / 24))}
	sums := make([][]float64, s.Today+len(r.days))
	for d := range sums {
		sums[d] = make([]float64, len(r.of))
	}
	good, taps := make([]float64, len(sums)), 0.0
	soFar, pastDays := make([]float64, len(r.of)), p.strands.pastDays(zone, from)
	for _, kind := range kindsOf(p.strands.flow) {
		if in.Site.Groups[kind[0]].Untapped {
			continue
		}
		coming := r.comingOf(in, p, kind[0])
		ofKind, litres := 0.0, make([]float64, len(r.of))
		for _, g := range kind {
			group := &in.Site.Groups[g]
			ofKind += float64(group.Taps)
			var past, known []float64 // of holes that nobody has bored there is none
			if in.tapped(group) || !group.Pulled.IsZero() {
				open, sure := toldApart(p.strands.flow[g].past, brought[g].litres)
				past, known = sumByDay(open, pastDays, s.Today+1), sumByDay(sure, pastDays, s.Today+1)
			}
			yields := yieldsOf(p.bush, g, past, r.factor[g])
			for i, factor := range r.factor[g] {
				litres[i] += float64(group.Taps) * factor
				for d, l := range past {
					came := float64(group.Taps)*yields[i]*l + known[d]
					sums[d][i] += came
					soFar[i] += came
				}
			}
		}
		taps += ofKind
		for i := range r.of {
			for d, l := range coming.days[i] {
				sums[s.Today+d][i] += litres[i] * l
			}
			if in.Site.Groups[kind[0]].Pulled.IsZero() {
				for d := range min(r.ends[kind[0]][i]+1, len(r.days)) {
					good[s.Today+d] += ofKind / float64(len(r.of))
				}
			}
		}
	}
	s.fill(sums, soFar, good, taps)
	return s
}

// yieldsOf is what a tap gave for a usual tap's litre on past days of which no visit tells,
// by draw: a draw that is rich in what is to come is so in what came. days are what a usual
// tap gave on each, litres.
func yieldsOf(bush *volume.Bush, group int, days, factors []float64) []float64 {
	_, sd := bush.LogYield(group)
	if sum := sumOf(days); sum > 0 {
		squares := 0.0
		for _, litres := range days {
			squares += litres / sum * litres / sum
		}
		sd = math.Hypot(sd, bush.Spread()*math.Sqrt(squares))
	}
	order := make([]int, len(factors))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(factors[a], factors[b]) })
	out := make([]float64, len(factors))
	for rank, i := range order {
		out[i] = bush.MeanYield(group) * math.Exp(sd*distuv.UnitNormal.Quantile((float64(rank)+0.5)/float64(len(order))))
	}
	return out
}

// fill takes the ranges of sums by day and draw.
func (s *SeasonSap) fill(byDay [][]float64, soFar, good []float64, taps float64) {
	running := make([]float64, len(soFar))
	for d := range byDay {
		for i, l := range byDay[d] {
			running[i] += l
		}
		q := tens(quantiles(running))
		s.Days.P10, s.Days.P50, s.Days.P90 = append(s.Days.P10, q.P10), append(s.Days.P50, q.P50), append(s.Days.P90, q.P90)
		if d < s.Today {
			good[d] = taps
		}
		s.Good = append(s.Good, round(good[d]/taps, 2))
	}
	s.SoFarL, s.TotalL = tens(quantiles(soFar)), tens(quantiles(running))
	for i := range running {
		running[i] -= soFar[i]
	}
	s.ToComeL = tens(quantiles(running))
}

// warmthOf is the warmth of the spring so far and to come; nil where it is not known.
func warmthOf(t *turning) *Warmth {
	year := t.here.Year()
	if t.here.Month() < time.February || t.here.Month() > time.May {
		return nil
	}
	from := time.Date(year, 1, season.WarmthFrom, 0, 0, 0, 0, time.UTC)
	today := int(math.Round(dateOf(t.here, t.in.Site.Zone).Sub(from).Hours() / 24))
	soFar, known := season.Warmth(t.known, t.here.AddDate(0, 0, -1))
	if today < 0 || today > 0 && !known {
		return nil
	}
	w := &Warmth{AboveC: season.WarmthAboveC, From: from.Format(time.DateOnly), Today: today, Ended: []WarmthEnd{}}
	if today > 0 {
		w.SoFar = round(soFar, 0)
	}
	b := t.belief(latest(&t.in.Site))
	w.TurnsAt = Range{round(b.Quantile(0.1), 0), round(b.Quantile(0.5), 0), round(b.Quantile(0.9), 0)}
	var all [][]float64
	days := math.MaxInt
	for k := range t.courses {
		sums := season.Warmths(&t.courses[k], year)
		all, days = append(all, sums), min(days, len(sums))
	}
	one := make([]float64, len(all))
	for d := range min(days, warmthDays) {
		for k := range all {
			one[k] = all[k][d]
		}
		q := tens(quantiles(one))
		w.Days.P10, w.Days.P50, w.Days.P90 = append(w.Days.P10, q.P10), append(w.Days.P50, q.P50), append(w.Days.P90, q.P90)
	}
	for _, end := range t.in.Taught.Ends {
		w.Ended = append(w.Ended, WarmthEnd{end.On.In(t.in.Site.Zone).Format(time.DateOnly), round(end.Warmth, 0), end.Censored})
	}
	return w
}

// warmthDays are those from February to the middle of May.
const warmthDays = 104
