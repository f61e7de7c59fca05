// Package verify measures how good forecasts are: scores, and backtests on past
// data.
package verify

import (
	"math"
	"slices"
)

// Brier is the mean squared difference between probabilities and what happened
// (1 or 0): 0 is perfect, 0.25 is a coin (Brier 1950). NaN without cases.
func Brier(probability, happened []float64) float64 {
	sum := 0.0
	for i, p := range probability {
		sum += (p - happened[i]) * (p - happened[i])
	}
	return sum / float64(len(probability))
}

// BrierSkill is the part of a reference's Brier score that a forecast takes
// away: 1 is perfect, 0 no better than the reference.
func BrierSkill(probability, reference, happened []float64) float64 {
	return 1 - Brier(probability, happened)/Brier(reference, happened)
}

// Bin is the forecasts whose probabilities lie in one tenth of 0 to 1, and how
// often the event followed.
type Bin struct {
	MeanProbability float64 `json:"mean_probability"`
	Frequency       float64 `json:"frequency"`
	Count           int     `json:"n"`
	// StandardError is the sampling error of Frequency if the probabilities are
	// right.
	StandardError float64 `json:"standard_error"`
}

// Reliability sorts forecasts into ten bins by probability; empty bins are left
// out (Murphy 1973).
func Reliability(probability, happened []float64) []Bin {
	const tenths = 10
	var bins [tenths]Bin
	for i, p := range probability {
		b := &bins[min(int(p*tenths), tenths-1)]
		b.MeanProbability += p
		b.Frequency += happened[i]
		b.StandardError += p * (1 - p)
		b.Count++
	}
	var out []Bin
	for _, b := range bins {
		if n := float64(b.Count); n > 0 {
			out = append(out, Bin{b.MeanProbability / n, b.Frequency / n, b.Count, math.Sqrt(b.StandardError) / n})
		}
	}
	return out
}

// ROCArea is the chance that a case with the event got a higher probability
// than one without, ties counting half: 0.5 tells nothing apart. NaN where all
// or none happened.
func ROCArea(probability, happened []float64) float64 {
	order := make([]int, len(probability))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch d := probability[a] - probability[b]; {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	rankSum, events := 0.0, 0.0
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && probability[order[j]] == probability[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			if happened[order[k]] > 0 {
				rankSum += float64(i+j+1) / 2
				events++
			}
		}
		i = j
	}
	return (rankSum - events*(events+1)/2) / (events * (float64(len(order)) - events))
}
