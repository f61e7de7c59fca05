package forecast

import (
	"time"

	"thawline/forecast/weather"
)

// calendar maps hours to local days: day 0 is today.
type calendar struct {
	zone      *time.Location
	dates     []time.Time // their first moments: midnight, but where clocks skip it
	end       time.Time   // of the last
	pastFrom  int         // first past hour of today
	futureDay []int       // day of each future hour, -1 where the day is too short to count
}

// leastHours is how much of a last day must be covered for it to count.
const leastHours = 18

func newCalendar(now time.Time, zone *time.Location, e *weather.Ensemble) *calendar {
	c := &calendar{zone: zone}
	y, m, d := now.In(zone).Date()
	today := firstMoment(y, m, d, zone)
	c.pastFrom = max(e.Past.Index(today.Add(time.Hour-time.Nanosecond)), 0)
	end := e.Futures[0].End()
	for i := 0; ; i++ {
		day, next := firstMoment(y, m, d+i, zone), firstMoment(y, m, d+i+1, zone)
		covered := min(end.Sub(day), next.Sub(day))
		if i > 0 && covered < leastHours*time.Hour {
			break
		}
		c.dates, c.end = append(c.dates, day), next
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
			if !t.Before(c.end) {
				return -1
			}
			return i
		}
	}
	return -1
}

// firstMoment is when a local date begins. Where clocks go forward at midnight it
// begins at one.
func firstMoment(year int, month time.Month, day int, zone *time.Location) time.Time {
	at := time.Date(year, month, day, 0, 0, 0, 0, zone)
	date := time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Day()
	for range 3 {
		if at.Day() == date {
			break
		}
		at = at.Add(time.Hour)
	}
	return at
}
