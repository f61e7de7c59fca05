package source

import (
	"math"
	"testing"
)

// What an association's day counts at Open-Meteo, by its terms (more than ten columns or two
// weeks count in proportion): 4,000 members in 700 cells, every three hours, as the
// operator's guide has it.
func TestWhatAnAssociationCosts(t *testing.T) {
	r := Request{PastDays: 14, Days: 16}
	const looks = 700 * 8
	if f, e := forecastCost(&r), ensembleCost(&r); math.Abs(f-2.2) > 0.05 || math.Abs(e-37) > 0.5 || math.Abs(looks*f-12_000) > 500 ||
		math.Abs(looks*(f+e)-220_000) > 2_000 {
		t.Errorf("a look counts %.2f and %.2f, a day %.0f and %.0f", f, e, looks*f, looks*(f+e))
	}
}
