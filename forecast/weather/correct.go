package weather

import (
	"math"
	"slices"
	"time"
)

// CourseErrors is how the lows and highs of one service's forecasts err, as an
// archive of them shows.
type CourseErrors struct {
	LowK, HighK float64 // mean of what came less what was forecast
	// Coefficients of Known.LowTerms and Known.HighTerms, °F: what an evening makes
	// of the coming night's low and the next day's high. Nil for the means alone.
	Low, High []float64
}

// UsualErrors are the mean errors of archived US forecasts for nine northern
// stations, February to April 2021, 12 to 48 hours ahead (data set
// speegled/weather_forecasts); eight centres of 2004 erred by as much (data set
// srft: 0.37 K at 48 hours). The terms of the high are fitted on the evenings of that
// archive, those of the low on its mornings: its evening bulletin errs by more than
// the one twelve hours before it (3.9 and 3.4 °F), as no other service need do.
var UsualErrors = CourseErrors{
	LowK: 0.2, HighK: 0.4,
	Low:  []float64{-0.0483, 1.0317, -0.0802, 0.2612, 0.3626, -0.0212, 0.0393},
	High: []float64{-2.3685, 1.0630, -0.0180, -0.7316, 0.2436, 0.0531, 0.1972},
}

// Known is what a time knows of a night and the day after it, °F, NaN where it does
// not: forecasts, newest first, each issued 12 hours before the one left of it, and
// how the last low and high that were over had missed theirs.
type Known struct {
	Night                 time.Time
	Low, High             [3]float64
	LowMissed, HighMissed float64
}

// Complete reports whether both newest forecasts are there.
func (k *Known) Complete() bool { return !math.IsNaN(k.Low[0] + k.High[0]) }

// LowTerms are what a night's low is worked out from: its newest forecast, the next
// high's, the season, how the forecast has moved, and how the last one missed.
func (k *Known) LowTerms() []float64 {
	return []float64{1, k.Low[0], k.High[0] - 40, k.monthsFromMidMarch(), orZero(k.Low[1] - k.Low[0]), orZero(k.Low[2] - k.Low[0]),
		orZero(k.LowMissed)}
}

// HighTerms are what the next high is worked out from.
func (k *Known) HighTerms() []float64 {
	return []float64{1, k.High[0], k.Low[0] - 30, k.monthsFromMidMarch(), orZero(k.High[1] - k.High[0]), orZero(k.High[2] - k.High[0]),
		orZero(k.HighMissed)}
}

