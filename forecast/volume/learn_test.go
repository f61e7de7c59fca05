package volume

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// truth is one bush drawn from the prior: log yields by group, trend, spread.
type truth struct {
	yields        []float64
	trend, spread float64
	ours          bool // errors are of the law that is assumed, else of one a little heavier
}

func drawTruth(rng *rand.Rand, priors []Belief) truth {
	sharedSD := math.Sqrt(priors[0].LogSD*priors[0].LogSD - ownLog*ownLog)
	common := sharedSD * rng.NormFloat64()
	t := truth{trend: trendLog * rng.NormFloat64(), spread: priors[0].DayLogSD * math.Exp(spreadLog*rng.NormFloat64())}
	for _, p := range priors {
		t.yields = append(t.yields, p.LogMean+common+ownLog*rng.NormFloat64())
	}
	return t
}

// visit draws what a visit brings under a truth.
func (t truth) visit(rng *rand.Rand, group int, month float64) Visit {
	const taps = 50
	v := Visit{Group: group, Months: month, Taps: taps, Days: 1 + 3*rng.Float64()}
	v.ExpectedL = taps * 2.5 * rng.ExpFloat64()
	little := smallL * float64(taps)
	error := distuv.StudentsT{Sigma: 1, Nu: 5}.Quantile(rng.Float64())
	if t.ours {
		part := errorParts[0]
		if rng.Float64() > part.share {
			part = errorParts[1]
		}
		error = part.width * rng.NormFloat64()
	}
	noise := t.spread * visitShare(v.Days) * error
	v.ObservedL = max((v.ExpectedL*math.Exp(t.yields[group]+t.trend*month)+little)*math.Exp(noise)-little, 0)
	return v
}

// learnHere is what is learnt where the air is that of the forecast and people come by
// the clock.
func learnHere(priors []Belief, visits []Visit) (*Bush, error) {
	know := Unknown(priors...)
	know.Habit = []float64{1, 0, 0, 0}
	strands := make([][]Visit, len(visits))
	for i := range visits {
		strands[i] = visits[i : i+1]
	}
	return Learn(know, []float64{0}, strands)
}

// drawOf is one set of parameters that may be true.
func drawOf(p *Bush, rng *rand.Rand) []float64 {
	x := make([]float64, fixedParameters+len(p.know.Groups))
	for k := range x {
		x[k] = rng.NormFloat64()
	}
	p.partOf(0, 0.5).draw(x)
	return x
}

func priorsOf(groups int) []Belief {
	p := make([]Belief, groups)
	for i := range p {
		p[i] = Prior(Pail)
	}
	return p
}

// Simulation-based calibration (Talts et al. 2018): the rank of the truth among
// draws of the posterior is even.
func TestPosteriorIsCalibrated(t *testing.T) {
	const seasons, draws, bins = 400, 99, 10
	rng := rand.New(rand.NewPCG(3, 4))
	priors := priorsOf(2)
	counts := map[string]*[bins]float64{"yield": {}, "trend": {}, "spread": {}}
	for range seasons {
		truth := drawTruth(rng, priors)
		truth.ours = true
		var visits []Visit
		for k := range 16 {
			visits = append(visits, truth.visit(rng, k%2, float64(k)/10))
		}
		p, err := learnHere(priors, visits)
		if err != nil {
			t.Fatal(err)
		}
		rank := map[string]int{}
		for range draws {
			d := drawOf(p, rng)
			for name, below := range map[string]bool{"yield": priors[0].LogMean+d[shared]+d[fixedParameters] < truth.yields[0],
				"trend": d[trend] < truth.trend, "spread": math.Exp(d[logSpread]) < truth.spread} {
				if below {
					rank[name]++
				}
			}
		}
		for name, c := range counts {
			c[rank[name]*bins/(draws+1)]++
		}
	}
	for name, c := range counts {
		chi2 := 0.0
		for _, n := range c {
			chi2 += (n - seasons/bins) * (n - seasons/bins) / (seasons / bins)
		}
		t.Logf("%s: ranks by tenth %v, chi² %.1f", name, *c, chi2)
		if chi2 > 27.9 { // one chance in a thousand with nine degrees of freedom
			t.Errorf("the rank of the true %s is uneven: %v", name, *c)
		}
	}
}

// On simulated seasons: the 80 % interval of the next visit holds 75 to 85 % of
// them, and ten visits take at least 30 % off the CRPS of the yield.
func TestLearningOnSimulatedSeasons(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	priors := priorsOf(1)
	const seasons, learntFrom = 300, 10
	before, err := learnHere(priors, nil)
	if err != nil {
		t.Fatal(err)
	}
	var held, n, crpsBefore, crpsAfter float64
	for s := range seasons {
		truth := drawTruth(rng, priors)
		var visits []Visit
		for k := range learntFrom {
			visits = append(visits, truth.visit(rng, 0, float64(k)/8))
		}
		p, err := learnHere(priors, visits)
		if err != nil {
			t.Fatal(err)
		}
		next := truth.visit(rng, 0, 1.3)
		draws := p.Collect([]Visit{next}, 0, 400, uint64(s))
		if draws[40] <= next.ObservedL && next.ObservedL <= draws[360] {
			held++
		}
		n++
		yield := math.Exp(truth.yields[0])
		crpsBefore += crpsOfYield(before, yield, rng)
		crpsAfter += crpsOfYield(p, yield, rng)
	}
	t.Logf("80 %% interval held %.0f %%; CRPS of the yield %.3f before, %.3f after ten visits (-%.0f %%)", 100*held/n, crpsBefore/n,
		crpsAfter/n, 100*(1-crpsAfter/crpsBefore))
	if held/n < 0.75 || held/n > 0.85 || crpsAfter > 0.7*crpsBefore {
		t.Errorf("held %.2f, CRPS %.3f to %.3f", held/n, crpsBefore/n, crpsAfter/n)
	}
}

