package trunk

import (
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// sapwood is a quarter of an hour of a sugar maple in Durham, New Hampshire,
// February 2023 (R package DBM.functions, data set Sugar_Maple_Data, Moore,
// MIT): sap flow in cm/h, up positive, and temperature 1 cm deep. NaN is a gap.
type sapwood struct {
	at          time.Time
	flow, tempC float64
}

func readSapwood(t *testing.T) []sapwood {
	t.Helper()
	rows, err := csv.NewReader(beside.Open(t, "data/sapwood-2023-15min.csv")).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return math.NaN()
		}
		return x
	}
	var out []sapwood
	for _, r := range rows[1:] {
		// The file calls its times local; the wood is warmest at 21 h by them, so
		// that they must be UTC.
		at, err := time.Parse(time.DateTime, r[0])
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, sapwood{at, number(r[1]), number(r[2])})
	}
	return out
}

// hourMedian is the median flow of the hour that begins at reading i.
func hourMedian(s []sapwood, i int) float64 {
	var x []float64
	for k := max(i, 0); k < min(i+4, len(s)); k++ {
		if !math.IsNaN(s[k].flow) {
			x = append(x, s[k].flow)
		}
	}
	if len(x) == 0 {
		return math.Inf(-1)
	}
	slices.Sort(x)
	return x[len(x)/2]
}

// The mechanism of the model in a real tree: sap surges as the sapwood thaws,
// after a frost that reached into the plateau and beyond, and not after a
// shallow one.
func TestObservedFlowStartsAsSapwoodThaws(t *testing.T) {
	s := readSapwood(t)
	const deep, surge = -0.45, 8.0 // °C of the coldest moment; cm/h
	frozen, coldest := false, 0.0
	surges := map[bool]int{}
	thaws := map[bool]int{}
	t.Log("thaw (UTC)     coldest °C   best hour's flow from 3 h before to 1 h after, cm/h")
	for i, r := range s {
		switch {
		case math.IsNaN(r.tempC):
		case !frozen && r.tempC < -0.15:
			frozen, coldest = true, r.tempC
		case frozen && r.tempC > 0:
			best := math.Inf(-1)
			for k := i - 12; k <= i; k++ {
				best = max(best, hourMedian(s, k))
			}
			t.Logf("%s   %6.2f   %6.1f", r.at.Format("Jan 02 15:04"), coldest, best)
			thaws[coldest < deep]++
			if best > surge {
				surges[coldest < deep]++
			}
			frozen = false
		case frozen:
			coldest = min(coldest, r.tempC)
		}
	}
	t.Logf("surges at thaw: %d of %d after a frost below %.2f °C, %d of %d after a shallower one", surges[true], thaws[true], deep,
		surges[false], thaws[false])
	if thaws[true] < 6 || float64(surges[true]) < 0.8*float64(thaws[true]) || surges[false] > 0 {
		t.Errorf("%d of %d deep, %d of %d shallow", surges[true], thaws[true], surges[false], thaws[false])
	}
}

// The plateau: the air of these days is not known. One that is lower by night
// and higher by day than the wood, by the two offsets that make the model's
// sapwood follow the real one best, must also make it stay at freezing as long.
func TestModelShowsThePlateauOfSapwood(t *testing.T) {
	s := readSapwood(t)
	first := s[0].at.Truncate(24 * time.Hour)
	wood := weather.NewDaily(first, 17)
	observed := weather.NewSeries(first, 17*24)
	for _, r := range s {
		i := wood.Index(r.at.Add(-5 * time.Hour)) // the local date
		if math.IsNaN(r.tempC) || i < 0 {
			continue
		}
		if !(wood.LowC[i] <= r.tempC) {
			wood.LowC[i] = r.tempC
		}
		if !(wood.HighC[i] >= r.tempC) {
			wood.HighC[i] = r.tempC
		}
		if r.at.Minute() == 0 {
			observed.Set(weather.TemperatureC, r.at, r.tempC)
		}
	}
	best := plateau{rmseK: math.Inf(1)}
	for down := 0.0; down <= 4; down += 0.5 {
		for up := 0.0; up <= 6; up += 0.5 {
			if p := comparePlateau(&wood, &observed, down, up); p.rmseK < best.rmseK {
				best = p
			}
		}
	}
	t.Logf("air %.1f K below the wood's lows and %.1f K above its highs: within 0.3 K of 0 °C %.0f %% of observed and %.0f %% of modelled hours; differing by %.2f K (RMS)",
		best.downK, best.upK, 100*best.seen, 100*best.modelled, best.rmseK)
	if best.modelled < best.seen/1.5 || best.modelled > best.seen*1.5 || best.rmseK > 2 {
		t.Errorf("%+v", best)
	}
}

type plateau struct{ downK, upK, seen, modelled, rmseK float64 }

func comparePlateau(wood *weather.Daily, observed *weather.Series, downK, upK float64) plateau {
	place := weather.Place{LatitudeDeg: 43.13, LongitudeDeg: -70.93, ElevationM: 20}
	days := weather.NewDaily(wood.First, wood.Days())
	for i := range days.LowC {
		days.LowC[i], days.HighC[i] = wood.LowC[i]-downK, wood.HighC[i]+upK
	}
	const begin, end = 24, 15 * 24
	air := days.Hourly(place)
	air = air.Slice(begin, end)
	air.Complete(place)
	clear(air.Col(weather.ShortwaveWM2)) // the sun is in the wood's own highs
	g := NewGrid(SugarMaple(0.3))
	tree := NewTree(0.3, Exposed(Closed, math.NaN()), place)
	stem, branch := make([]Bark, air.Hours()), make([]Bark, air.Hours())
	Barks(stem, branch, tree.exposure, &air, 0, tree.exposure.beams(weather.Suns(&air, place)), tree.stemTable, tree.branchTable)
	state := g.NewStem(-1.6)
	p := plateau{downK: downK, upK: upK}
	hours := 0.0
	for i, bark := range stem {
		g.Hour(state, bark)
		c, seen := g.TemperatureC(state, 0.01), observed.At(weather.TemperatureC, begin+i+1)
		if math.IsNaN(seen) {
			continue
		}
		hours++
		p.rmseK += (c - seen) * (c - seen)
		if math.Abs(seen) <= 0.3 {
			p.seen++
		}
		if math.Abs(c) <= 0.3 {
			p.modelled++
		}
	}
	p.seen, p.modelled, p.rmseK = p.seen/hours, p.modelled/hours, math.Sqrt(p.rmseK/hours)
	return p
}
