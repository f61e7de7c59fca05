package season

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"thawline/forecast/weather"
)

// Of springs that stray, each candidate's error is that on years left out in turn, of all
// species that were seen in three years or more; how well it fits is that on its own years; and
// its weight is the likelihood of such errors, shared by its family.
func TestCandidatesAreWeighedByYearsLeftOut(t *testing.T) {
	const years = 6
	rng := rand.New(rand.NewPCG(3, 1))
	d := weather.NewDaily(utc(2014, 11, 1), 365*years+1)
	year := 0.0
	for i := range d.LowC {
		if d.Date(i).YearDay() == 300 {
			year = 2 * rng.NormFloat64()
		}
		mean := -8 + 0.13*float64(max(d.Date(i).YearDay()-30, 0)) + year + 2*rng.NormFloat64()
		d.LowC[i], d.HighC[i] = mean-5, mean+5
	}
	days := daysOfWinter(44)
	var seen []BudYear
	by := map[string][]BudYear{}
	see := func(species string, of ...int) {
		for _, y := range of {
			w := winterBefore(y, &d, days)
			one := BudYear{y, species, dayOf(budCountRun(&w), 260) + 3*rng.NormFloat64()}
			seen, by[species] = append(seen, one), append(by[species], one)
		}
	}
	see("sugar maple", 2015, 2016, 2017, 2018)
	see("red maple", 2016, 2017, 2018) // just enough
	see("red oak", 2015, 2017)         // too few to weigh by
	blend, err := LearnBlend("sugar maple", seen, &d, 44)
	if err != nil {
		t.Fatal(err)
	}
	winters := map[int]winter{}
	for y := 2015; y < 2021; y++ {
		winters[y] = winterBefore(y, &d, days)
	}
	// The level of years is the mean progress on their days.
	levelOf := func(c *count, of []BudYear, but int) float64 {
		sum, n := 0.0, 0.0
		for _, y := range of {
			if w := winters[y.Year]; y.Year != but {
				sum, n = sum+at(c.run(&w), y.LeafDOY), n+1
			}
		}
		return sum / n
	}
	inFamily, weights, all := map[string]float64{}, make([]float64, len(blend.Counts)), 0.0
	for _, c := range counts() {
		inFamily[c.family]++
	}
	least := 0
	for i := range blend.Counts {
		l := &blend.Counts[i]
		squares, n, fit := 0.0, 0.0, 0.0
		for _, species := range []string{"sugar maple", "red maple"} {
			for _, y := range by[species] {
				w := winters[y.Year]
				miss := dayOf(l.count.run(&w), levelOf(&l.count, by[species], y.Year)) - y.LeafDOY
				squares, n = squares+miss*miss, n+1
			}
		}
		for _, y := range by["sugar maple"] {
			w := winters[y.Year]
			fit += math.Pow(dayOf(l.count.run(&w), l.Level)-y.LeafDOY, 2) / 4
		}
		near(t, l.Name+": level", l.Level, levelOf(&l.count, by["sugar maple"], 0), 1e-9*l.Level)
		near(t, l.Name+": years left out", l.RMSEDays, math.Sqrt(squares/n), 1e-9)
		near(t, l.Name+": its own years", l.FitDays, math.Sqrt(fit), 1e-9)
		weights[i] = math.Pow(squares/n+1, -2) / inFamily[l.Family] // four years, known to a day
		if all += weights[i]; l.FitDays < blend.Counts[least].FitDays {
			least = i
		}
	}
	doy := 0.0
	for i, l := range blend.Counts {
		near(t, l.Name+": weight", l.Weight, weights[i]/all, 1e-9)
		w := winters[2019]
		doy += weights[i] / all * dayOf(l.count.run(&w), l.Level)
	}
	near(t, "the blend", blend.DOY(2019, &d), doy, 1e-9)
	if best := blend.BestFit(); best.Counts[0].Name != blend.Counts[least].Name || best.Counts[0].Weight != 1 {
		t.Errorf("the best fit is %+v, and it is %+v", best.Counts[0], blend.Counts[least])
	}
	// What counts nothing before the buds opened is no candidate.
	early := []BudYear{{2015, "willow", 70}, {2016, "willow", 72}, {2017, "willow", 68}}
	if blend, err = LearnBlend("willow", early, &d, 44); err != nil {
		t.Fatal(err)
	}
	left := len(counts())
	for _, l := range blend.Counts {
		if left--; !(l.Level > 0) {
			t.Errorf("%s counts %g before buds open", l.Name, l.Level)
		}
	}
	if left == 0 {
		t.Error("all candidates count heat in February")
	}
	// A single way learns from the same years; three are enough for it.
	for _, species := range []string{"sugar maple", "red maple"} {
		b, err := LearnBuds(species, seen, &d, 44)
		if err != nil {
			t.Fatal(err)
		}
		way, squares := budCount(), 0.0
		for _, y := range by[species] {
			w := winters[y.Year]
			squares += math.Pow(dayOf(way.run(&w), levelOf(&way, by[species], y.Year))-y.LeafDOY, 2)
		}
		near(t, species+": spread", b.yearSDDays, math.Sqrt((squares+4*3.3*3.3)/(float64(len(by[species]))+4)), 1e-9)
	}
	if _, err := LearnBuds("red oak", seen, &d, 44); err == nil || !strings.Contains(err.Error(), "2 years of red oak") {
		t.Errorf("two years are enough: %v", err)
	}
	// A winter that is known for just long enough teaches, one that is a day shorter does not.
	for _, gap := range []int{shortestDays, shortestDays - 1} {
		cut := weather.NewDaily(d.First, d.Days())
		copy(cut.LowC, d.LowC)
		copy(cut.HighC, d.HighC)
		for y := 2015; y < 2019; y++ {
			cut.HighC[cut.Index(utc(y-1, 11, 1))+gap] = math.NaN()
		}
		if _, err := LearnBuds("sugar maple", seen, &cut, 44); (err == nil) != (gap == shortestDays) {
			t.Errorf("known for %d days: %v", gap, err)
		}
	}
}

