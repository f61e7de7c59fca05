package verify

import (
	"thawline/forecast"
)

// Reach measures how far ahead forecasts tell more than a third of what the usual spring
// leaves open: from how evenings did at each lead, in days, drawn towards how forecasts
// usually do the fewer there are. The zero value knows nothing of a place.
type Reach struct{ lead [len(usualSkill)]leadSum }

// leadSum sums squared errors of chances at one lead, and those of saying the usual.
type leadSum struct{ n, told, usual float64 }

// usualSkill is the Brier skill of the chance of a run one to seven days ahead over the
// share of run days, from the first to the last of them, in replays of six seasons whose
// forecasts err as the archived US ones do, at a bush whose own air nobody has told yet
// (TestLeadTime). Those were measured to two
// days ahead: farther out it rests on how errors are taken to grow.
var usualSkill = [...]float64{0.53, 0.45, 0.36, 0.24, 0.17, 0.15, 0.09}

// usualWeight is how many evenings the usual skill weighs: two seasons, since that of
// one strays by a sixth.
const usualWeight = 90

// leastSkill is what is still worth looking ahead for.
const leastSkill = 1.0 / 3

// Add holds a season's evenings against the days that came, from the first on which sap
// ran to the last.
func (r *Reach) Add(evenings []forecast.Evening, days []forecast.PastDay) {
	came := map[string]float64{}
	first, last, ran := "", "", 0.0
	for _, d := range days {
		if d.Ran {
			if last = d.Date; first == "" {
				first = d.Date
			}
		}
	}
	for _, d := range days {
		if d.Known && d.Date >= first && d.Date <= last {
			came[d.Date] = as01(d.Ran)
			ran += came[d.Date]
		}
	}
	if last == "" {
		return
	}
	usual := ran / float64(len(came))
	for i := range evenings {
		for lead, d := range evenings[i].Days[:min(len(evenings[i].Days), len(r.lead))] {
			if o, known := came[d.Date]; known {
				sum := &r.lead[lead]
				sum.n++
				sum.told += square(d.RunProbability - o)
				sum.usual += square(usual - o)
			}
		}
	}
}

// Skill is the Brier skill at a lead of 1 to 7 days, of the usual and of the evenings
// that were added.
func (r *Reach) Skill(days int) float64 {
	sum := &r.lead[days-1]
	own := 0.0
	if sum.usual > 0 {
		own = 1 - sum.told/sum.usual
	}
	return (usualWeight*usualSkill[days-1] + sum.n*own) / (usualWeight + sum.n)
}

// Days is how many days ahead forecasts tell more than a third, at least 1.
func (r *Reach) Days() int {
	days := 1
	for days < len(r.lead) && r.Skill(days+1) >= leastSkill {
		days++
	}
	return days
}
