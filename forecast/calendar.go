package forecast

import (
	"time"

	"thawline/forecast/weather"
)

// calendar maps hours to local days: day 0 is today.
type calendar struct {
	zone      *time.Location
	dates     []time.Time // local midnights
	pastFrom  int         // first past hour of today
	futureDay []int       // day of each future hour, -1 where the day is too short to count
}

// leastHours is how much of a last day must be covered for it to count.
const leastHours = 18

func newCalendar(now time.Time, zone *time.Location, e *weather.Ensemble) *calendar {
	c := &calendar{zone: zone}
	y, m, d := now.In(zone).Date()
	today := time.Date(y, m, d, 0, 0, 0, 0, zone)
	c.pastFrom = max(e.Past.Index(today.Add(time.Hour-time.Nanosecond)), 0)
	end := e.Futures[0].End()
	for i := 0; ; i++ {
		day, next := time.Date(y, m, d+i, 0, 0, 0, 0, zone), time.Date(y, m, d+i+1, 0, 0, 0, 0, zone)
		covered := min(end.Sub(day), next.Sub(day))
		if i > 0 && covered < leastHours*time.Hour {
			break
		}
		c.dates = append(c.dates, day)
	}
	c.futureDay = make([]int, e.Futures[0].Hours())
	for h := range c.futureDay {
		c.futureDay[h] = c.dayOf(e.Futures[0].Time(h))
	}
	return c
}

func (c *calendar) dayOf(t time.Time) int {
	for i := len(c.dates) - 1; i >= 0; i-- {
		if !t.Before(c.dates[i]) {
			if i == len(c.dates)-1 && !t.Before(c.dates[i].AddDate(0, 0, 1)) {
				return -1
			}
			return i
		}
	}
	return -1
}
