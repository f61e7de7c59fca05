package alerts

import (
	"math"
	"time"
)

// Answers tune from which chance a bush's warnings are sent. For warnings of one kind,
//
//	logit(true chance) = a + b logit(said chance)
//	P(yes) = w + (1 - 2w) true chance
//
// a is the bush's own, normal around 0; b = sqrt(1 + sd²/2.89) undoes what averaging over
// a does to the slope, so that over all bushes, and before any answer, what is said is
// what is true (the logistic law as a normal of variance 2.89: probit approximation, from
// memory). It is the recalibration of Cox 1958 ("Two further applications of a model for
// binary regression", Biometrika 45:562, from memory) with a prior. One answer in ten is
// wrong (w); no answer says nothing. The posterior of a is summed on a grid.
//
// The threshold becomes the said chance at which the true one, expected by the answers, is
// what it was meant to be, and more by lean × (how far a has moved, in squares of its
// prior spread): where bushes differ, those that are warned too little give back more hits
// than are lost here, so that hits stay as they were and false alerts fall.
//
// The prior spread is well below what bushes differ by whose yields only handbooks know, as
// measured on the weather of 2015 (CC0, Baumer et al.): 1.7 for overflow, 0.74 for runs;
// records of a few visits leave 0.8 and 0.4. A smaller one lets a single answer move
// little, and leaves a bush that is as it is said to be where it was.
const (
	wrongAnswers = 0.1
	bushSD       = 0.7
	lean         = 0.1
	// Answers of earlier seasons count less: trees stay, yields are learnt.
	halfLife = 365 * 24 * time.Hour
)

// Bounds of tuned thresholds: below, it would chatter; above, it would be silent where
// sap is lost.
const (
	overflowLeast, overflowMost = 0.25, 0.8
	runLeast, runMost           = 0.2, 0.5
)

// TaughtSince is from when on verdicts are asked for to tune thresholds: older ones weigh
// too little.
func TaughtSince(now time.Time) time.Time { return now.AddDate(-3, 0, 0) }

// Tuned are the thresholds for a bush whose people have answered questions. What the
// settings chose stays.
func (t Thresholds) Tuned(verdicts []Verdict, now time.Time) Thresholds {
	if !t.OverflowChosen {
		t.OverflowProbability = tuned(t.OverflowProbability, overflowLeast, overflowMost, answersOn(Overflow, verdicts, now))
	}
	if !t.RunChosen {
		if run := tuned(t.RunProbability, runLeast, runMost, answersOn(Evening, verdicts, now)); run != t.RunProbability {
			t.AnnounceFrom(run)
		}
	}
	return t
}

// answer is one that teaches: the said chance as a logit, what was answered and how much
// it counts.
type answer struct {
	logit  float64
	yes    bool
	weight float64
}

func answersOn(kind Kind, verdicts []Verdict, now time.Time) []answer {
	var out []answer
	for i := range verdicts {
		v := &verdicts[i]
		if v.Kind != kind || v.Answer == Unanswered || !(v.Chance > 0) {
			continue
		}
		age := max(now.Sub(v.AnsweredAt), 0)
		out = append(out, answer{logit(v.Chance), v.Answer == Yes, math.Exp2(-age.Hours() / halfLife.Hours())})
	}
	return out
}

// tuned is the threshold that answers lead to.
func tuned(threshold, least, most float64, answers []answer) float64 {
	if len(answers) == 0 {
		return threshold
	}
	const points, reach = 41, 3.0 // of the grid, and how many spreads it reaches
	slope := math.Sqrt(1 + bushSD*bushSD/2.89)
	var offset, weight [points]float64
	sum, mean := 0.0, 0.0
	for i := range offset {
		z := reach * (2*float64(i)/(points-1) - 1)
		offset[i] = z * bushSD
		log := -z * z / 2
		for _, a := range answers {
			p := wrongAnswers + (1-2*wrongAnswers)*logistic(offset[i]+slope*a.logit)
			if !a.yes {
				p = 1 - p
			}
			log += a.weight * math.Log(p)
		}
		weight[i] = math.Exp(log)
		sum += weight[i]
		mean += weight[i] * offset[i]
	}
	mean /= sum
	aim := threshold * (1 + lean*min(mean*mean/(bushSD*bushSD), 1))
	expected := func(said float64) float64 {
		p := 0.0
		for i := range offset {
			p += weight[i] / sum * logistic(offset[i]+slope*said)
		}
		return p
	}
	low, high := logit(least), logit(most)
	for range 16 { // the true chance grows with the said one
		if middle := (low + high) / 2; expected(middle) < aim {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Round(100*logistic((low+high)/2)) / 100
}

// logit is the logarithm of the odds, of a chance that is never quite 0 or 1: draws are
// few hundred.
func logit(p float64) float64 {
	const sure = 0.002
	p = min(max(p, sure), 1-sure)
	return math.Log(p / (1 - p))
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
