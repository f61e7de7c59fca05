package source

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// A bend is one way in which hours of a service go wrong: it changes hours [from, to).
type bend struct {
	name string
	do   func(s *weather.Series, from, to int)
}

// each changes every value of a column.
func each(v weather.Variable, f func(i int, x float64) float64) func(*weather.Series, int, int) {
	return func(s *weather.Series, from, to int) {
		col := s.Col(v)
		for i := from; i < to; i++ {
			col[i] = f(i, col[i])
		}
	}
}

func temperatures(f func(i int, c float64) float64) func(*weather.Series, int, int) {
	return each(weather.TemperatureC, f)
}

// every changes one value of so many.
func every(n int, f func(c float64) float64) func(*weather.Series, int, int) {
	return temperatures(func(i int, c float64) float64 {
		if i%n == 0 {
			return f(c)
		}
		return c
	})
}

// moved takes each value from another hour of the same part.
func moved(where func(i, n int) int) func(*weather.Series, int, int) {
	return func(s *weather.Series, from, to int) {
		for _, v := range weather.Variables() {
			if !s.Has(v) {
				continue
			}
			col := s.Col(v)
			was := slices.Clone(col[from:to])
			for i := range was {
				if j := where(i, len(was)); j >= 0 && j < len(was) {
					col[from+i] = was[j]
				} else {
					col[from+i] = math.NaN()
				}
			}
		}
	}
}

func to(x float64) func(int, float64) float64 { return func(int, float64) float64 { return x } }
func plus(x float64) func(int, float64) float64 {
	return func(_ int, c float64) float64 { return c + x }
}
func times(x float64) func(int, float64) float64 {
	return func(_ int, c float64) float64 { return c * x }
}

// bends are the ways in which feeds have been wrong, or could be.
func bends() []bend {
	inf, nan := math.Inf(1), math.NaN()
	out := []bend{
		{"nothing is known", temperatures(to(nan))},
		{"infinity", temperatures(to(inf))},
		{"less than nothing", temperatures(to(-inf))},
		{"one infinity", every(48, func(float64) float64 { return inf })},
		{"every second hour is missing", every(2, func(float64) float64 { return nan })},
		{"every third hour is missing", every(3, func(float64) float64 { return nan })},
		{"half a day of each two is missing", temperatures(func(i int, c float64) float64 {
			if i%48 < 12 {
				return nan
			}
			return c
		})},
		{"degrees Fahrenheit", temperatures(func(_ int, c float64) float64 { return 32 + 1.8*c })},
		{"Kelvin", temperatures(plus(273.15))},
		{"tenths of degrees", temperatures(times(10))},
		{"hundredths", temperatures(times(100))},
		{"tens of degrees", temperatures(times(0.1))},
		{"Fahrenheit taken for Celsius and turned again", temperatures(func(_ int, c float64) float64 { return (c - 32) / 1.8 })},
		{"another sign", temperatures(times(-1))},
		{"without sign", temperatures(func(_ int, c float64) float64 { return math.Abs(c) })},
		{"zero", temperatures(to(0))},
		{"constant frost", temperatures(to(-4))},
		{"constant warmth", temperatures(to(11))},
		{"missing as -999", temperatures(to(-999))},
		{"missing as 9999", temperatures(to(9999))},
		{"here and there -999", every(7, func(float64) float64 { return -999 })},
		{"here and there -99.9", every(7, func(float64) float64 { return -99.9 })},
		{"here and there -60", every(9, func(float64) float64 { return -60 })},
		{"here and there 55", every(9, func(float64) float64 { return 55 })},
		{"here and there zero", every(9, func(float64) float64 { return 0 })},
		{"one hour of 40", every(60, func(float64) float64 { return 40 })},
		{"one hour of -50", every(60, func(float64) float64 { return -50 })},
		{"huge", temperatures(to(1e300))},
		{"hardly anything", temperatures(to(5e-324))},
		{"the tropics", temperatures(plus(26))},
		{"the Arctic in winter", temperatures(plus(-38))},
		{"15 K too warm", temperatures(plus(15))},
		{"15 K too cold", temperatures(plus(-15))},
		{"warmer by the day", temperatures(func(i int, c float64) float64 { return c + float64(i%400)/5 })},
		{"colder by the day", temperatures(func(i int, c float64) float64 { return c - float64(i%400)/5 })},
		{"swings of 60 K", temperatures(func(_ int, c float64) float64 { return 4*c + 3 })},
		{"reversed", moved(func(i, n int) int { return n - 1 - i })},
		{"truncated after a day", moved(func(i, _ int) int {
			if i < 24 {
				return i
			}
			return -1
		})},
		{"truncated after six hours", moved(func(i, _ int) int {
			if i < 6 {
				return i
			}
			return -1
		})},
		{"begins two days late", moved(func(i, _ int) int {
			if i >= 48 {
				return i
			}
			return -1
		})},
		{"hours doubled", moved(func(i, _ int) int { return i / 2 })},
		{"every second hour taken out", moved(func(i, _ int) int { return 2 * i })},
		{"one day again and again", moved(func(i, _ int) int { return i % 24 })},
		{"one hour again and again", moved(func(i, _ int) int { return i % 6 })},
		{"hours shuffled", moved(func(i, n int) int { return i * 37 % n })},
		{"days swapped", moved(func(i, _ int) int { return i ^ 32 })},
	}
	return append(out, otherBends()...)
}

