package weather

import (
	"math"
	"testing"
)

// A service with one forecast gets 51 variants of it.
func TestFiftyOneVariants(t *testing.T) {
	e, err := Assemble(&Bulletin{Source: "x", Course: flat(72, 48), ElevationM: math.NaN()}, here, noon, 1)
	if err != nil || len(e.Futures) != 51 || e.FromSource {
		t.Errorf("%v, %d variants", err, len(e.Futures))
	}
}

// Sunshine is not drawn through a gap, as rain is not.
func TestNoSunshineIsInvented(t *testing.T) {
	s := NewSeries(noon, 7)
	for _, v := range []Variable{ShortwaveWM2, PrecipitationMM, TemperatureC} {
		s.Col(v)[0], s.Col(v)[2] = 4, 8
	}
	s.FillGaps()
	if !math.IsNaN(s.At(ShortwaveWM2, 1)) || !math.IsNaN(s.At(PrecipitationMM, 1)) || s.At(TemperatureC, 1) != 6 {
		t.Errorf("%g W/m², %g mm, %g °C", s.At(ShortwaveWM2, 1), s.At(PrecipitationMM, 1), s.At(TemperatureC, 1))
	}
}
