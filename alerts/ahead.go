package alerts

import (
	"errors"
	"fmt"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// The kinds that tell of a big run before the evening does.
const (
	LookingAhead Kind = "looking_ahead" // in three days or more
	GetReady     Kind = "get_ready"     // in about two days
)

// Step is one of the steps in which people hear of a run before it comes. First and Last
// are how many days ahead its first likely day may lie, 1 being tomorrow; Send is the
// chance from which it is told, CallOff the one below which it is called off.
type Step struct {
	Kind        Kind
	First, Last int
	Send        float64
	CallOff     float64
}

// Steps is the table of the steps: a big run from afar, a big run in two or three days,
// and any run tomorrow, of which the evening's own rules tell. What lies farther than the
// forecast sees at a place is not told.
func (t *Thresholds) Steps() [3]Step {
	return [3]Step{t.LookingAhead, t.GetReady, {Evening, 1, 1, t.RunProbability, t.CalledOff}}
}

const (
	calledOff = "called_off"
	moved     = "moved"
	// farthest is how many days ahead any step may reach.
	farthest = 7
	// oneDay is the share of a chance below which one of two days is not worth naming;
	// lasts the chance of a day from which a run is expected on it, and surely the one
	// from which it is to last over several days.
	oneDay, lasts, surely = 0.25, 0.5, 0.9
)

// bigRun is a big run that people were told of; its days count from today. A run whose
// people changed their plans once, since it was called off or moved, is left to the
// evening before it.
type bigRun struct {
	from, to int
	told     Decision
	changed  bool
}

// ahead tells of big runs before the evening that announces them: one thing an evening,
// what is called off first, then what is near.
func (r *rules) ahead() {
	if !r.o.Season.Tapped || r.o.Season.Stage == season.Over || r.ended() {
		return
	}
	steps := r.t.Steps()
	before := steps[:2]
	runs, today := r.toldAhead(before)
	if r.err != nil || today || r.callOff(before, runs) || r.announce(&before[1], runs) {
		return
	}
	r.announce(&before[0], runs)
}

// dateIn is the local date so many days from today.
func (r *rules) dateIn(days int) string {
	return r.at.Now.In(r.zone).AddDate(0, 0, days).Format(time.DateOnly)
}

// toldAhead lists the big runs that people were told of and that are not past, the
// farther step first, and reports whether something of the kind was told today.
func (r *rules) toldAhead(steps []Step) (runs []bigRun, today bool) {
	for s := range steps {
		kind := steps[s].Kind
		_, at, told, err := r.memory.Last(r.o.Site, kind, "")
		r.err = errors.Join(r.err, err)
		if !told || r.at.Now.Sub(at) > (farthest+2)*24*time.Hour {
			continue // spares a look for each day
		}
		today = today || at.In(r.zone).Format(time.DateOnly) == r.dateIn(0)
		for from := -readyFor; from <= farthest+1; from++ {
			d, _, told, err := r.memory.Last(r.o.Site, kind, r.dateIn(from))
			r.err = errors.Join(r.err, err)
			if !told {
				continue
			}
			run := bigRun{from: from, to: from, told: d, changed: d.Facts.What != ""}
			if d.Facts.To == r.dateIn(from+1) {
				run.to++
			}
			if run.to >= 0 {
				runs = append(runs, run)
			}
		}
	}
	return runs, today
}

// beside reports whether days are those of a run, or next to them.
func (run *bigRun) beside(from, to int) bool { return run.to >= from-1 && run.from <= to+1 }

// readyFor is how many days after a run those who got ready for it are so still, if it goes
// on: the wood is split, and they are at the pan.
const readyFor = 2

// stillReady reports whether people who got ready for a run need not be told of one that
// begins the day after it, or later with big runs expected on the days between.
func (r *rules) stillReady(run *bigRun, step *Step, from int) bool {
	if step.Kind != GetReady || run.told.Kind != GetReady || run.told.Facts.What == calledOff || from <= run.to || from-run.to > readyFor {
		return false
	}
	for k := max(run.to+1, 0); k < from; k++ {
		if d, known := r.day(r.dateIn(k)); !known || d.BigProbability < lasts {
			return false
		}
	}
	return true
}

// callOff tells that a big run is likely no more, neither on its days nor next to them.
func (r *rules) callOff(steps []Step, runs []bigRun) bool {
	for i := len(runs) - 1; i >= 0; i-- {
		run := &runs[i]
		if run.to < 1 || changedBeside(runs, run.from, run.to) {
			continue
		}
		chance := 0.0
		for k := max(run.from-1, 0); k <= run.to; k++ {
			if d, known := r.day(r.dateIn(k)); known {
				chance = max(chance, d.BigOrNextProbability)
			}
		}
		bound := steps[0].CallOff
		if run.told.Kind == steps[1].Kind {
			bound = steps[1].CallOff
		}
		if chance >= bound {
			continue
		}
		f := run.told.Facts
		why := fmt.Sprintf("chance of a big run %.2f when told, %.2f now, less than %.2f", f.Chance, chance, bound)
		f.What, f.Chance = calledOff, chance
		r.tell(Decision{Kind: run.told.Kind, Key: f.From + ":" + calledOff, Until: r.endOf(f.To).Add(-6 * time.Hour), Facts: f,
			Why: []string{why}})
		return true
	}
	return false
}

func changedBeside(runs []bigRun, from, to int) bool {
	for i := range runs {
		if runs[i].changed && runs[i].beside(from, to) {
			return true
		}
	}
	return false
}

// announce tells of the nearest big run of a step that people do not know of.
func (r *rules) announce(step *Step, runs []bigRun) bool {
	last := min(step.Last, r.o.Source.SeesDays, farthest)
	for k := step.First; k <= last; k++ {
		d, known := r.day(r.dateIn(k))
		if !known || d.BigOrNextProbability < step.Send {
			continue
		}
		from, to := r.likelyDays(k, &d)
		knows, what := r.knows(step, runs, from, to)
		if from > last || knows {
			continue
		}
		r.tell(Decision{Kind: step.Kind, Key: r.dateIn(from), Until: r.endOf(r.dateIn(0)).Add(20 * time.Hour),
			Facts: Facts{What: what, From: r.dateIn(from), To: r.dateIn(to), Chance: d.BigOrNextProbability, Days: r.o.Source.SeesDays},
			Why:   []string{fmt.Sprintf("chance of a big run %.2f, at least %.2f", d.BigOrNextProbability, step.Send)}})
		return true
	}
	return false
}

// likelyDays are a day and the next, or the one of them on which the run comes if it
// comes at all.
func (r *rules) likelyDays(k int, d *forecast.Day) (from, to int) {
	next, known := r.day(r.dateIn(k + 1))
	switch little := oneDay * d.BigOrNextProbability; {
	case !known || next.BigProbability < little:
		return k, k
	case d.BigProbability < little:
		return k + 1, k + 1
	}
	return k, k + 1
}

// knows reports whether people know of a run on such days, from this step or a nearer
// one, or since its one change was told. Where they got ready for the days next to
// these, and none is expected on those any more, it has moved.
func (r *rules) knows(step *Step, runs []bigRun, from, to int) (known bool, what string) {
	if changedBeside(runs, from, to) {
		return true, ""
	}
	for i := range runs {
		run := &runs[i]
		switch {
		case run.told.Kind != step.Kind && run.told.Kind != GetReady:
		case r.joined(run, from, to) || step.Kind != GetReady && run.beside(from, to):
			return true, ""
		case run.beside(from, to) && r.chanceOf(run) < lasts:
			what = moved
		case r.stillReady(run, step, from):
			return true, ""
		}
	}
	return false, what
}

// chanceOf is the chance that a big run comes on its own days, those that are left.
func (r *rules) chanceOf(run *bigRun) float64 {
	d, _ := r.day(r.dateIn(max(run.from, 0)))
	if run.from >= 0 && run.to > run.from {
		return d.BigOrNextProbability
	}
	return d.BigProbability
}

// joined reports whether a run is expected to last to such days, or from them: days that
// it has too are its own.
func (r *rules) joined(run *bigRun, from, to int) bool {
	first, last := run.to, from-1
	if run.from > to {
		first, last = to+1, run.from
	}
	bound := lasts
	if last > first {
		bound = surely
	}
	for k := first; k <= last; k++ {
		if d, known := r.day(r.dateIn(k)); !known || d.BigProbability < bound {
			return false
		}
	}
	return true
}
