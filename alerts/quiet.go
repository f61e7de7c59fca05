package alerts

import (
	"fmt"
	"slices"

	"thawline/forecast"
)

const quietDays = 7

// itWorks tells once, after the first evening of a bush, that it is watched.
func (r *rules) itWorks() {
	if r.at.First {
		r.tell(Decision{Kind: ItWorks, Key: "first", Until: r.at.Now.AddDate(0, 0, 2), Why: []string{"the first evening of this bush"}})
	}
}

// notClear is what is said of a week that may well bring a run, though no day of it is likely to.
const notClear = "not_clear"

// quietWeek tells, at most once a week and in an evening without other news, that nothing
// is likely to run, or that no day is, where a run may well come on one of them: who hears nothing
// for long wonders whether anybody is watching. Who was told within the week that it is worth
// tapping knows that somebody is, and who has sap to gather in the coming days hears of that.
func (r *rules) quietWeek() {
	if !r.o.Season.Tapped || len(r.o.Days) <= quietDays || len(r.o.Work.Rounds) > 0 || r.o.Source.AgeHours >= r.t.StaleAfter.Hours() ||
		r.toldWithin(QuietWeek, again) || r.toldWithin(SeasonOpens, again) || slices.ContainsFunc(r.out, r.fresh) {
		return
	}
	best := &r.o.Days[1]
	for i := range r.o.Days[1 : quietDays+1] {
		if d := &r.o.Days[1+i]; d.RunProbability > best.RunProbability {
			best = d
		}
	}
	if best.RunProbability >= r.t.RunProbability {
		return
	}
	week := max(r.o.Days[quietDays].RunByProbability, best.RunProbability)
	f := Facts{Chance: week}
	if v := forecast.VerdictOf(week); v != forecast.Unlikely && v != forecast.WontRun {
		f.What, f.Date = notClear, best.Date
	}
	r.tell(Decision{Kind: QuietWeek, Key: r.today(), Until: r.endOf(r.today()), Facts: f,
		Why: []string{fmt.Sprintf("no day of the next %d has a chance of %.2f, the highest is %.2f; that one of them brings a run: %.2f",
			quietDays, r.t.RunProbability, best.RunProbability, week)}})
}

// fresh reports whether a decision was not made before.
func (r *rules) fresh(d Decision) bool {
	begins := d.Key[len(d.Kind)+1:]
	before, _, told, err := r.memory.Last(r.site, d.Kind, begins)
	if err != nil {
		r.err = err
	}
	return !told || before.Key != d.Key
}
