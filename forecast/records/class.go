package records

import (
	"fmt"
	"time"
)

// ClassVisit is a visit of a class that somebody booked. Nobody is named.
type ClassVisit struct {
	ID, Site string
	Day      time.Time     // midnight of the local date
	From, To time.Duration // after midnight, by the clock
	Learners int           // 0 where nobody has said
	BookedAt time.Time     // zero where it is not known
}

// The bounds of a visit: beyond them an hour or a number was mistaken (common practice).
const (
	shortestVisit, longestVisit = 30 * time.Minute, 8 * time.Hour
	mostLearners                = 200
	mostAhead                   = 400 * 24 * time.Hour
)

// ClassFault is why a visit can't be booked.
type ClassFault struct {
	Kind string // "day", "hours" or "learners"
}

func (f *ClassFault) Error() string {
	switch f.Kind {
	case "day":
		return "a visit lies ahead, within a year: write the day, such as 2026-03-24"
	case "hours":
		return "a visit lasts half an hour to eight hours of one day: write it like 9:00-11:30"
	}
	return fmt.Sprintf("write how many learners come, at most %d", mostLearners)
}

// ReadClass reads a visit's local day, such as 2026-03-24, and its hours, such as 9:00. What
// it can't read is a *ClassFault.
func ReadClass(day, from, to string, zone *time.Location) (c ClassVisit, err error) {
	if c.Day, err = time.ParseInLocation(time.DateOnly, day, zone); err != nil {
		return c, &ClassFault{"day"}
	}
	starts, noStart := time.Parse("15:04", from)
	ends, noEnd := time.Parse("15:04", to)
	if noStart != nil || noEnd != nil {
		return c, &ClassFault{"hours"}
	}
	afterMidnight := func(at time.Time) time.Duration {
		return time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
	}
	c.From, c.To = afterMidnight(starts), afterMidnight(ends)
	return c, nil
}

// Start and End are the moments of a visit, in the zone of its day.
func (c *ClassVisit) Start() time.Time { return onDay(c.Day, c.From) }

// End is when the visit is over.
func (c *ClassVisit) End() time.Time { return onDay(c.Day, c.To) }

func onDay(day time.Time, after time.Duration) time.Time {
	y, m, d := day.Date()
	return time.Date(y, m, d, 0, int(after.Minutes()), 0, 0, day.Location())
}

// Check says what is wrong with a visit that is booked at a moment: nil, or a *ClassFault.
func (c *ClassVisit) Check(now time.Time) error {
	switch {
	case c.Day.IsZero() || !c.Start().After(now) || c.Start().Sub(now) > mostAhead:
		return &ClassFault{"day"}
	case c.From < 0 || c.To > 24*time.Hour || c.To-c.From < shortestVisit || c.To-c.From > longestVisit:
		return &ClassFault{"hours"}
	case c.Learners < 0 || c.Learners > mostLearners:
		return &ClassFault{"learners"}
	}
	return nil
}

// ClassGuess is what a class guessed of a day: hands that were up for sap to run, and not,
// what the outlook and the plain rule said then. Nobody is named.
type ClassGuess struct {
	ID, Site string
	Day      string  // local date that the guess is about
	Yes, No  int     // hands
	Ours     float64 // chance of a run, by the outlook of that moment
	Rule     bool    // frost by night and thaw by day
	At       time.Time
}
