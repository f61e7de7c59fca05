package main

import (
	"math"
	"math/rand/v2"
	"time"

	"thawline/forecast/weather"
)

// The invented bush: hills of the north-east, 420 m up.
var (
	place  = weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420}
	first  = time.Date(2025, 12, 1, 5, 0, 0, 0, time.UTC)
	hours  = 182 * 24
	issued = time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC) // half an hour before the demonstration's now
)

// seed chose a season with a cold March, a good dozen runs and a warm end; it
// fixes every file.
const seed = 20362

// wander is a random walk that is drawn back to zero: unit spread, correlated
// over so many hours.
type wander struct{ value, keep float64 }

func newWander(rng *rand.Rand, memoryHours float64) *wander {
	return &wander{rng.NormFloat64(), math.Exp(-1 / memoryHours)}
}

func (w *wander) next(rng *rand.Rand) float64 {
	w.value = w.keep*w.value + math.Sqrt(1-w.keep*w.keep)*rng.NormFloat64()
	return w.value
}

// inventSeason draws the weather hour by hour: a yearly course, spells of some
// days, fronts that bring cloud, wind and rain or snow, and a daily swing that
// is wide under a clear sky. Seasonal means and ranges are those usual in hills
// at this latitude (common practice).
func inventSeason(start time.Time, n int, seed uint64) weather.Series {
	rng := rand.New(rand.NewPCG(seed, 1))
	s := weather.NewSeries(start, n)
	spell, unrest, front, breeze := newWander(rng, 70), newWander(rng, 30), newWander(rng, 14), newWander(rng, 10)
	snow := 0.25
	for i := range n {
		at := s.Time(i)
		day := float64(at.YearDay())
		if at.YearDay() > 300 {
			day -= 365
		}
		mean := 6 - 14.5*math.Cos(2*math.Pi*(day-20)/365)
		warm := spell.next(rng)
		low := unrest.next(rng) // low pressure where positive
		z := 0.75*low + 0.65*front.next(rng)
		cloud := 100 * 0.5 * math.Erfc(-(z+0.05)/math.Sqrt2)
		mass := mean + (5.2-0.008*day)*warm + 0.8*low

		solar := math.Mod(float64(at.Hour())+float64(at.Minute())/60+place.LongitudeDeg/15+48, 24)
		swing := (1.6 + 4.6*(1-cloud/100)) * (0.8 + 0.3*min(max(day/110, 0), 1))
		temperature := mass + swing*dailyShape(solar)
		dew := min(mass-2-5*(1-cloud/100)+0.3*swing*dailyShape(solar), temperature-0.2)
		wind := max(0.4, 2.2+1.3*low+1.1*breeze.next(rng)+0.9*max(dailyShape(solar), 0))
		if z > 1.1 {
			wind += 1.5 * (z - 1.1)
		}
		rain := 0.0
		if z > 1.0 && rng.Float64() < 0.6 {
			rain = round(rng.ExpFloat64()*1.1*(z-0.8), 1)
		}
		if temperature <= 0.5 {
			snow += rain / 1000 * 9
		}
		snow = max(0, snow*(1-0.0006)-max(temperature, 0)*0.0045/24*10/4)

		sun := weather.SunAt(at.Add(30*time.Minute), place.LatitudeDeg, place.LongitudeDeg)
		seaLevel := 1016 - 8*low + 2*warm
		s.Col(weather.TemperatureC)[i] = round(temperature, 1)
		s.Col(weather.DewPointC)[i] = round(dew, 1)
		s.Col(weather.RelativeHumidityPct)[i] = math.Round(weather.RelativeHumidityFrom(temperature, dew))
		s.Col(weather.SurfacePressureHPa)[i] = round(weather.PressureAtHeight(seaLevel, temperature, 0, place.ElevationM), 1)
		s.Col(weather.ShortwaveWM2)[i] = math.Round(weather.CloudyShortwaveWM2(sun.ElevationDeg, cloud))
		s.Col(weather.CloudCoverPct)[i] = math.Round(cloud)
		s.Col(weather.WindSpeedMS)[i] = round(wind, 1)
		s.Col(weather.PrecipitationMM)[i] = rain
		s.Col(weather.SnowDepthM)[i] = round(snow, 2)
	}
	return s
}

// dailyShape runs from -1 at half past five to +1 at half past two by the sun.
func dailyShape(solarHour float64) float64 {
	const low, high = 5.5, 14.5
	if solarHour >= low && solarHour <= high {
		return -math.Cos(math.Pi * (solarHour - low) / (high - low))
	}
	return math.Cos(math.Pi * math.Mod(solarHour-high+24, 24) / (24 - high + low))
}

func round(x float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(x*p) / p
}
