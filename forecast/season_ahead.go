package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/season"
)

// seasonAhead adds to a season what is still to come of it, for each group and in all.
func seasonAhead(in *Inputs, p *Prospect, y *yields, turns *turning, s *Season) {
	s.Groups, s.Warmth = []GroupSeason{}, warmthOf(turns)
	if in.Now.Month() > time.May || s.Stage == season.Closed {
		return
	}
	var r *rest
	if inSeason(in.Now, s) {
		r = restOf(in, p, y, turns)
		s.Sap = r.sapOf(in, p)
	}
	weights := p.bush.Weights()
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		if !group.Pulled.IsZero() {
			continue
		}
		one := turns.group(g, s)
		aged, from := 0.0, 0
		tapped := in.tapped(group)
		if tapped {
			aged = p.strands.agedOf(g, weights)
			days, left := int(in.Now.Sub(group.Tapped).Hours()/24), round(group.hole().Ageing(aged), 2)
			one.HoleDays, one.HoleLeft = &days, &left
		} else if r != nil && group.Tapped.After(in.Now) {
			from = max(r.dayOf(group.Tapped), 0)
		}
		if r != nil {
			r.ahead(in, p, g, from, aged, &one)
			if !tapped {
				r.weeks(in, p, g, &one)
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
func (r *rest) ahead(in *Inputs, p *Prospect, g, from int, aged float64, one *GroupSeason) {
	group := &in.Site.Groups[g]
	sums, out := make([]float64, len(r.of)), make([]float64, len(r.days))
	for i := range r.of {
		fresh := r.path(p, g, i)
		sums[i] = float64(group.Taps) * r.factor[g][i] * bored(group.hole(), &fresh, from, aged, r.ends[g][i], out)
	}
	one.ToComeL = tens(quantiles(sums))
}

// tens rounds litres of a season as coarsely as they are known.
func tens(r Range) Range { return Range{round(r.P10, 0), round(r.P50, 0), round(r.P90, 0)} }

// Boring is looked at on so many days a week apart, while sap is likely good for as long.
const tapWeeks = 9

// weeks fills in what boring in each coming week would give.
func (r *rest) weeks(in *Inputs, p *Prospect, g int, one *GroupSeason) {
	group := &in.Site.Groups[g]
	draws := len(r.of)
	var seasons [tapWeeks][]float64
	var early [tapWeeks]float64
	out := make([]float64, len(r.days))
	for i := range r.of {
		fresh := r.path(p, g, i)
		litres := float64(group.Taps) * r.factor[g][i]
		bored(group.hole(), &fresh, 0, 0, r.ends[g][i], out)
		before, d := 0.0, 0
		for w := range seasons {
			for ; d < min(7*w, len(out)); d++ {
				before += litres * out[d]
			}
			early[w] += before / float64(draws)
		}
		scratch := make([]float64, len(out))
		for w := range seasons {
			seasons[w] = append(seasons[w], litres*bored(group.hole(), &fresh, 7*w, 0, r.ends[g][i], scratch))
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

// sapOf adds up the sap of the season, as it came and may come.
func (r *rest) sapOf(in *Inputs, p *Prospect) *SeasonSap {
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
	weights := p.bush.Weights()
	soFar, out := make([]float64, len(r.of)), make([]float64, len(r.days))
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		var past []float64 // of holes that nobody has bored there is none
		aged, bore := 0.0, 0
		if in.tapped(group) || !group.Pulled.IsZero() {
			aged, past = p.strands.agedOf(g, weights), p.strands.pastDays(g, zone, from, in.Now)
		} else if group.Tapped.After(in.Now) {
			bore = max(r.dayOf(group.Tapped), 0)
		}
		taps += float64(group.Taps)
		for i := range r.of {
			litres, last := float64(group.Taps)*r.factor[g][i], r.ends[g][i]
			if !group.Pulled.IsZero() {
				last = -1
			}
			for d, l := range past {
				sums[d][i] += litres * l
				soFar[i] += litres * l
			}
			fresh := r.path(p, g, i)
			bored(group.hole(), &fresh, bore, aged, last, out)
			for d := range out {
				sums[s.Today+d][i] += litres * out[d]
				if d <= last {
					good[s.Today+d] += float64(group.Taps) / float64(len(r.of))
				}
			}
		}
	}
	s.fill(sums, soFar, good, taps)
	return s
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
