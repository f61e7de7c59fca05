package weather

import (
	"math"
	"slices"
	"testing"
)

// With the half of the temperature's error that made members have, dew points err by
// 2.0 K a day ahead, as a public verification has it (see dewError): 1.7 K beside 1.0.
func TestDewPointsErrAsForecastsDo(t *testing.T) {
	const members, hours = 4001, 72
	errs := DewErrors(members, hours, 3)
	sd := func(hour int) float64 {
		sum := 0.0
		for m := 1; m < members; m++ {
			sum += errs[m][hour] * errs[m][hour]
		}
		return math.Sqrt(sum / (members - 1))
	}
	for hour, want := range map[int]float64{2: 0.85, 24: 1.7, 71: 1.7} {
		if got := sd(hour); math.Abs(got-want) > 0.08 {
			t.Errorf("hour %d: standard deviation %.2f K, want %.2f", hour, got, want)
		}
	}
	control := flat(0, hours)
	made := ErrorMembers(&control, here, noon, members, 3)
	sum := 0.0
	for m := 1; m < members; m++ {
		e := made[m].At(DewPointC, 24) - control.At(DewPointC, 24) + errs[m][24]
		sum += e * e
	}
	if got := math.Sqrt(sum / (members - 1)); math.Abs(got-2.0) > 0.15 {
		t.Errorf("a day ahead dew points err by %.2f K, want 2.0", got)
	}
	if slices.ContainsFunc(errs[0], func(k float64) bool { return k != 0 }) {
		t.Error("the forecast itself errs")
	}
	for h := range hours {
		if errs[1][h] != -errs[2][h] {
			t.Fatal("errors do not come in opposite pairs")
		}
	}
	if !slices.Equal(errs[7], DewErrors(11, hours, 3)[7]) {
		t.Error("the same seed draws other errors")
	}
}
