package verify

import (
	"context"
	"testing"
)

// What the season before is worth to the next one, on the tap logs of 2013 and 2014
// (R package macleish, CC0, Baumer et al.): the first visits of 2014, before that
// season has taught anything, with nothing known, with only the sum of 2013, and with
// its weather.
func TestSeasonBefore(t *testing.T) {
	w := forestHours(t)
	o := hillOptions(t)
	o.WarmerK = 0.58
	o.Taps = 50
	before := tapLog(t, 2013)
	first := tapLog(t, 2014)[:9]
	crps := map[string]float64{}
	for name, train := range map[string][]Season{"nothing": nil, "the sum": {{Visits: before}}, "its weather": {{Weather: &w, Visits: before}}} {
		r, err := BacktestSap(context.Background(), &w, first, train, o)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: n %d CRPS %.2f L, %.0f %% within the range", name, r.N, r.CRPSL, 100*r.Coverage80)
		crps[name] = r.CRPSL
	}
	// 2013 gave 51 L a tap and 2014 gave 19: what 2013 taught misleads here, and may not by
	// much (four visits).
	if crps["the sum"] > 1.3*crps["nothing"] || crps["its weather"] > 1.25*crps["nothing"] || crps["nothing"] > 25 {
		t.Errorf("%v", crps)
	}
}
