package verify

import (
	"testing"

	"thawline/forecast/sap"
	"thawline/forecast/volume"
)

// What a tap gives in a season by the width of its stem, against a usual stem's, by the
// daily lows and highs of Madison 1991 to 2020 (GHCN-Daily) and of Harvard Forest (HF001),
// flow and yield together. It lies between the published lines: buckets at ten places, 0.7247
// US gallons of sap for each inch of the width, less 1.2575 (sugar maple; Rademacher et al.
// 2023), tubing under vacuum, 0.056 gallons of syrup, less 0.059 (Isselhardt et al. 2018),
// and the sap of the latter by 2.62 °Brix and 0.0254 for each inch (Larochelle et al. 1998);
// all as a public forest model quotes them.
func TestGirthOfASeason(t *testing.T) {
	const inch = 0.0254
	buckets := func(m float64) float64 { return 0.7247*m/inch - 1.2575 }
	syrup := func(m float64) float64 { return 0.056*m/inch - 0.059 }
	sapOf := func(m float64) float64 { return syrup(m) / (2.62 + 0.0254*m/inch) }
	rows := fitRows(t, 0)
	for _, inches := range []float64{0, 20} { // of mercury
		usual := girthSeason(t, rows, volume.UsualStemM, inches)
		for _, m := range []float64{0.2, 0.25, 0.4, 0.5, 0.6, 0.8} {
			flow := girthSeason(t, rows, m, inches) / usual
			got := flow * volume.Girth(m)
			var lines []float64
			for _, line := range []func(float64) float64{buckets, syrup, sapOf} {
				lines = append(lines, line(m)/line(volume.UsualStemM))
			}
			low, high := min(lines[0], lines[1], lines[2]), max(lines[0], lines[1], lines[2])
			t.Logf("%.0f inHg, %.0f cm: %.2f of a usual stem's (flow alone %.2f), published %.2f to %.2f", inches, 100*m, got, flow, low, high)
			if got < 0.98*low || got > 1.02*high {
				t.Errorf("%.0f inHg, %.0f cm: %.2f, published %.2f to %.2f", inches, 100*m, got, low, high)
			}
		}
	}
}

// girthSeason is what a usual tap gives from the middle of February to the end of March,
// litres, in stems so wide, as a mean of seasons.
func girthSeason(t *testing.T, rows []FitRow, diameterM, inches float64) float64 {
	var sum, n float64
	for _, one := range fourthSprings(t, rows, diameterM) {
		sum, n = sum+total(one.days(45*24, sap.Usual, inches*3.386)), n+1
	}
	return sum / n
}
