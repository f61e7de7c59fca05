package verify

import (
	"testing"

	"thawline/testdata/beside"
)

// A bush one or two kelvin off its grid is told of as well as its grid is, from the tenth
// day of its own thermometer on; without one the skill falls by half at two kelvin. As sent
// it is the same.
func TestOwnThermometerHoldsTheSkill(t *testing.T) {
	f := beside.Open(t, "data/evening-forecasts-2021-dev.csv")
	pairs, err := ReadPairs(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	const bar = 0.51
	for _, c := range []struct{ offK, mostWithout float64 }{{0, 1}, {1, 0.55}, {-1, 0.5}, {2, 0.35}, {-2, 0.35}} {
		r, err := BacktestThaw(pairs, pairs, ThawOptions{ByStation: true, Bush: Bush{OffK: c.offK, Thermometer: true}})
		if err != nil {
			t.Fatal(err)
		}
		if r.BrierSkill < bar || r.Without == nil || *r.Without > c.mostWithout || r.N < 600 {
			t.Errorf("%+g K: skill %.3f, without %.3f, of %d", c.offK, r.BrierSkill, *r.Without, r.N)
		}
	}
	sent, err := BacktestThaw(pairs, pairs, ThawOptions{ByStation: true, AsSent: true, Bush: Bush{OffK: 2, Thermometer: true}})
	if err != nil || sent.BrierSkill < bar {
		t.Errorf("as sent: %.3f, %v", sent.BrierSkill, err)
	}
}
