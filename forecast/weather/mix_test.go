package weather

import (
	"math"
	"testing"
	"time"
)

func wave(at time.Time, hours int, mean float64) Series {
	s := NewSeries(at, hours)
	for i := range hours {
		s.Col(TemperatureC)[i] = mean + 5*math.Sin(2*math.Pi*float64(i)/24)
	}
	return s
}

// The mean of two lies between them hour by hour, at the height of the place; where one
// ends before the other the mean takes no step, and is the longer one's in the end.
func TestMixIsTheMean(t *testing.T) {
	at := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	place := Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 400}
	warm := Bulletin{Source: "nws", IssuedAt: at.Add(12 * time.Hour), Course: wave(at, 96, 6), ElevationM: 400,
		Credits: []Credit{{Text: "a"}},
		Members: []Series{wave(at, 96, 6), wave(at, 96, 7)}}
	cold := Bulletin{Source: "met_norway", IssuedAt: at.Add(14 * time.Hour), Course: wave(at, 240, 2), ElevationM: 200,
		Credits: []Credit{{Text: "a"}, {Text: "b"}}}
	for i := range cold.Course.Hours() {
		cold.Course.Col(RelativeHumidityPct)[i] = 60
	}
	carried := cold.At(place)
	b := Mix([]Bulletin{warm.At(place), carried})
	if b.Source != "nws + met_norway" || !b.IssuedAt.Equal(at.Add(13*time.Hour)) || len(b.Credits) != 2 || len(b.Members) != 2 ||
		b.ElevationM != 400 {
		t.Errorf("from %s at %s, %d credits, %d members, %.0f m", b.Source, b.IssuedAt, len(b.Credits), len(b.Members), b.ElevationM)
	}
	if b.Course.Hours() != 240 {
		t.Fatalf("%d hours", b.Course.Hours())
	}
	for i := range 240 {
		got, long, short := b.Course.At(TemperatureC, i), carried.Course.At(TemperatureC, i), warm.Course.At(TemperatureC, i)
		if i < 96 && math.Abs(got-(long+short)/2) > 1e-9 {
			t.Fatalf("hour %d: %.2f of %.2f and %.2f", i, got, short, long)
		}
		if i > 0 {
			step := got - b.Course.At(TemperatureC, i-1) - (long - carried.Course.At(TemperatureC, i-1))
			if math.Abs(step) > 0.2 {
				t.Errorf("hour %d: a step of %+.2f K", i, step)
			}
		}
		if got < long-1e-9 {
			t.Fatalf("hour %d: %.2f, colder than both", i, got)
		}
	}
	if last := b.Course.At(TemperatureC, 239) - carried.Course.At(TemperatureC, 239); last > 0.02 {
		t.Errorf("%.2f K from the only one that goes on, at the end", last)
	}
	if math.Abs(cold.Course.At(TemperatureC, 0)-2) > 1e-9 {
		t.Error("a station's own course was changed")
	}
	if d, c := b.Course.At(DewPointC, 50), b.Course.At(TemperatureC, 50); math.IsNaN(d) || d > c {
		t.Errorf("dew point %.1f at %.1f", d, c)
	}
}