// otherBends are those of hours, and of what else there is beside temperatures.
func otherBends() (out []bend) {
	inf, nan := math.Inf(1), math.NaN()
	for _, h := range []int{1, 3, 5, 8, 10, 12, 14, 18, 24, 36, 48, 96} {
		out = append(out, bend{fmt.Sprintf("%d hours late", h), moved(func(i, _ int) int { return i - h })},
			bend{fmt.Sprintf("%d hours early", h), moved(func(i, _ int) int { return i + h })})
	}
	for _, c := range []struct {
		v    weather.Variable
		name string
		bad  []float64
	}{
		{weather.RelativeHumidityPct, "humidity", []float64{-30, 400, inf, 0.6, nan}},
		{weather.WindSpeedMS, "wind", []float64{-5, 500, inf, nan}},
		{weather.CloudCoverPct, "cloud", []float64{-200, 900, inf, nan}},
		{weather.ShortwaveWM2, "sunshine", []float64{-800, 1e6, inf, nan}},
		{weather.DewPointC, "dew point", []float64{-273, 271, 39, inf}},
		{weather.SurfacePressureHPa, "pressure", []float64{0, 97500, -1, 29.9, inf}},
		{weather.PrecipitationMM, "rain", []float64{-7, 1e5, inf, nan}},
	} {
		for _, x := range c.bad {
			out = append(out, bend{fmt.Sprintf("%s of %g", c.name, x), each(c.v, to(x))})
		}
	}
	return out
}

// spring is what is true, and what a whole service says of it.
func spring(now time.Time) weather.Bulletin {
	s := weather.NewSeries(now.Add(-100*time.Hour), 101+122)
	for i := range s.Hours() {
		hour := float64(s.Time(i).Hour()) - 72.0/15
		s.Col(weather.TemperatureC)[i] = 1 + 2*math.Sin(float64(i)/50) - 7*math.Cos(2*math.Pi*(hour-3)/24)
		s.Col(weather.RelativeHumidityPct)[i] = 60
		s.Col(weather.CloudCoverPct)[i] = 40
		s.Col(weather.WindSpeedMS)[i] = 3
		s.Col(weather.SurfacePressureHPa)[i] = 975
		s.Col(weather.PrecipitationMM)[i] = 0
	}
	b := weather.Bulletin{Source: "said", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: 300}
	for m := range 6 {
		one := s.Slice(101, s.Hours())
		for i := range one.Hours() {
			one.Col(weather.TemperatureC)[i] += 0.3 * (float64(m) - 2.5)
		}
		b.Members = append(b.Members, one)
	}
	return b
}

