package forecast

import (
	"math"
	"time"
)

// DripSpring is a past spring: of each day that is known, whether sap dripped in the hours
// of a class.
type DripSpring struct {
	Year int
	Days map[int]bool // by day of the year, 1 for 1 January
}

// DripsIn says of each known day of a look back whether sap dripped in some hour between
// two times after midnight. Taps must have been in.
func DripsIn(p *Past, site *Site, year int, from, to time.Duration) DripSpring {
	out := DripSpring{Year: year, Days: map[int]bool{}}
	known := map[string]bool{}
	for i := range p.Days {
		known[p.Days[i].Date] = p.Days[i].Known
	}
	least := DrippingLH * float64(site.Taps())
	for i, litres := range p.Hours.FlowLH.P50 {
		at := p.Hours.Start.Add(time.Duration(i) * time.Hour).In(site.Zone)
		since := time.Duration(at.Hour()) * time.Hour
		if at.Year() != year || since < from.Truncate(time.Hour) || since >= to || !known[at.Format(time.DateOnly)] {
			continue
		}
		day := at.YearDay()
		out.Days[day] = out.Days[day] || litres >= least
	}
	return out
}

// Weekly shares are flat on purpose: a date weeks ahead says little more than the time of
// the season. Days so far to either side count, with a weight that falls to none there, and
// springs pull towards the mean of the season by as much as so many springs would.
const (
	shareSpanDays = 14
	shareSprings  = 3.0
)

// DripShare is how likely sap drips on a day of the year, by past springs, and how many of
// them tell. It is NaN where none does.
func DripShare(springs []DripSpring, yearDay int) (share float64, told int) {
	sum, mean, meanOf := 0.0, 0.0, 0.0
	for _, s := range springs {
		near, weight, all, days := 0.0, 0.0, 0.0, 0.0
		for day, drips := range s.Days {
			if day < seasonFirst || day > seasonLast {
				continue
			}
			one := 0.0
			if drips {
				one = 1
			}
			all, days = all+one, days+1
			if off := math.Abs(float64(day - yearDay)); off < shareSpanDays {
				near, weight = near+one*(shareSpanDays-off), weight+shareSpanDays-off
			}
		}
		if days >= 20 {
			mean, meanOf = mean+all/days, meanOf+1
		}
		if weight > shareSpanDays {
			sum, told = sum+near/weight, told+1
		}
	}
	if told == 0 || meanOf == 0 {
		return math.NaN(), 0
	}
	return (sum + shareSprings*mean/meanOf) / (float64(told) + shareSprings), told
}

// Schools come from the middle of February to the end of April.
const seasonFirst, seasonLast = 46, 120
