package weather

import (
	"math"
	"time"
)

// Daily is the lowest and highest temperature of consecutive days at one
// place, °C. NaN marks a gap.
type Daily struct {
	First       time.Time // the first date, at midnight UTC
	LowC, HighC []float64
}

// NewDaily returns days of gaps from a date on.
func NewDaily(first time.Time, days int) Daily {
	d := Daily{
		First: time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, time.UTC),
		LowC:  make([]float64, max(days, 0)), HighC: make([]float64, max(days, 0)),
	}
	for i := range d.LowC {
		d.LowC[i], d.HighC[i] = math.NaN(), math.NaN()
	}
	return d
}

// Days is how many days there are.
func (d *Daily) Days() int { return len(d.LowC) }

// Date is the date of day i, at midnight UTC.
func (d *Daily) Date(i int) time.Time { return d.First.AddDate(0, 0, i) }

// Index is the day of a date; it may lie outside [0, Days).
func (d *Daily) Index(date time.Time) int {
	at := time.Date(date.Year(), date.Month(), date.Day(), 0, 0, 0, 0, time.UTC)
	return int(math.Round(at.Sub(d.First).Hours() / 24))
}

// At returns the low and the high of day i, NaN where it is a gap or lies
// outside.
func (d *Daily) At(i int) (lowC, highC float64) {
	if i < 0 || i >= d.Days() {
		return math.NaN(), math.NaN()
	}
	return d.LowC[i], d.HighC[i]
}

// Gaps in lows and highs: where the other one of a day is known, the mean
// range of the month stands between them; a gap in both is bridged by a
// straight line up to maxBridgeDays.
const maxBridgeDays = 14

// FillGaps fills what one rule can and returns how many days it touched: a low
// or high alone gets its fellow by the file's mean range of that month, and at
// most two weeks without either are bridged by a straight line. Longer gaps
// stay.
func (d *Daily) FillGaps() (filled int) {
	var sum, count [13]float64
	for i := range d.LowC {
		if r := d.HighC[i] - d.LowC[i]; !math.IsNaN(r) {
			m := d.Date(i).Month()
			sum[m] += r
			count[m]++
		}
	}
	before := make([]bool, d.Days())
	for i := range d.LowC {
		before[i] = math.IsNaN(d.LowC[i]) || math.IsNaN(d.HighC[i])
		m := d.Date(i).Month()
		switch noLow, noHigh := math.IsNaN(d.LowC[i]), math.IsNaN(d.HighC[i]); {
		case count[m] == 0:
		case noLow && !noHigh:
			d.LowC[i] = d.HighC[i] - sum[m]/count[m]
		case noHigh && !noLow:
			d.HighC[i] = d.LowC[i] + sum[m]/count[m]
		}
	}
	fillLinear(d.LowC, maxBridgeDays+1)
	fillLinear(d.HighC, maxBridgeDays+1)
	for i, gap := range before {
		if gap && !math.IsNaN(d.LowC[i]) && !math.IsNaN(d.HighC[i]) {
			filled++
		}
	}
	return filled
}

// FillFromOtherYears gives days that are still gaps the mean of the days within
// a week of the same date in other years of the file, and returns which ones it
// touched. Days that no other year knows stay gaps.
func (d *Daily) FillFromOtherYears() (filled []int) {
	const around = 7
	known := NewDaily(d.First, d.Days())
	copy(known.LowC, d.LowC)
	copy(known.HighC, d.HighC)
	first, last := d.First.Year(), d.Date(d.Days()).Year()
	for i := range d.LowC {
		if !math.IsNaN(d.LowC[i]) && !math.IsNaN(d.HighC[i]) {
			continue
		}
		low, high, n := 0.0, 0.0, 0.0
		for y := first; y <= last; y++ {
			if y == d.Date(i).Year() {
				continue
			}
			same := known.Index(d.Date(i).AddDate(y-d.Date(i).Year(), 0, 0))
			for k := same - around; k <= same+around; k++ {
				if l, h := known.At(k); !math.IsNaN(l + h) {
					low, high, n = low+l, high+h, n+1
				}
			}
		}
		if n > 0 {
			d.LowC[i], d.HighC[i] = low/n, high/n
			filled = append(filled, i)
		}
	}
	return filled
}

// Spanning returns the days from a date on, for at least so long that another
// date is covered; days that were not there are gaps.
func (d *Daily) Spanning(from, to time.Time) Daily {
	frame := NewDaily(from, int(to.Sub(from).Hours()/24)+1)
	return frame.Overlay(d)
}

// Between returns the days from one date to another, both included, that there are.
func (d *Daily) Between(from, to time.Time) Daily {
	a, b := max(d.Index(from), 0), min(d.Index(to)+1, d.Days())
	if a >= b {
		return Daily{}
	}
	return Daily{d.Date(a), d.LowC[a:b], d.HighC[a:b]}
}

// Overlay returns the days of both, in which a low or high of top stands before
// one of d.
func (d *Daily) Overlay(top *Daily) Daily {
	if top.Days() == 0 {
		return *d
	}
	first, end := d.First, d.Date(d.Days())
	if top.First.Before(first) {
		first = top.First
	}
	if e := top.Date(top.Days()); e.After(end) {
		end = e
	}
	out := NewDaily(first, int(math.Round(end.Sub(first).Hours()/24)))
	for i := range out.LowC {
		date := out.Date(i)
		out.LowC[i], out.HighC[i] = d.At(d.Index(date))
		low, high := top.At(top.Index(date))
		if !math.IsNaN(low) {
			out.LowC[i] = low
		}
		if !math.IsNaN(high) {
			out.HighC[i] = high
		}
	}
	return out
}

// Days finds the lowest and highest hour of each local day of which at least 20
// hours are known.
func (s *Series) Days(zone *time.Location) Daily {
	const enough = 20
	if s.Hours() == 0 {
		return Daily{}
	}
	d := NewDaily(s.Start().In(zone), s.Hours()/24+2)
	count := make([]int, d.Days())
	k, next := 0, time.Time{} // the day, and the midnight that ends it
	for i, t := range s.Col(TemperatureC) {
		if at := s.Time(i); !at.Before(next) {
			local := at.In(zone)
			k, next = d.Index(local), time.Date(local.Year(), local.Month(), local.Day()+1, 0, 0, 0, 0, zone)
		}
		if math.IsNaN(t) {
			continue
		}
		if count[k] == 0 {
			d.LowC[k], d.HighC[k] = t, t
		}
		d.LowC[k], d.HighC[k] = min(d.LowC[k], t), max(d.HighC[k], t)
		count[k]++
	}
	for k, n := range count {
		if n < enough {
			d.LowC[k], d.HighC[k] = math.NaN(), math.NaN()
		}
	}
	return d
}

// ThenAsIn returns the days until the day before until, and from there to the
// end of June what the same dates were like in another year.
func (d *Daily) ThenAsIn(year int, until time.Time) Daily {
	first := time.Date(until.Year()-1, 11, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(until.Year(), 7, 1, 0, 0, 0, 0, time.UTC)
	out := NewDaily(first, int(end.Sub(first).Hours()/24))
	for i := range out.LowC {
		date := out.Date(i)
		if !date.Before(until) {
			date = date.AddDate(year-until.Year(), 0, 0)
		}
		out.LowC[i], out.HighC[i] = d.At(d.Index(date))
	}
	return out
}
