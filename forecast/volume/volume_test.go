package volume

import (
	"math"
	"slices"
	"testing"
)

func TestPriorSeasonIsThatOfHandbooks(t *testing.T) {
	// 10 US gallons (38 L) a bucket and season, usually 5 to 15: extension
	// handbooks, from memory.
	b := Prior(Pail)
	if l := math.Exp(b.LogMean) * UsualSeasonL; math.Abs(l-38) > 0.01 {
		t.Errorf("a pail gives %.1f L", l)
	}
	low, high := math.Exp(b.LogMean-1.2816*b.LogSD)*UsualSeasonL, math.Exp(b.LogMean+1.2816*b.LogSD)*UsualSeasonL
	if low < 5*3.785 || low > 8*3.785 || high < 14*3.785 || high > 18*3.785 {
		t.Errorf("four seasons in five lie between %.0f and %.0f L", low, high)
	}
}

func TestFactorsKeepMeanAndSeed(t *testing.T) {
	b := Prior(Bag)
	rows := b.Factors(400, 5, 7)
	var all []float64
	sum := 0.0
	for _, r := range rows {
		all = append(all, r...)
		for _, x := range r {
			sum += x
		}
	}
	want := math.Exp(b.LogMean + b.LogSD*b.LogSD/2)
	if got := sum / float64(len(all)); math.Abs(got/want-1) > 0.03 {
		t.Errorf("mean factor %.3f, want %.3f", got, want)
	}
	if !slices.Equal(rows[3], b.Factors(400, 5, 7)[3]) {
		t.Error("the same seed draws other factors")
	}
}