// Whatever a service gets wrong, in its course, in its members, in one of them or in what
// it says of the past: what is told is weather that there can be, and near what is true, or
// the last good forecast is told as such.
func TestNothingImplausibleIsTold(t *testing.T) {
	now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	truth := spring(now)
	dir := t.TempDir()
	keep, err := NewKeep(dir)
	if err != nil {
		t.Fatal(err)
	}
	before := spring(now)
	before.IssuedAt = now.Add(-4 * time.Hour)
	parts := []struct {
		name string
		bend func(b *weather.Bulletin, with func(s *weather.Series, from, to int))
	}{
		{"course", func(b *weather.Bulletin, with func(*weather.Series, int, int)) {
			with(&b.Course, 101, b.Course.Hours())
		}},
		{"observations", func(b *weather.Bulletin, with func(*weather.Series, int, int)) { with(&b.Course, 0, 101) }},
		{"members", func(b *weather.Bulletin, with func(*weather.Series, int, int)) {
			for m := range b.Members {
				with(&b.Members[m], 0, b.Members[m].Hours())
			}
		}},
		{"two members of six", func(b *weather.Bulletin, with func(*weather.Series, int, int)) {
			for m := range 2 {
				with(&b.Members[m], 0, b.Members[m].Hours())
			}
		}},
		{"everything", func(b *weather.Bulletin, with func(*weather.Series, int, int)) {
			with(&b.Course, 0, b.Course.Hours())
			for m := range b.Members {
				with(&b.Members[m], 0, b.Members[m].Hours())
			}
		}},
	}
	list, kept, put := bends(), 0, false
	for _, f := range list {
		for _, part := range parts {
			b := spring(now)
			part.bend(&b, f.do)
			if !put {
				if err := keep.Store(context.Background(), "b", &before, before.IssuedAt); err != nil {
					t.Fatal(err)
				}
			}
			chain := Chain{Forecasters: []Forecaster{said{name: "said", b: b}}, Keep: keep}
			o, err := chain.Ask(context.Background(), "b", Request{Place: place, Now: now, PastDays: 4, Days: 5})
			if err != nil {
				t.Errorf("%s, %s: nothing is told at all: %v", f.name, part.name, err)
				continue
			}
			if put = o.Kept; put {
				kept++
			}
			e, err := weather.Assemble(&o.Bulletin, place, now, 1)
			if err != nil {
				t.Errorf("%s, %s: %v", f.name, part.name, err)
				continue
			}
			if why := implausible(&e, &truth.Course); why != "" {
				t.Errorf("%s, %s: %s", f.name, part.name, why)
			}
		}
	}
	if len(list) < 70 {
		t.Errorf("%d kinds of fault, want 70", len(list))
	}
	if n := len(list) * len(parts); kept < n/6 || kept > n*3/4 {
		t.Errorf("of %d faults %d end with the last good forecast", n, kept)
	}
	t.Logf("%d kinds of fault in %d parts: %d end with the last good forecast", len(list), len(parts), kept)
}

// implausible says what there is in an ensemble that no weather is, or that is far from
// what is true.
func implausible(e *weather.Ensemble, truth *weather.Series) string {
	for i, s := range slices.Concat(e.Futures, []weather.Series{e.Past}) {
		if v, h, absurd := s.Absurd(); absurd {
			return fmt.Sprintf("series %d has %s of %g at hour %d", i, v, s.At(v, h), h)
		}
		if slices.ContainsFunc(s.Col(weather.TemperatureC), math.IsNaN) {
			return fmt.Sprintf("series %d has hours without temperature", i)
		}
	}
	for hour := range min(48, e.Futures[0].Hours()) {
		var all []float64
		at := e.Futures[0].Time(hour)
		for i := range e.Futures {
			all = append(all, e.Futures[i].At(weather.TemperatureC, e.Futures[i].Index(at)))
		}
		real := truth.At(weather.TemperatureC, truth.Index(at))
		if off := weather.Median(all) - real; math.Abs(off) > 17 {
			return fmt.Sprintf("%+.0f K at %s", off, at.Format("2 15:04"))
		}
		if off := slices.Max(all) - real; off > 27 {
			return fmt.Sprintf("one member lies %+.0f K off at %s", off, at.Format("2 15:04"))
		}
		if off := slices.Min(all) - real; off < -27 {
			return fmt.Sprintf("one member lies %+.0f K off at %s", off, at.Format("2 15:04"))
		}
	}
	if e.Futures[0].Hours() < 20 {
		return fmt.Sprintf("%d hours are told", e.Futures[0].Hours())
	}
	var past []float64
	for i := max(e.Past.Hours()-48, 0); i < e.Past.Hours(); i++ {
		past = append(past, math.Abs(e.Past.At(weather.TemperatureC, i)-truth.At(weather.TemperatureC, truth.Index(e.Past.Time(i)))))
	}
	if len(past) > 0 && weather.Median(past) > 13 {
		return fmt.Sprintf("the past lies %.0f K off", weather.Median(past))
	}
	return ""
}
