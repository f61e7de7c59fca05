package season

import (
	"math"
	"testing"
	"time"
)

// Houle et al. 2015, PLoS ONE 10(12):e0144844, table 1: mean last day of
// production by region of Quebec, day of the year. Latitudes are rough.
func TestUsualEndAgreesWithQuebecRegions(t *testing.T) {
	for name, c := range map[string]struct{ latitude, elevation, day float64 }{
		"Estrie": {45.5, 300, 108}, "Beauce": {46.3, 350, 107},
		"Québec": {47, 250, 110}, "Lanaudière": {46.3, 200, 106},
	} {
		if got := usualEndDay(c.latitude, c.elevation); math.Abs(got-c.day) > 7 {
			t.Errorf("%s: day %.0f, published %.0f", name, got, c.day)
		}
	}
}

func TestStages(t *testing.T) {
	now := time.Date(2026, 3, 20, 18, 0, 0, 0, time.UTC)
	end := UsualEnd(44, 300, now)
	for day, want := range map[string]Stage{"2026-01-10": Before, "2026-03-15": Opened, "2026-04-08": Late, "2026-05-10": Over} {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		if got := StageAt(at, end); got != want {
			t.Errorf("%s is %s, want %s", day, got, want)
		}
	}
}
