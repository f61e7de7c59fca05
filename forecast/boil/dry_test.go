package boil

import (
	"math"
	"slices"
	"testing"
)

// members are so many weathers alike, and one more.
func members(count int, alike []float64, last ...float64) [][]float64 {
	out := slices.Repeat([][]float64{alike}, count)
	return append(out, last)
}

func TestDryStretch(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		humidity [][]float64
		want     Stretch // From and To 0 for none
	}{
		"the whole stretch, not its driest hours": {[][]float64{{70, 49, 48, 47, 20, 20, 49, 55}}, Stretch{1, 7, 1, 38.8, Dry}},
		"the longer of two":                       {[][]float64{{40, 40, 40, 60, 45, 45, 45, 45}}, Stretch{4, 8, 1, 45, Dry}},
		"the earlier of two alike":                {[][]float64{{40, 40, 40, 60, 40, 40, 40}}, Stretch{0, 3, 1, 40, Dry}},
		"too short for dry, long enough for fair": {[][]float64{{60, 49, 49, 60, 70}}, Stretch{0, 4, 1, 54.5, Fair}},
		"at the bounds":                           {[][]float64{{50, 50, 50, 64.9, 65}}, Stretch{0, 4, 1, 53.7, Fair}},
		"damp":                                    {[][]float64{{65, 80, 80, 90, 65}}, Stretch{}},
		"too short":                               {[][]float64{{40, 40}}, Stretch{}},
		"four of five are dry all the time":       {members(4, []float64{40, 40, 40}, 40, 90, 40), Stretch{0, 3, 0.8, 40, Dry}},
		"three of four":                           {members(3, []float64{40, 40, 40}, 40, 90, 40), Stretch{}},
		"no longer than it is sure":               {members(3, []float64{40, 40, 40, 40}, 40, 40, 40, 90), Stretch{0, 3, 1, 40, Dry}},
		"each hour mostly dry, all of them seldom": {[][]float64{{90, 40, 40}, {40, 90, 40}, {40, 40, 90}, {40, 40, 40},
			{40, 40, 40}}, Stretch{}},
		"the surer of two alike": {members(4, []float64{40, 40, 40, 90, 40, 40, 40}, 90, 90, 90, 90, 40, 40, 40),
			Stretch{4, 7, 1, 40, Dry}},
		"an hour that is not known":                    {[][]float64{{40, 40, nan, 40, 40}}, Stretch{}},
		"a weather that is not known is not a dry one": {members(4, []float64{40, 40, 40}, nan, nan, nan), Stretch{0, 3, 0.8, 40, Dry}},
		"none": {nil, Stretch{}},
	} {
		got, found := DryStretch(c.humidity)
		got.HumidityPct = math.Round(10*got.HumidityPct) / 10
		if got != c.want || found != (c.want.To > 0) {
			t.Errorf("%s: %+v %v, want %+v", name, got, found, c.want)
		}
	}
}
