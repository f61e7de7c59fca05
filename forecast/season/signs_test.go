package season

import (
	"math"
	"math/rand/v2"
	"testing"
)

// inventedSprings are springs whose ends stray by four days from what warmth says, and the
// day on which a sign was seen in each.
func inventedSprings(rng *rand.Rand, n int, sign string, seen func(end float64) float64) []SignYear {
	years := make([]SignYear, n)
	for i := range years {
		warm := 90 + 7*rng.NormFloat64()
		end := warm + 4*rng.NormFloat64()
		years[i] = SignYear{sign, 2010 + i, seen(end), 60, end, warm}
	}
	return years
}

// Ten invented springs: a true sign, four days early or late, cuts the error of the end;
// five false ones beside it hardly move it. Draws of a seed, so that luck does not decide.
func TestSignsEarnTheirSay(t *testing.T) {
	const draws, springs = 300, 10
	rng := rand.New(rand.NewPCG(7, 0x7369676e))
	before, after, cut, moved, most := 0.0, 0.0, 0, 0.0, 0
	for range draws {
		years := inventedSprings(rng, springs, "frogs", func(end float64) float64 { return end - 30 + 8*(rng.Float64()-0.5) })
		own, with := 0.0, 0.0
		for i := range years { // each from the other nine
			others := append(append([]SignYear{}, years[:i]...), years[i+1:]...)
			mean := 0.0
			for _, y := range others {
				mean += (y.EndDOY - y.WarmDOY) / float64(len(others))
			}
			miss := years[i].EndDOY - years[i].WarmDOY - mean
			lead := LearnSigns(others)[0]
			own += miss * miss
			with += math.Pow(miss-lead.Moves(years[i].SeenDOY, years[i].WarmDOY), 2)
		}
		before, after = before+own, after+with
		if math.Sqrt(with) <= 0.85*math.Sqrt(own) {
			cut++
		}
		// Five signs that come when they like.
		all := 0.0
		now := 60 + 8*rng.NormFloat64()
		for _, sign := range []string{"crows", "snow fleas", "a moth", "the moon", "robins"} {
			false5 := inventedSprings(rng, springs, sign, func(float64) float64 { return 60 + 8*rng.NormFloat64() })
			for i := range false5 { // of the same springs
				false5[i].EndDOY, false5[i].WarmDOY = years[i].EndDOY, years[i].WarmDOY
			}
			all += LearnSigns(false5)[0].Moves(now, 90)
		}
		moved += math.Abs(all) / draws
		if math.Abs(all) < 0.5 {
			most++
		}
	}
	t.Logf("the error of the end falls by %.0f %%, by 15 %% and more in %d of %d draws; five false signs move it by %.2f days in the mean, by less than half a day in %d", 100*(1-math.Sqrt(after/before)), cut, draws, moved, most)
	if math.Sqrt(after/before) > 0.85 || cut < draws*7/10 || moved > 0.5 || most < draws*8/10 {
		t.Errorf("cut to %.2f, in %d of %d by 15 %%; false ones %.2f days, in %d below half a day", math.Sqrt(after/before), cut, draws,
			moved, most)
	}
}

// Few springs, ends that were cut short, and a sign that comes late before early ends move
// nothing; its lead and its springs are told all the same, whoever writes its name how.
func TestSignsOfFewSpringsMoveNothing(t *testing.T) {
	true3 := []SignYear{{"Frogs", 2020, 60, 55, 90, 88}, {"frogs", 2021, 70, 66, 100, 90}, {"FROGS", 2022, 65, 61, 95, 89}}
	leads := LearnSigns(true3)
	if len(leads) != 1 || leads[0].Years != 3 || leads[0].Sign != "FROGS" || math.Abs(leads[0].BeforeEndDays-30) > 0.1 ||
		leads[0].Moves(80, 90) != 0 {
		t.Errorf("three springs: %+v", leads)
	}
	if !(leads[0].BeforeEndSDDays > 3) {
		t.Errorf("three springs that agree by chance stray by %.1f days", leads[0].BeforeEndSDDays)
	}
	var short, against []SignYear
	for i := range 10 {
		x := float64(i)
		short = append(short, SignYear{"crows", 2010 + i, 60 + x, 55, 0, 90})
		against = append(against, SignYear{"moon", 2010 + i, 60 + x, 55, 100 - x, 90})
	}
	if l := LearnSigns(short)[0]; l.Moves(80, 90) != 0 || !math.IsNaN(l.BeforeEndDays) {
		t.Errorf("ends that were cut short: %+v", l)
	}
	if l := LearnSigns(against)[0]; l.Moves(80, 90) != 0 {
		t.Errorf("a late sign before early ends moves the end by %.1f days", l.Moves(80, 90))
	}
	if len(LearnSigns(nil)) != 0 {
		t.Error("no sign tells something")
	}
}