// monthsFromMidMarch ends with the months that the terms are fitted on.
func (k *Known) monthsFromMidMarch() float64 {
	return min(max((float64(k.Night.YearDay())-75)/30, -1.5), 1.5)
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// Told is a course that a service gave before.
type Told struct {
	Source   string
	IssuedAt time.Time
	Course   Series
}

// Around a low and a high by the sun, hours in which it is looked for; and the
// evening: hours before a night's low from which on it is corrected by Low and High.
const (
	lowBefore, lowAfter   = 8, 3
	highBefore, highAfter = 5, 5
	eveningHours          = 18
	mostCorrectionK       = 4.0
)

// anchors are the hours of a series, which may lie outside it, at which the lows
// and highs of its days are by the sun: the first, a low, before it begins.
func anchors(s *Series, place Place) (first float64) {
	solar := math.Mod(s.Start().Sub(s.Start().Truncate(24*time.Hour)).Hours()+place.LongitudeDeg/15+48, 24)
	return LowSolarHour - solar - 24
}

// extreme is the lowest or highest temperature around a time, NaN where fewer than
// half of those hours are known.
func extreme(s *Series, at time.Time, high bool) float64 {
	before, after, sign := lowBefore, lowAfter, -1.0
	if high {
		before, after, sign = highBefore, highAfter, 1
	}
	best, known := math.NaN(), 0
	middle := s.Index(at.Add(30 * time.Minute))
	for i := middle - before; i <= middle+after; i++ {
		if t := s.At(TemperatureC, i); !math.IsNaN(t) {
			known++
			if math.IsNaN(best) || sign*t > sign*best {
				best = t
			}
		}
	}
	if 2*known < before+after+1 {
		return math.NaN()
	}
	return best
}

// correction is what a course loses of its mean error, K by hour of control.
func (e *CourseErrors) correction(control *Series, b *Bulletin, place Place, now time.Time) []float64 {
	out := make([]float64, control.Hours())
	first := anchors(control, place)
	at := func(k int) time.Time { // the k-th anchor, a low where k is even
		h := first + float64(k/2)*24
		if k%2 == 1 {
			h += HighSolarHour - LowSolarHour
		}
		return control.Start().Add(time.Duration(h * float64(time.Hour)))
	}
	shifts := make([]float64, 2*(control.Hours()/24+4))
	for k := range shifts {
		shifts[k] = e.LowK
		if k%2 == 1 {
			shifts[k] = e.HighK
		}
		if lead := at(k).Sub(now).Hours(); lead < errorModel.localRampHours {
			shifts[k] *= max(lead, 0) / errorModel.localRampHours
		}
	}
	for k := 0; k+1 < len(shifts) && e.Low != nil; k += 2 {
		if lead := at(k).Sub(now).Hours(); lead < eveningHours-12 || lead > eveningHours {
			continue
		}
		known := b.known(at(k), at(k+1))
		if known.Complete() {
			shifts[k] = limited(dotted(e.Low, known.LowTerms())-known.Low[0]) / 1.8
			shifts[k+1] = limited(dotted(e.High, known.HighTerms())-known.High[0]) / 1.8
		}
	}
	k := 0
	for i := range out {
		t := control.Time(i)
		for k+2 < len(shifts) && !at(k+1).After(t) {
			k++
		}
		out[i] = HalfCosine(shifts[k], shifts[k+1], t.Sub(at(k)).Hours()/at(k+1).Sub(at(k)).Hours())
	}
	return out
}

func limited(f float64) float64 { return min(max(f, -1.8*mostCorrectionK), 1.8*mostCorrectionK) }

func dotted(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// known gathers what an evening knows of the coming low and the high after it from
// the newest course, those before, and what was observed.
func (b *Bulletin) known(low, high time.Time) Known {
	f := func(c float64) float64 { return 32 + 1.8*c }
	nan := math.NaN()
	k := Known{Night: low.Add(-12 * time.Hour), Low: [3]float64{nan, nan, nan}, High: [3]float64{nan, nan, nan}, LowMissed: nan,
		HighMissed: nan}
	k.Low[0], k.High[0] = f(extreme(&b.Course, low, false)), f(extreme(&b.Course, high, true))
	for back := 1; back <= 2; back++ {
		told := b.told(time.Duration(12*back) * time.Hour)
		if told == nil {
			continue
		}
		k.Low[back], k.High[back] = f(extreme(&told.Course, low, false)), f(extreme(&told.Course, high, true))
		if back == 2 {
			lastLow, lastHigh := low.Add(-24*time.Hour), high.Add(-24*time.Hour)
			k.LowMissed = 1.8 * (extreme(&b.Course, lastLow, false) - extreme(&told.Course, lastLow, false))
			k.HighMissed = 1.8 * (extreme(&b.Course, lastHigh, true) - extreme(&told.Course, lastHigh, true))
		}
	}
	return k
}

// told is what the same service said about so long before the bulletin, within six
// hours; nil for nothing.
func (b *Bulletin) told(ago time.Duration) *Told {
	var best *Told
	off := 6 * time.Hour
	for i := range b.Earlier {
		told := &b.Earlier[i]
		if d := (b.IssuedAt.Sub(told.IssuedAt) - ago).Abs(); told.Source == b.Source && d < off {
			best, off = told, d
		}
	}
	return best
}

// What is remembered of what was told: one course in three hours, a day and a half
// back, and of each the hours that a night and the day after it can ask for.
const (
	toldEvery = 3 * time.Hour
	toldBack  = 36 * time.Hour
	toldHours = 60
)

// Remember adds to a bulletin what the one before it said, and what that one
// remembered, of any service.
func (b *Bulletin) Remember(before *Bulletin) {
	from := before.Course.Index(before.IssuedAt)
	newest := Told{before.Source, before.IssuedAt, NewSeries(before.Course.Time(from), toldHours)}
	for i := range toldHours {
		newest.Course.Col(TemperatureC)[i] = before.Course.At(TemperatureC, from+i)
	}
	type slot struct {
		source string
		at     time.Time
	}
	of := func(t *Told) slot { return slot{t.Source, t.IssuedAt.Truncate(toldEvery)} }
	kept := map[slot]bool{}
	b.Earlier = nil
	for i := range before.Earlier {
		kept[of(&before.Earlier[i])] = true
	}
	if !kept[of(&newest)] {
		b.Earlier = append(b.Earlier, newest)
	}
	b.Earlier = append(b.Earlier, before.Earlier...)
	b.Earlier = slices.DeleteFunc(b.Earlier, func(t Told) bool {
		age := b.IssuedAt.Sub(t.IssuedAt)
		return age <= 0 || age > toldBack
	})
}
