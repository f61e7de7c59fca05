package weather

import (
	"math"
	"testing"
)

// Members that are made carry chances better than as many independent draws would:
// here that of a cold low and a warm high after it, against 4,001 members.
func TestMembersLieEvenly(t *testing.T) {
	control := flat(0, 24*3)
	low, high := 17, 26 // hours ahead of the first low and the next high
	chance := func(members []Series, day int, atLow, atHigh float64) float64 {
		n := 0.0
		for i := range members {
			if members[i].At(TemperatureC, low+24*day) <= 2+atLow && members[i].At(TemperatureC, high+24*day) >= 2+atHigh {
				n++
			}
		}
		return n / float64(len(members))
	}
	many := ErrorMembers(&control, here, noon, 4001, 1)
	for day, most := range []float64{0.65, 0.78} { // later the slow part counts, which is drawn by chance
		sum, random := 0.0, 0.0
		for seed := range uint64(20) {
			few := ErrorMembers(&control, here, noon, MemberCount, 100+seed)
			for _, at := range [][2]float64{{-1, -1}, {0.5, 0.5}, {0, 1}, {1, -1}, {2, 0}} {
				p := chance(many, day, at[0], at[1])
				sum += square(chance(few, day, at[0], at[1]) - p)
				random += p * (1 - p) / MemberCount
			}
		}
		t.Logf("day %d: %.2f of the error of independent draws", day, math.Sqrt(sum/random))
		if off := math.Sqrt(sum / random); off > most {
			t.Errorf("day %d: chances err by %.2f of what those of independent draws do", day, off)
		}
	}
}

func TestGoldenStepsGoThroughAllPoints(t *testing.T) {
	for points := 3; points < 200; points += 2 {
		seen := make([]bool, points)
		for i := range points {
			seen[i*goldenStep(points)%points] = true
		}
		for k, s := range seen {
			if !s {
				t.Fatalf("%d points by %d: %d is left out", points, goldenStep(points), k)
			}
		}
	}
}

// One error drawn alone may be any that comes, not only a typical one.
func TestAFewErrorsAreDrawnByChance(t *testing.T) {
	control := flat(0, 24*2)
	var off []float64
	for seed := range uint64(400) {
		off = append(off, ErrorMembers(&control, here, noon, 2, seed)[1].At(TemperatureC, 17)-2)
	}
	mean, sd := meanSD(off)
	small, large := 0, 0
	for _, k := range off {
		if math.Abs(k) < 0.5 {
			small++
		}
		if math.Abs(k) > 3 {
			large++
		}
	}
	if math.Abs(mean) > 0.3 || math.Abs(sd-1.9) > 0.2 || small < 50 || large < 20 {
		t.Errorf("mean %.2f, standard deviation %.2f K; %d of 400 below 0.5 K and %d beyond 3 K", mean, sd, small, large)
	}
}
