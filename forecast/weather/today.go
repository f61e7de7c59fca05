package weather

import (
	"math"
	"time"
)

// fadeHalf is how long after a day half of what it was off by is left.
const fadeHalf = 12 * time.Hour

// Today has the air of a day, from its first moment until the next day's, warmer in K than
// was forecast, with what the members differ by shrunk to a standard deviation at the most;
// both fade after the day. It changes temperature and what goes with it.
func (e *Ensemble) Today(from, until time.Time, warmerK, sdK float64) {
	e.Past.Shift(from, warmerK)
	if len(e.Futures) == 0 {
		return
	}
	hours, members := e.Futures[0].Hours(), float64(len(e.Futures))
	mean, scale, fade := make([]float64, hours), make([]float64, hours), make([]float64, hours)
	for i := range mean {
		squares := 0.0
		for m := range e.Futures {
			c := e.Futures[m].At(TemperatureC, i)
			mean[i] += c / members
			squares += c * c / members
		}
		fade[i] = math.Exp2(-max(e.Futures[0].Time(i).Sub(until), 0).Hours() / fadeHalf.Hours())
		if sd := math.Sqrt(max(squares-mean[i]*mean[i], 0)); sd > sdK {
			scale[i] = (1 - sdK/sd) * fade[i]
		}
	}
	for m := range e.Futures {
		f := &e.Futures[m]
		was := append([]float64{}, f.Col(TemperatureC)...)
		f.warm(func(i int) float64 { return warmerK*fade[i] - scale[i]*(was[i]-mean[i]) })
	}
}

// Shift makes the air from a moment on warmer, in K.
func (s *Series) Shift(from time.Time, kelvin float64) {
	s.warm(func(i int) float64 {
		if s.Time(i).Before(from) {
			return 0
		}
		return kelvin
	})
}
