package forecast

import (
	"testing"
	"time"
)

// "Too little frost" is said of a day whose low bears it out, not beside a low of -8 °C: that
// frost comes in the evening, too late for the day.
func TestTooLittleFrostIsNotSaidBesideAHardOne(t *testing.T) {
	for _, c := range []struct {
		chance, lowC, highC, frozen float64
		want                        WhyStill
	}{
		{0.05, 2, 9, 0, NoFrost},
		{0.05, -1, 9, 0, NoFrost},
		{0.05, -8, 8, 0, ""},
		{0.05, -8, 8, 0.5, StillFrozen},
		{0.05, 2, 3, 0, ""},
		{0.6, 2, 9, 0, ""},
	} {
		days := []Day{{RunProbability: c.chance, TemperatureC: MinMax{Min: c.lowC, Max: c.highC}}}
		sayWhyStill(days, []float64{c.frozen, c.frozen}, &calendar{dates: []time.Time{{}}, futureDay: []int{0, 0}})
		if days[0].Why != c.want {
			t.Errorf("%+v: %q", c, days[0].Why)
		}
	}
}
