package verify

import (
	"math"
	"testing"
)

// A worked example of ten forecasts, computed by hand with exact fractions from
// the definitions (Brier 1950, Murphy 1973): Brier score 0.224, skill over the
// sample's own frequency 1/15, ROC area 0.6875.
var (
	workedP = []float64{.1, .1, .1, .1, .4, .4, .4, .8, .8, .8}
	workedO = []float64{0, 0, 0, 1, 0, 1, 0, 1, 1, 0}
)

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) < 1e-9) {
		t.Errorf("%s is %.9f, want %.9f", what, got, want)
	}
}

func TestScores(t *testing.T) {
	reference := make([]float64, len(workedO))
	for i := range reference {
		reference[i] = 0.4
	}
	near(t, "Brier score", Brier(workedP, workedO), 0.224)
	near(t, "Brier skill", BrierSkill(workedP, reference, workedO), 1.0/15)
	near(t, "ROC area", ROCArea(workedP, workedO), 0.6875)
	near(t, "ROC area of a constant", ROCArea(reference, workedO), 0.5)
}

func TestReliability(t *testing.T) {
	bins := Reliability(append(workedP, 1), append(workedO, 1))
	if len(bins) != 4 || bins[0].Count != 4 || bins[3].Count != 1 {
		t.Fatalf("%+v", bins)
	}
	near(t, "frequency", bins[2].Frequency, 2.0/3)
	near(t, "probability", bins[2].MeanProbability, 0.8)
	near(t, "standard error", bins[2].StandardError, math.Sqrt(0.16/3))
}
