package verify

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// A worked example of ten forecasts, computed by hand with exact fractions from
// the definitions (Brier 1950, Murphy 1973): Brier score 0.224, skill over the
// sample's own frequency 1/15, ROC area 0.6875.
var (
	workedP = []float64{.1, .1, .1, .1, .4, .4, .4, .8, .8, .8}
	workedO = []float64{0, 0, 0, 1, 0, 1, 0, 1, 1, 0}
)

// Independent values for this package come from SciPy 1.10.1 and scikit-learn
// 1.2.1 of Debian bookworm, run once:
//
//	from scipy import stats, integrate, optimize; import sklearn.metrics as m
//	m.brier_score_loss(o, p); m.roc_auc_score(o, p); m.mean_pinball_loss(y, q, alpha=t)
//	stats.spearmanr(a, b); stats.pearsonr(a, b)
//	integrate.quad(lambda x: stats.norm.cdf(x, mu, sd)**2, lo, y) + the upper part  # CRPS, normal
//	the same integral, step by step, of the empirical distribution             # CRPS, members
//	stats.bootstrap((x, y), corr, paired=True, method='percentile', n_resamples=9999)

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
	near(t, "Brier score", Brier(workedP, workedO), 0.224) // scikit-learn: 0.22400000000000003
	near(t, "Brier skill", BrierSkill(workedP, reference, workedO), 1.0/15)
	near(t, "ROC area", ROCArea(workedP, workedO), 0.6875) // scikit-learn: 0.6875
	near(t, "ROC area of a constant", ROCArea(reference, workedO), 0.5)
}

// Murphy's parts of the worked example, by hand: reliability 0.015667,
// resolution 0.031667, uncertainty 0.24; and their sum is the score for any
// forecasts.
func TestDecomposeBrier(t *testing.T) {
	parts := DecomposeBrier(workedP, workedO)
	near(t, "reliability", parts.Reliability, 0.4*0.15*0.15+0.3*(1.0/15)*(1.0/15)+0.3*(2.0/15)*(2.0/15))
	near(t, "resolution", parts.Resolution, 0.4*0.15*0.15+0.3*(1.0/15)*(1.0/15)+0.3*(4.0/15)*(4.0/15))
	near(t, "uncertainty", parts.Uncertainty, 0.24)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		var p, o []float64
		for range n {
			p = append(p, float64(rapid.IntRange(0, 10).Draw(t, "tenths"))/10)
			o = append(o, float64(rapid.IntRange(0, 1).Draw(t, "happened")))
		}
		parts := DecomposeBrier(p, o)
		if d := Brier(p, o) - (parts.Reliability - parts.Resolution + parts.Uncertainty); math.Abs(d) > 1e-12 {
			t.Fatalf("the parts miss the score by %g", d)
		}
	})
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
