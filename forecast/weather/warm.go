package weather

import "math"

// Warm shifts the air of a series by so many kelvin, the dew point by half of them, as
// far as it stays below, and the humidity with both: air that is colder in a hollow than
// above it holds a little less.
func (s *Series) Warm(kelvin float64) {
	s.warm(func(int) float64 { return kelvin })
}

// warm is Warm by an offset of each hour.
func (s *Series) warm(byK func(hour int) float64) {
	temperature, dew, humidity := s.Col(TemperatureC), s.Col(DewPointC), s.cols[RelativeHumidityPct]
	for i := range temperature {
		k := byK(i)
		temperature[i] += k
		if !math.IsNaN(dew[i]) {
			dew[i] = min(dew[i]+k/2, temperature[i])
		}
		if humidity != nil && !math.IsNaN(dew[i]) {
			humidity[i] = RelativeHumidityFrom(temperature[i], dew[i])
		}
	}
}

// Warm makes an ensemble that of a place whose air is warmer, in K: most likely by so
// much, and by an offset of its own in each future.
func (e *Ensemble) Warm(likelyK float64, futuresK []float64) {
	e.Past.Warm(likelyK)
	e.Likely = e.Futures[0].Slice(0, e.Futures[0].Hours())
	e.Likely.Warm(likelyK)
	for m := range e.Futures {
		e.Futures[m].Warm(futuresK[m])
	}
}
