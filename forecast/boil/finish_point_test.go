package boil

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// keeper is an invented one: where sugar pours in this house, and what damp air does.
type keeper struct{ offK, dampK, noiseK float64 }

func (k keeper) outcome(rng *rand.Rand, riseK, humidity float64) SugarOutcome {
	z := riseK - sugarRiseK - k.offK - k.dampK*damp(humidity) + k.noiseK*rng.NormFloat64()
	switch {
	case z < -pourWindowK:
		return Caked
	case z > pourWindowK:
		return Lumps
	}
	return Poured
}

// goesWrong is the chance that a batch does not pour.
func (k keeper) goesWrong(riseK, humidity float64) float64 {
	z := riseK - sugarRiseK - k.offK - k.dampK*damp(humidity)
	return 1 - phi((pourWindowK-z)/k.noiseK) + phi((-pourWindowK-z)/k.noiseK)
}

// wrongOf lets a keeper make fifteen batches and counts how many of the last seven do not
// pour, by their chances: as advised, by the handbook, and by perfect knowledge.
func wrongOf(t *testing.T, k keeper, slipK float64, seed uint64) (ours, handbook, perfect float64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 3))
	var batches []SugarBatch
	for i := range 15 {
		humidity := 30 + 40*rng.Float64()
		point, err := LearnFinish(batches, humidity)
		if err != nil {
			t.Fatal(err)
		}
		slip := slipK * (2*rng.Float64() - 1)
		b := SugarBatch{RiseK: point.RiseK + slip, HumidityPct: humidity}
		b.Outcome = k.outcome(rng, b.RiseK, humidity)
		batches = append(batches, b)
		if i < 8 {
			continue
		}
		ours += k.goesWrong(b.RiseK, humidity)
		handbook += k.goesWrong(sugarRiseK+slip, humidity)
		perfect += k.goesWrong(sugarRiseK+k.offK+k.dampK*damp(humidity)+slip, humidity)
	}
	return ours, handbook, perfect
}

// Two hundred invented keepers, whose own points lie within 2 K of the handbook's: batches
// 9 to 15 that went wrong, against the handbook's.
func TestFinishPointsOfInventedKeepers(t *testing.T) {
	for _, c := range []struct{ noiseK, slipK, most float64 }{{0.7, 0.3, 0.5}, {1.0, 0.3, 0.5}, {0.7, 0.8, 0.65}, {1.0, 0.8, 0.65}} {
		rng := rand.New(rand.NewPCG(1, 2))
		var ours, handbook, perfect, oursNear, handbookNear float64
		for i := range 200 {
			k := keeper{offK: 4*rng.Float64() - 2, dampK: 0.5 * rng.Float64(), noiseK: c.noiseK}
			o, h, p := wrongOf(t, k, c.slipK, uint64(i))
			ours, handbook, perfect = ours+o, handbook+h, perfect+p
			if i%3 > 0 {
				continue
			}
			k.offK = 0
			o, h, _ = wrongOf(t, k, c.slipK, uint64(1000+i))
			oursNear, handbookNear = oursNear+o, handbookNear+h
		}
		t.Logf("noise %.1f K, taken off within %.1f K: wrong %.3f, handbook %.3f (ratio %.2f), perfect knowledge %.3f; where the handbook is right %.2f of its wrong ones",
			c.noiseK, c.slipK, ours/1400, handbook/1400, ours/handbook, perfect/1400, oursNear/handbookNear)
		if ours > c.most*handbook {
			t.Errorf("noise %.1f, slip %.1f: %.2f of the handbook's wrong batches, want at most %.2f", c.noiseK, c.slipK, ours/handbook,
				c.most)
		}
		if oursNear > 1.1*handbookNear {
			t.Errorf("noise %.1f, slip %.1f: where the handbook is right %.2f of its wrong batches", c.noiseK, c.slipK,
				oursNear/handbookNear)
		}
	}
}

func TestFinishPointIsHeld(t *testing.T) {
	rise := func(batches []SugarBatch, humidity float64) float64 {
		t.Helper()
		p, err := LearnFinish(batches, humidity)
		if err != nil {
			t.Fatal(err)
		}
		return p.RiseK
	}
	if damp, dry := rise(nil, 80), rise(nil, 30); damp < sugarRiseK+0.3 || damp > sugarRiseK+1.2 || dry != sugarRiseK {
		t.Errorf("without batches %.2f K in damp air, %.2f in dry", damp, dry)
	}
	caked := SugarBatch{RiseK: sugarRiseK, HumidityPct: 50, Outcome: Caked}
	var batches []SugarBatch
	before := rise(nil, 50)
	if before != sugarRiseK {
		t.Errorf("without batches %.2f K, the handbook says %.2f", before, sugarRiseK)
	}
	for i := range 30 {
		batches = append(batches, caked)
		now := rise(batches, 50)
		if i+1 < fewestBatches && now != sugarRiseK {
			t.Errorf("after %d batches %.2f K: too few to learn from", i+1, now)
		}
		if now-before > mostMovedK+1e-9 || now < before-1e-9 {
			t.Errorf("batch %d moved it from %.2f to %.2f K", i+1, before, now)
		}
		before = now
	}
	if before > sugarRiseK+mostOffK+1e-9 || before < sugarRiseK+1 {
		t.Errorf("after thirty that caked: %.2f K, the handbook says %.2f", before, sugarRiseK)
	}
	few := []SugarBatch{caked, caked, {sugarRiseK + 1, 50, Poured}, {sugarRiseK + 1, 45, Poured}}
	if damp, dry := rise(few, 80), rise(few, 30); damp <= dry || damp-dry > 2.5 {
		t.Errorf("in damp air %.2f K, in dry %.2f", damp, dry)
	}
	if a, b := rise(few, math.NaN()), rise(few, usualHumidity); a != b {
		t.Errorf("without a humidity %.2f K, in usual air %.2f", a, b)
	}
}

func TestFinishPointFaults(t *testing.T) {
	for want, b := range map[string]SugarBatch{
		"batch 1 left the fire 2.0 K":  {2, 50, Poured},
		"batch 1 left the fire NaN K":  {math.NaN(), 50, Poured},
		`batch 1 came out "delicious"`: {23, 50, "delicious"},
	} {
		if _, err := LearnFinish([]SugarBatch{b}, 50); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", b, err, want)
		}
	}
}
