package verify

import (
	"cmp"
	"iter"
	"slices"
	"testing"
	"time"

	"thawline/forecast/sap"
	"thawline/forecast/volume"
)

// What vacuum adds to a season, by the daily lows and highs of Madison 1991 to 2020
// (GHCN-Daily) and of Harvard Forest (HF001): 5 to 7 % for each inch of mercury at 20 and 25
// inches (Wilmot, Perkins and van den Berg 2007, Proctor Maple Research Center, from memory).
func TestVacuumOfASeason(t *testing.T) {
	rows := fitRows(t, 0)
	for _, inches := range []float64{20, 25} {
		var sum, n float64
		for year, one := range fourthSprings(t, rows, 0) {
			var without, with float64
			base := one.days(45*24, sap.Usual, 0)
			for d, litres := range one.days(45*24, sap.Usual, inches*3.386) {
				with += litres
				without += base[d]
			}
			gain := (with/without - 1) / inches
			if gain < 0.045 || gain > 0.08 {
				t.Errorf("%d: %.1f %% an inch at %.0f", year, 100*gain, inches)
			}
			sum, n = sum+gain, n+1
		}
		mean := sum / n
		t.Logf("%.0f inHg: %.2f %% an inch over %.0f seasons", inches, 100*mean, n)
		if mean < 0.05 || mean > 0.07 {
			t.Errorf("%.0f inHg: %.2f %% an inch", inches, 100*mean)
		}
	}
}

// Days of bushes under vacuum are scored as others are: what counts as a strong day lies
// between the best of four run days and of ten, as volume.UsualStrongDayL does by gravity,
// on the same springs.
func TestVacuumOfAStrongDay(t *testing.T) {
	rows := fitRows(t, 0)
	for _, inches := range []float64{20, 25} {
		var ofFour, ofTen, n float64
		for _, one := range fourthSprings(t, rows, 0) {
			strong := func(kPa float64, best int) float64 {
				days := one.days(45*24, sap.Usual, kPa)
				days = slices.DeleteFunc(days, func(litres float64) bool { return litres < volume.RunDayL })
				slices.Sort(days)
				return days[len(days)-1-len(days)/best]
			}
			kPa := inches * 3.386
			ofFour += strong(kPa, 4) / strong(0, 4) / sap.StrongDayGain(kPa)
			ofTen += strong(kPa, 10) / strong(0, 10) / sap.StrongDayGain(kPa)
			n++
		}
		t.Logf("%.0f inHg: the best of four days gains %.3f, of ten %.3f of what scores go by, over %.0f seasons", inches, ofFour/n, ofTen/n, n)
		if ofFour/n < 0.92 || ofFour > n || ofTen < n || ofTen/n > 1.08 {
			t.Errorf("%.0f inHg: %.3f, %.3f", inches, ofFour/n, ofTen/n)
		}
	}
}

// fourthSprings are every fourth spring from 1991 to 2020 of Madison and Harvard Forest, as far as
// their weather is known, in stems of a width in metres, 0 for the usual one.
func fourthSprings(t *testing.T, rows []FitRow, diameterM float64) iter.Seq2[int, *seasonFlow] {
	return func(yield func(year int, one *seasonFlow) bool) {
		for _, of := range []int{1, 2} {
			for year := 1991; year <= 2020; year += 4 {
				from, to := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(year, 4, 20, 0, 0, 0, 0, time.UTC)
				w := rows[of].Weather
				if from.Before(w.Start()) || to.After(w.End()) {
					continue
				}
				season, o := w.Between(from, to), rows[of].Options
				o.TreeDiameterM = cmp.Or(diameterM, o.TreeDiameterM)
				strands, err := newStrands(&season, &o, []float64{0})
				if err != nil {
					t.Fatal(err)
				}
				if !yield(year, strands[0]) {
					return
				}
			}
		}
	}
}
