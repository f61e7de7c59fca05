package volume

import (
	"math"
	"slices"
	"testing"
)

func TestPriorSeasonIsThatOfDiaries(t *testing.T) {
	// Ten seasons of buckets that were written down gave 19 to 51 L a tap, seven of them 22
	// to 34.5 (BucketSeasonL); handbooks speak of 38.
	b := Prior(Pail)
	season := func(sigmas float64) float64 {
		return math.Exp(b.LogMean+b.DayLogSD*b.DayLogSD/2+sigmas*b.LogSD) * UsualSeasonL
	}
	if l := season(0); math.Abs(l-30) > 0.01 {
		t.Errorf("a pail gives %.1f L", l)
	}
	if low, high := season(-1.2816), season(1.2816); low < 16 || low > 20 || high < 46 || high > 53 {
		t.Errorf("four seasons in five lie between %.0f and %.0f L", low, high)
	}
}

func TestFactorsKeepMeanSeedAndSharedLuck(t *testing.T) {
	p, err := learnHere(priorsOf(2), nil)
	if err != nil {
		t.Fatal(err)
	}
	months := make([]float64, 5)
	strands := make([]int, 50)
	rows := p.Factors(strands, 8, months, 7)
	sum := 0.0
	for _, r := range rows[0] {
		for _, x := range r {
			sum += x
		}
	}
	b := Prior(Pail)
	want := math.Exp(b.LogMean + b.LogSD*b.LogSD/2 + b.DayLogSD*b.DayLogSD/2)
	if got := sum / 2000; math.Abs(got/want-1) > 0.12 { // the spread itself is uncertain, which lifts the mean
		t.Errorf("mean factor %.3f, want %.3f", got, want)
	}
	if !slices.Equal(rows[1][3], p.Factors(strands, 8, months, 7)[1][3]) {
		t.Error("the same seed draws other factors")
	}
	if a, b := rows[0][9], rows[1][9]; math.Abs(math.Log(a[0]/b[0])-math.Log(a[4]/b[4])) > 1e-9 {
		t.Error("groups do not share the luck of a day")
	}
}
