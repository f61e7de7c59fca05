package season

import (
	"math"
	"time"
)

// lastDay is the last day of a year on which anything of a season happens.
const lastDay = 181

// Dates is how likely something is to have happened by each day of a year.
type Dates struct {
	year int
	zone *time.Location
	by   []float64 // by the end of day i+1 of the year, rising
}

func newDates(now time.Time) Dates {
	return Dates{now.Year(), now.Location(), make([]float64, lastDay)}
}

// By is the chance that it has happened by the end of a date.
func (d *Dates) By(date time.Time) float64 {
	switch day := dayOfYear(date, d.year); {
	case day < 1:
		return 0
	default:
		return d.by[min(day, lastDay)-1]
	}
}

// Quantile is the date by which it has happened with a chance of p.
func (d *Dates) Quantile(p float64) time.Time {
	for i, by := range d.by {
		if by >= p {
			return time.Date(d.year, 1, i+1, 0, 0, 0, 0, d.zone)
		}
	}
	return time.Date(d.year, 1, lastDay, 0, 0, 0, 0, d.zone)
}

// After is the belief once it is known that it had not happened by the end of a date.
func (d *Dates) After(date time.Time) Dates {
	out := Dates{d.year, d.zone, make([]float64, lastDay)}
	gone, day := d.By(date), dayOfYear(date, d.year)
	for i := range out.by {
		switch {
		case i < day:
		case gone >= 1-1e-9:
			out.by[i] = 1
		default:
			out.by[i] = (d.by[i] - gone) / (1 - gone)
		}
	}
	return out
}

// Before is the belief once it is known that it had happened by the end of a date.
func (d *Dates) Before(date time.Time) Dates {
	out := Dates{d.year, d.zone, make([]float64, lastDay)}
	all, day := d.By(date), dayOfYear(date, d.year)
	for i := range out.by {
		if out.by[i] = 1; i+1 < day && all > 0 {
			out.by[i] = d.by[i] / all
		}
	}
	return out
}

// Shift is the belief that it happens so many days later.
func (d *Dates) Shift(days float64) Dates {
	out := Dates{d.year, d.zone, make([]float64, lastDay)}
	for i := range out.by {
		whole, part := math.Modf(float64(i) - days)
		at := func(k int) float64 {
			if k < 0 {
				return 0
			}
			return d.by[min(k, lastDay-1)]
		}
		if part < 0 {
			whole, part = whole-1, part+1
		}
		out.by[i] = at(int(whole)) + part*(at(int(whole)+1)-at(int(whole)))
	}
	return out
}

// End is the tenth, fiftieth and ninetieth part of the belief.
func (d *Dates) End() End { return End{d.Quantile(0.1), d.Quantile(0.5), d.Quantile(0.9)} }

// blur spreads each day by a normal error of so many days.
func (d *Dates) blur(sdDays float64) {
	reach := int(math.Ceil(4 * sdDays))
	weight := make([]float64, 2*reach+1)
	sum := 0.0
	for i := range weight {
		z := float64(i-reach) / sdDays
		weight[i] = math.Exp(-z * z / 2)
		sum += weight[i]
	}
	out := make([]float64, len(d.by))
	for i := range out {
		for k, w := range weight {
			if at := i + k - reach; at >= 0 {
				out[i] += w / sum * d.by[min(at, len(d.by)-1)]
			}
		}
	}
	d.by = out
}

// dayOfYear counts from 1 January of a year, which is day 1; days of earlier years are
// below it.
func dayOfYear(date time.Time, year int) int {
	at := time.Date(date.Year(), date.Month(), date.Day(), 0, 0, 0, 0, time.UTC)
	return int(math.Round(at.Sub(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)).Hours()/24)) + 1
}
