package weather

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Beside is what a bush's own thermometer had for the low of one night, or the high of one
// day, less what the course has there.
type Beside struct {
	At     time.Time // about when the low or high comes
	High   bool
	ErrorK float64
	Clear  float64 // how clear and calm the night was, 0 to 1; NaN where that is not known
}

// Own is how much warmer a bush is than the course it is told of, at its lows and at its
// highs: a normal law.
type Own struct {
	LowK, HighK     float64 // at the low of an ordinary night, and at the high
	ClearK          float64 // so much more at the low of a clear and calm night
	LowSDK, HighSDK float64
	WholeSDK        float64 // of the mean of both
	Lows, Highs     int     // that it was learnt from
}

// WholeK is the offset of the whole day.
func (o *Own) WholeK() float64 { return (o.LowK + o.HighK) / 2 }

// A thermometer's lows and highs stray around the offset of its bush from day to day; how
// far is learnt as well, from so much and as sure as so many days.
const (
	strayK     = 1.5
	strayDays  = 4.0
	clipped    = 2.5 // strays beyond which one day counts no more
	togetherR  = 0.5 // how far the offsets of lows and of highs go together (a hollow is cold at dawn alone)
	clearSDK   = 1.0 // of what an offset grows by on clear, calm nights
	usualClear = 0.35
)

// LearnOwn learns the offsets from days of a thermometer, each a shrunk mean around what
// was held before of the bush: mean and standard deviation, K. A day that strays far counts
// no more than one that strays a little.
func LearnOwn(priorK, priorSDK float64, days []Beside) Own {
	between := togetherR * priorSDK * priorSDK
	before := mat.NewSymDense(3, []float64{priorSDK * priorSDK, between, 0, between, priorSDK * priorSDK, 0, 0, 0, clearSDK * clearSDK})
	var own Own
	var prior mat.Dense
	if err := prior.Inverse(before); err != nil { // nothing moves what is known for certain
		return Own{LowK: priorK, HighK: priorK}
	}
	at := mat.NewVecDense(3, []float64{priorK, priorK, 0})
	start := mat.VecDenseCopyOf(at)
	stray := strayK
	var spread mat.Dense
	for range 5 { // strays follow the offsets, and offsets the strays
		var precision mat.Dense
		precision.CloneFrom(&prior)
		var right mat.VecDense
		right.MulVec(&prior, start)
		squares, n := strayDays*strayK*strayK, strayDays
		own.Lows, own.Highs = 0, 0
		for i := range days {
			d := &days[i]
			if math.IsNaN(d.ErrorK) {
				continue
			}
			x := d.of()
			off := d.ErrorK - mat.Dot(x, at)
			off = min(max(off, -clipped*stray), clipped*stray)
			squares, n = squares+off*off, n+1
			if d.High {
				own.Highs++
			} else {
				own.Lows++
			}
			w := 1 / (stray * stray)
			for r := range 3 {
				for c := range 3 {
					precision.Set(r, c, precision.At(r, c)+w*x.AtVec(r)*x.AtVec(c))
				}
			}
			right.AddScaledVec(&right, w*(mat.Dot(x, at)+off), x)
		}
		if err := spread.Inverse(&precision); err != nil {
			break
		}
		at.MulVec(&spread, &right)
		stray = math.Sqrt(squares / n)
	}
	own.LowK, own.HighK, own.ClearK = at.AtVec(0), at.AtVec(1), at.AtVec(2)
	own.LowSDK, own.HighSDK = math.Sqrt(spread.At(0, 0)), math.Sqrt(spread.At(1, 1))
	own.WholeSDK = math.Sqrt(max(spread.At(0, 0)+spread.At(1, 1)+2*spread.At(0, 1), 0)) / 2
	return own
}

// of is which offsets a day tells of: lows, highs, and the share of clear nights.
func (d *Beside) of() *mat.VecDense {
	switch {
	case d.High:
		return mat.NewVecDense(3, []float64{0, 1, 0})
	case math.IsNaN(d.Clear):
		return mat.NewVecDense(3, []float64{1, 0, 0})
	}
	return mat.NewVecDense(3, []float64{1, 0, d.Clear - usualClear})
}

// UnknownOwnSDK is how far a bush strays from its grid where nothing has told, K.
const UnknownOwnSDK = 1.0

// Lean shifts lows and highs apart, where a bush's thermometer tells that they are: by how
// far each lies from the offset of the whole day, with a smooth way between them by the
// sun, and by how clear and calm each night is. What the day is off as a whole is left. The
// lows and highs of the past that were read come to lie where they were read.
func (e *Ensemble) Lean(o *Own, read []Beside, place Place) {
	e.Past.Lean(o, read, place)
	for m := range e.Futures {
		e.Futures[m].Lean(o, nil, place)
	}
}

// Lean is that of one series.
func (s *Series) Lean(o *Own, read []Beside, place Place) {
	first := anchors(s, place)
	at := func(k int) time.Time { // the k-th anchor, a low where k is even
		h := first + float64(k/2)*24
		if k%2 == 1 {
			h += HighSolarHour - LowSolarHour
		}
		return s.Start().Add(time.Duration(h * float64(time.Hour)))
	}
	shifts := make([]float64, 2*(s.Hours()/24+4))
	for k := range shifts {
		if shifts[k] = o.HighK; k%2 == 0 {
			shifts[k] = o.LowK
			if clear := s.ClearCalm(at(k).Add(-nightHours*time.Hour), at(k)); !math.IsNaN(clear) {
				shifts[k] += o.ClearK * (clear - usualClear)
			}
		}
		if was := readAt(read, at(k), k%2 == 1); !math.IsNaN(was) {
			shifts[k] = min(max(was, shifts[k]-mostReadK), shifts[k]+mostReadK)
		}
		shifts[k] -= o.WholeK()
	}
	k := 0
	s.warm(func(i int) float64 {
		t := s.Time(i)
		for k+2 < len(shifts) && !at(k+1).After(t) {
			k++
		}
		return HalfCosine(shifts[k], shifts[k+1], t.Sub(at(k)).Hours()/at(k+1).Sub(at(k)).Hours())
	})
}

// readAt is what a thermometer was off by at the low or high around a time, NaN where none
// was read.
func readAt(read []Beside, at time.Time, high bool) float64 {
	const around = 6 * time.Hour
	for i := range read {
		if read[i].High == high && read[i].At.Sub(at).Abs() < around {
			return read[i].ErrorK
		}
	}
	return math.NaN()
}

// A night cools for so many hours before its low; wind from calmMS on leaves nothing of
// the cold that would gather in a hollow (common practice).
const (
	nightHours = 8
	calmMS     = 4.0
	mostReadK  = 5.0 // that one reading may lie from what the others teach
)

// ClearCalm is how clear and calm hours in [from, to) are, 0 to 1: NaN where cloud or wind
// are known of fewer than half of them.
func (s *Series) ClearCalm(from, to time.Time) float64 {
	sum, known := 0.0, 0
	for i := s.Index(from); i < s.Index(to); i++ {
		cloud, wind := s.At(CloudCoverPct, i), s.At(WindSpeedMS, i)
		if x := (1 - cloud/100) * max(1-wind/calmMS, 0); !math.IsNaN(x) {
			sum, known = sum+x, known+1
		}
	}
	if 2*known < s.Index(to)-s.Index(from) || known == 0 {
		return math.NaN()
	}
	return sum / float64(known)
}
