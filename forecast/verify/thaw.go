package verify

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

// The event: a night's low of at most 30 °F, then a high of at least 38 °F.
// Observations are whole degrees, so that half a degree beyond each bound
// still counts.
const (
	frostF     = 30.0
	thawF      = 38.0
	halfDegree = 0.5
)

// inSapSeason is true of February to April.
func inSapSeason(p *Pair) bool {
	m := p.Night.Month()
	return m >= 2 && m <= 4
}

// ThawModel says how likely a night of frost and a day of thaw are, from the
// forecasts known at one time: observed lows and highs stray normally, and
// together a little, around straight-line corrections of what was forecast.
type ThawModel struct {
	when            When
	low, high       []float64 // coefficients of weather.Known's LowTerms and HighTerms
	lowSDF, highSDF float64
	correlation     float64
	stations        map[string]StationBias // none for a station never seen
}

// stationsUsed are the biases that are not nought.
func (m *ThawModel) stationsUsed() map[string]StationBias {
	used := map[string]StationBias{}
	for s, b := range m.stations {
		if b.LowF != 0 || b.HighF != 0 {
			used[s] = b
		}
	}
	return used
}

// StationBias is what a station's lows and highs lie above what the stations
// together teach, °F, drawn towards 0 the fewer its nights.
type StationBias struct {
	LowF  float64 `json:"low_f"`
	HighF float64 `json:"high_f"`
	N     int     `json:"n"`
}

// FitThaw fits the model by least squares on the pairs of February to April
// that are complete, with what is known at one time.
func FitThaw(train []Pair, when When) (ThawModel, error) {
	const fewest = 60
	var use []*Pair
	for i := range train {
		if p := &train[i]; p.observed && when.knows(p) && inSapSeason(p) {
			use = append(use, p)
		}
	}
	if len(use) < fewest {
		return ThawModel{}, fmt.Errorf("%d complete nights of February to April to learn from, and at least %d are needed; give a longer file", len(use), fewest)
	}
	m := ThawModel{when: when}
	var lowErr, highErr []float64
	var err error
	if m.low, lowErr, err = leastSquares(use, when, (*weather.Known).LowTerms, func(p *Pair) float64 { return p.LowSeen }); err != nil {
		return ThawModel{}, fmt.Errorf("fit the lows: %w", err)
	}
	if m.high, highErr, err = leastSquares(use, when, (*weather.Known).HighTerms, func(p *Pair) float64 { return p.HighSeen }); err != nil {
		return ThawModel{}, fmt.Errorf("fit the highs: %w", err)
	}
	m.stations = map[string]StationBias{}
	low, high := shrunkMeans(use, lowErr), shrunkMeans(use, highErr)
	for i, p := range use {
		m.stations[p.Station] = StationBias{low[p.Station], high[p.Station], m.stations[p.Station].N + 1}
		lowErr[i] -= low[p.Station]
		highErr[i] -= high[p.Station]
	}
	for i := range use {
		m.lowSDF += lowErr[i] * lowErr[i]
		m.highSDF += highErr[i] * highErr[i]
		m.correlation += lowErr[i] * highErr[i]
	}
	n := float64(len(use))
	m.lowSDF, m.highSDF = math.Sqrt(m.lowSDF/n), math.Sqrt(m.highSDF/n)
	m.correlation /= n * m.lowSDF * m.highSDF
	return m, nil
}

// shrunkMeans are the stations' mean residuals, drawn to 0 by what chance alone
// would scatter them (random effects, by moments). Their scatter must pass what
// chance gives by one standard error: below that, stations foretold by their own
// means came out worse than by the pooled model.
func shrunkMeans(use []*Pair, residuals []float64) map[string]float64 {
	sum, count := map[string]float64{}, map[string]float64{}
	within := 0.0
	for i, p := range use {
		sum[p.Station] += residuals[i]
		count[p.Station]++
		within += square(residuals[i]) / float64(len(use))
	}
	between := 0.0
	for s, n := range count {
		between += (square(sum[s]/n) - within/n) / float64(len(count))
	}
	chance := within * float64(len(count)) / float64(len(use))
	between -= chance * math.Sqrt(2/max(float64(len(count)-1), 1))
	means := map[string]float64{}
	for s, n := range count {
		if between > 0 {
			means[s] = sum[s] / n * between / (between + within/n)
		}
	}
	return means
}

// leastSquares leaves out terms that are 0 throughout, as where a file lacks what
// they are made of.
func leastSquares(use []*Pair, when When, terms func(*weather.Known) []float64, seen func(*Pair) float64) (coefficients,
	residuals []float64, err error) {
	var rows [][]float64
	var told []int
	y := mat.NewVecDense(len(use), nil)
	for i, p := range use {
		k := when.of(p)
		rows = append(rows, terms(&k))
		y.SetVec(i, seen(p))
	}
	for c := range rows[0] {
		if slices.ContainsFunc(rows, func(row []float64) bool { return row[c] != 0 }) {
			told = append(told, c)
		}
	}
	x := mat.NewDense(len(use), len(told), nil)
	for i, row := range rows {
		x.SetRow(i, pick(row, told))
	}
	var b mat.VecDense
	if err := b.SolveVec(x, y); err != nil {
		return nil, nil, errors.New("the forecasts are too much alike to tell anything from")
	}
	var fit mat.VecDense
	fit.MulVec(x, &b)
	for i := range use {
		residuals = append(residuals, y.AtVec(i)-fit.AtVec(i))
	}
	coefficients = make([]float64, len(rows[0]))
	for i, c := range told {
		coefficients[c] = b.AtVec(i)
	}
	return coefficients, residuals, nil
}

// means are the low and the high that a pair's forecasts lead to, °F.
func (m *ThawModel) means(p *Pair) (low, high float64) {
	own, k := m.stations[p.Station], m.when.of(p)
	return dot(m.low, k.LowTerms()) + own.LowF, dot(m.high, k.HighTerms()) + own.HighF
}

// Probability is the chance of the event for a pair, from its forecasts alone.
func (m *ThawModel) Probability(p *Pair) float64 { return m.probability(p, [2]float64{}) }

// probability is that of a bush whose lows and highs are shifted, °F.
func (m *ThawModel) probability(p *Pair, shift [2]float64) float64 {
	low, high := m.means(p)
	low, high = low+shift[0], high+shift[1]
	frost := distuv.UnitNormal.CDF((frostF + halfDegree - low) / m.lowSDF)
	// Over the frosty part of the low's distribution, in steps of equal
	// probability: the high leans with the low.
	const steps = 64
	rest := math.Sqrt(1 - m.correlation*m.correlation)
	sum := 0.0
	for i := range steps {
		z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / steps * frost)
		if math.IsInf(z, -1) {
			z = -9
		}
		sum += distuv.UnitNormal.CDF(((high-thawF+halfDegree)/m.highSDF + m.correlation*z) / rest)
	}
	return frost * sum / steps
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
