package boil

import (
	"fmt"
	"math"
)

// SugarOutcome is how a batch of granulated sugar came out.
type SugarOutcome string

// The ways in which sugar comes out: taken off too early it stays damp and cakes, too
// late it sets into lumps before it can be stirred (common practice).
const (
	Caked  SugarOutcome = "caked"
	Poured SugarOutcome = "poured"
	Lumps  SugarOutcome = "lumps"
)

// SugarBatch is one that somebody wrote down.
type SugarBatch struct {
	RiseK       float64 // above boiling water, when it left the fire
	HumidityPct float64 // of the room; NaN where nobody knows, and counts as usual
	Outcome     SugarOutcome
}

// FinishPoint is where to take sugar off the fire.
type FinishPoint struct {
	RiseK   float64 // above boiling water
	Batches int     // that it was learnt from; 0 where it is the handbook's
	// Right is the chance that a batch taken off there pours, as far as is known.
	Right float64
}

// What is known of sugar makers' finish points before any batch (common practice; judged
// by invented keepers in the test beside).
const (
	ownPointSD    = 1.0  // K, one keeper from the handbook's middle
	dampPer10Pct  = 0.25 // K higher for each ten per cent of humidity above the usual
	dampSD        = 0.15
	usualHumidity = 50.0
	outcomeSD     = 0.85 // K, from batch to batch
	pourWindowK   = 1.5  // on either side of the point where sugar pours
	fewestBatches = 3
	mostMovedK    = 1.0 // from one batch to the next
	mostOffK      = 4.0 // from the published stage
)

// point is one possible truth of a keeper: how far from the handbook's middle sugar pours,
// and what damp air adds.
type point struct{ offK, dampK float64 }

// LearnFinish says where this keeper's next batch is to be taken off, in a room of a
// humidity, from the batches so far in their order: each possible finish point is weighed
// by how well it tells what they became. Before the third batch it is the handbook's, a
// little higher in damp air; no
// batch moves it by more than a kelvin, and none beyond four from the published stage. An
// error names the batch that can't be right.
func LearnFinish(batches []SugarBatch, humidityPct float64) (FinishPoint, error) {
	for i, b := range batches {
		if !(b.RiseK > sugarRiseK-15 && b.RiseK < sugarRiseK+15) {
			return FinishPoint{}, fmt.Errorf("batch %d left the fire %.1f K above boiling water: sugar is taken off near %.0f", i+1,
				b.RiseK, sugarRiseK)
		}
		if b.Outcome != Caked && b.Outcome != Poured && b.Outcome != Lumps {
			return FinishPoint{}, fmt.Errorf("batch %d came out %q: say caked, poured or lumps", i+1, b.Outcome)
		}
	}
	points, weights := allPoints()
	// As it would have been told before each batch: at first the handbook's, a little higher
	// in air that is damper than usual.
	offK := dampPer10Pct * max(damp(humidityPct), 0)
	for i, b := range batches {
		total := 0.0
		for k, p := range points {
			weights[k] *= likelihood(b, p)
			total += weights[k]
		}
		for k := range weights {
			weights[k] /= total
		}
		if i+1 < fewestBatches {
			continue
		}
		middle := 0.0 // where the window is likeliest to lie about it
		for k, p := range points {
			middle += weights[k] * (p.offK + p.dampK*damp(humidityPct))
		}
		middle = min(max(middle, -mostOffK), mostOffK)
		offK += min(max(middle-offK, -mostMovedK), mostMovedK)
	}
	out := FinishPoint{RiseK: sugarRiseK + offK, Right: chancePours(points, weights, offK, damp(humidityPct))}
	if len(batches) >= fewestBatches {
		out.Batches = len(batches)
	}
	return out, nil
}

// allPoints is the grid with its prior.
func allPoints() (points []point, weights []float64) {
	for off := -mostOffK; off <= mostOffK+0.01; off += 0.4 {
		for d := -0.05; d <= 0.56; d += 0.1 {
			points = append(points, point{off, d})
			weights = append(weights, math.Exp(-off*off/(2*ownPointSD*ownPointSD)-(d-dampPer10Pct)*(d-dampPer10Pct)/(2*dampSD*dampSD)))
		}
	}
	total := 0.0
	for _, w := range weights {
		total += w
	}
	for i := range weights {
		weights[i] /= total
	}
	return points, weights
}

// damp is how far a room's air is from usual, in tens of per cent.
func damp(humidityPct float64) float64 {
	if math.IsNaN(humidityPct) {
		return 0
	}
	return (min(max(humidityPct, 20), 90) - usualHumidity) / 10
}

// likelihood of what became of a batch. One in fifty says nothing: a slip of the pen.
func likelihood(b SugarBatch, p point) float64 {
	z := b.RiseK - sugarRiseK - p.offK - p.dampK*damp(b.HumidityPct)
	caked := phi((-pourWindowK - z) / outcomeSD)
	lumps := phi((z - pourWindowK) / outcomeSD)
	const slip = 0.02
	is := 1 - caked - lumps
	switch b.Outcome {
	case Caked:
		is = caked
	case Lumps:
		is = lumps
	case Poured:
	}
	return slip/3 + (1-slip)*is
}

func chancePours(points []point, weights []float64, offK, dampness float64) float64 {
	sum := 0.0
	for k, p := range points {
		z := offK - p.offK - p.dampK*dampness
		sum += weights[k] * (phi((pourWindowK-z)/outcomeSD) - phi((-pourWindowK-z)/outcomeSD))
	}
	return sum
}