// crpsOfYield scores draws of the yield by the energy form of the CRPS.
func crpsOfYield(p *Bush, yield float64, rng *rand.Rand) float64 {
	const draws = 200
	x := make([]float64, draws)
	for i := range x {
		d := drawOf(p, rng)
		x[i] = math.Exp(p.know.Groups[0].LogMean + d[shared] + d[fixedParameters])
	}
	slices.Sort(x)
	sum := 0.0
	for i, v := range x {
		sum += math.Abs(v-yield)/draws - v*(2*float64(i)+1-draws)/draws/draws
	}
	return sum
}

// One entry with a slipped comma must not wreck what thirty others taught.
func TestOneBadEntryCountsLittle(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	priors := priorsOf(1)
	truth := truth{yields: []float64{-0.7}, spread: 0.5}
	var visits []Visit
	for range 15 {
		visits = append(visits, truth.visit(rng, 0, 0))
	}
	clean, err := learnHere(priors, visits)
	if err != nil {
		t.Fatal(err)
	}
	visits[4].ObservedL *= 100
	spoilt, err := learnHere(priors, visits)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := clean.LogYield(0)
	b, _ := spoilt.LogYield(0)
	if math.Abs(a-b) > 0.12 {
		t.Errorf("a slipped comma moves the log yield from %.2f to %.2f", a, b)
	}
}

// Full containers say "at least": they never lower what is believed.
func TestFullContainersCountAsAtLeast(t *testing.T) {
	priors := priorsOf(1)
	var full, exact []Visit
	for range 6 {
		v := Visit{Taps: 50, ExpectedL: 400, Days: 1, ObservedL: 375}
		exact = append(exact, v)
		v.AtLeast = true
		full = append(full, v)
	}
	a, err := learnHere(priors, exact)
	if err != nil {
		t.Fatal(err)
	}
	b, err := learnHere(priors, full)
	if err != nil {
		t.Fatal(err)
	}
	ya, _ := a.LogYield(0)
	yb, _ := b.LogYield(0)
	if yb <= ya+0.05 {
		t.Errorf("log yield %.2f from full pails, %.2f from measured ones", yb, ya)
	}
}

// A group without records borrows from the others (partial pooling), and one
// with its own keeps apart.
func TestGroupsShareWhatIsLearnt(t *testing.T) {
	priors := priorsOf(3)
	var visits []Visit
	for range 20 {
		visits = append(visits, Visit{Group: 0, Taps: 50, ExpectedL: 100, Days: 1, ObservedL: 35},
			Visit{Group: 1, Taps: 50, ExpectedL: 100, Days: 1, ObservedL: 50})
	}
	p, err := learnHere(priors, visits)
	if err != nil {
		t.Fatal(err)
	}
	prior := priors[0].LogMean
	y0, sd0 := p.LogYield(0)
	y1, _ := p.LogYield(1)
	y2, sd2 := p.LogYield(2)
	if !(y0 < y1 && y1 < prior && y2 < prior-0.1) || sd2 < sd0 || sd2 > priors[2].LogSD {
		t.Errorf("%.2f %.2f, without records %.2f ± %.2f; prior %.2f", y0, y1, y2, sd2, prior)
	}
}

func TestLearnRefusesNonsense(t *testing.T) {
	if _, err := learnHere(nil, nil); err == nil {
		t.Error("learnt about no group")
	}
	for _, v := range []Visit{{Group: 1, Taps: 1}, {Taps: 0}, {Taps: 1, ExpectedL: math.NaN()}, {Taps: 1, ObservedL: -1}} {
		if _, err := learnHere(priorsOf(1), []Visit{v}); err == nil {
			t.Errorf("%+v was learnt from", v)
		}
	}
}

// Years of records for some groups: about 40 visits a season.
func BenchmarkLearnYears(b *testing.B) {
	for _, size := range []struct{ years, groups int }{{20, 20}, {30, 25}, {30, 50}, {30, 100}} {
		b.Run(fmt.Sprintf("years=%d/groups=%d", size.years, size.groups), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 2))
			priors := priorsOf(size.groups)
			truth := drawTruth(rng, priors)
			years := make([][]Visit, size.years)
			for y := range years {
				for g := range priors {
					for k := range 40 {
						years[y] = append(years[y], truth.visit(rng, g, float64(k)/30))
					}
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				priors := priors
				for _, visits := range years {
					p, err := learnHere(priors, visits)
					if err != nil {
						b.Fatal(err)
					}
					priors = p.NextSeason().Groups
				}
			}
		})
	}
}

// Records that contradict one another leave what is known no wider than before any.
func TestContradictionsTeachLittle(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	priors := priorsOf(1)
	for range 200 {
		var visits []Visit
		for k := range 20 {
			visits = append(visits, Visit{Months: float64(k) / 10, Taps: 50, Days: 1, ExpectedL: 300 * rng.Float64() * rng.Float64(),
				ObservedL: 400 * rng.Float64() * float64(rng.IntN(2))})
		}
		p, err := learnHere(priors, visits)
		if err != nil {
			t.Fatal(err)
		}
		if _, sd := p.LogYield(0); !(sd <= 1.01*priors[0].LogSD) {
			t.Fatalf("log yield strays by %.2f after %+v", sd, visits)
		}
		for _, row := range p.Factors(make([]int, 8), 8, []float64{0, 2}, 1)[0] {
			if !(row[0] < 1e3 && row[1] < 1e3) {
				t.Fatalf("yields of %v", row)
			}
		}
	}
}