func budCountRun(w *winter) []float64 {
	c := budCount()
	return c.run(w)
}

// Candidates say by how much less heat a chilled bud needs, and a day of just the threshold
// does not chill.
func TestCandidatesSayTheirEase(t *testing.T) {
	if c := easedHeat(60, 2, 0.01); c.name != "degree days above 2 °C from day 60, 1.0 % less a chilling day" || c.family != heatChillFamily {
		t.Errorf("%q, %q", c.name, c.family)
	}
	if c := easedHeat(60, 2, 0); c.name != "degree days above 2 °C from day 60" || c.family != heatFamily {
		t.Errorf("%q, %q", c.name, c.family)
	}
	if c := easedFromDecember(3, 0.008); !strings.HasSuffix(c.name, "0.8 % less a chilling day") {
		t.Errorf("%q", c.name)
	}
	d := steady(5, 5)
	for i := range 100 {
		d.LowC[i], d.HighC[i] = 3, 3
	}
	w, c := winterBefore(2026, &d, daysOfWinter(45)), easedFromDecember(3, 0.008)
	near(t, "a hundred days that do not chill", c.run(&w)[109], 20*math.Exp(-0.008*130), 1e-9)
}

// What a sign earns is the odds of one to nine, times the likelihood of a line through late
// signs and late ends against none (Schwarz 1978), by hand for four springs.
func TestWhatASignEarnsByHand(t *testing.T) {
	years := []SignYear{{"frogs", 2020, 58, 50, 91, 90}, {"frogs", 2021, 60, 50, 92, 90}, {"frogs", 2022, 62, 50, 91, 90}, {"frogs", 2023, 64, 50, 95, 90}}
	// Late by -32, -30, -28, -26, ended 1, 2, 1 and 5 days after: xx 20, yy 10.75, xy 11.
	explained := 11.0 * 11 / (20 * 10.75)
	odds := 1.0 / 9 * math.Exp(-1.5*math.Log(1-explained)-math.Log(4)/2)
	l := LearnSigns(years)[0]
	near(t, "trust", l.trust, odds/(1+odds), 1e-12)
	near(t, "slope", l.slope, 11.0/20, 1e-12)
	near(t, "usual", l.usualDays, -29, 1e-12)
	near(t, "a sign that is two days late", l.Moves(63, 90), odds/(1+odds)*11/20*2, 1e-12)
	// Springs of which the end or the warmth is not known, or that ended before the sign, say nothing.
	more := append(years, SignYear{"frogs", 2024, 70, 50, 0, 90}, SignYear{"frogs", 2025, 70, 50, 99, 0}, SignYear{"frogs", 2026, 70, 50, 70, 90})
	if m := LearnSigns(more)[0]; m.trust != l.trust || m.usualDays != l.usualDays {
		t.Errorf("%+v, and %+v with springs that say nothing", l, m)
	}
	if few := LearnSigns(years[:3])[0]; few.trust != 0 {
		t.Errorf("three springs earn %g", few.trust)
	}
}
