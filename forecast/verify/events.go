package verify

import "math"

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

// BrierParts is Murphy's decomposition of the Brier score over the distinct
// probabilities that were given: score = Reliability - Resolution +
// Uncertainty (Murphy 1973).
type BrierParts struct {
	Reliability float64 `json:"reliability"`
	Resolution  float64 `json:"resolution"`
	Uncertainty float64 `json:"uncertainty"`
}

// DecomposeBrier splits the Brier score of forecasts, each distinct probability
// a class of its own.
func DecomposeBrier(probability, happened []float64) BrierParts {
	type class struct{ n, events float64 }
	classes := map[float64]*class{}
	n, base := float64(len(probability)), 0.0
	for i, p := range probability {
		if classes[p] == nil {
			classes[p] = &class{}
		}
		classes[p].n++
		classes[p].events += happened[i]
		base += happened[i] / n
	}
	parts := BrierParts{Uncertainty: base * (1 - base)}
	for p, c := range classes {
		seen := c.events / c.n
		parts.Reliability += c.n / n * (p - seen) * (p - seen)
		parts.Resolution += c.n / n * (seen - base) * (seen - base)
	}
	return parts
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
// than one without, ties counting half: 0.5 tells nothing apart (Mann and
// Whitney's statistic). NaN where all or none happened.
func ROCArea(probability, happened []float64) float64 {
	rankSum, events := 0.0, 0.0
	for i, r := range ranks(probability) {
		if happened[i] > 0 {
			rankSum += r
			events++
		}
	}
	return (rankSum - events*(events+1)/2) / (events * (float64(len(probability)) - events))
}
