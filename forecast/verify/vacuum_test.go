package verify

import (
	"testing"
	"time"

	"thawline/forecast/sap"
)

// What vacuum adds to a season, by the daily lows and highs of Madison 1991 to 2020
// (GHCN-Daily) and of Harvard Forest (HF001): 5 to 7 % for each inch of mercury at 20 and 25
// inches (Wilmot, Perkins and van den Berg 2007, Proctor Maple Research Center, from memory),
// and it is that by which strong days are judged.
func TestVacuumOfASeason(t *testing.T) {
	rows := fitRows(t, 0)
	for _, inches := range []float64{20, 25} {
		var sum, n float64
		for _, of := range []int{1, 2} {
			for year := 1991; year <= 2020; year += 4 {
				from, to := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(year, 4, 20, 0, 0, 0, 0, time.UTC)
				w := rows[of].Weather
				if from.Before(w.Start()) || to.After(w.End()) {
					continue
				}
				season := w.Between(from, to)
				strands, err := newStrands(&season, &rows[of].Options, []float64{0})
				if err != nil {
					t.Fatal(err)
				}
				var without, with float64
				base := strands[0].days(45*24, sap.Usual, 0)
				for d, litres := range strands[0].days(45*24, sap.Usual, inches*3.386) {
					with += litres
					without += base[d]
				}
				gain := (with/without - 1) / inches
				if gain < 0.045 || gain > 0.08 {
					t.Errorf("%d: %.1f %% an inch at %.0f", year, 100*gain, inches)
				}
				sum, n = sum+gain, n+1
			}
		}
		mean := sum / n
		t.Logf("%.0f inHg: %.2f %% an inch over %.0f seasons", inches, 100*mean, n)
		if mean < 0.05 || mean > 0.07 || (1+mean*inches)/sap.VacuumGain(inches*3.386) > 1.05 ||
			(1+mean*inches)/sap.VacuumGain(inches*3.386) < 0.95 {
			t.Errorf("%.0f inHg: %.2f %% an inch", inches, 100*mean)
		}
	}
}
