package season

import (
	"time"

	"thawline/forecast/weather"
)

// A day of a low and then a high like these may run by its weather alone (common
// practice); after lastRunBefore no run is looked for.
const (
	runLowC, runHighC = -1.0, 4.0
	lastRunBefore     = 125 // 5 May
)

// RunsBy reports whether a day may run by its lowest and highest temperature, °C.
func RunsBy(lowC, highC float64) bool { return lowC <= runLowC && highC >= runHighC }

// LastRuns predicts the last day of the spring of now that may run by its weather, from
// courses that it may take, equally likely. Trees go on after makers have stopped.
func LastRuns(now time.Time, courses []weather.Daily) Dates {
	out := newDates(now)
	for k := range courses {
		from, last := courses[k].Index(time.Date(now.Year(), 1, 1, 0, 0, 0, 0, time.UTC)), 0
		for i := range lastRunBefore - 1 {
			if RunsBy(courses[k].At(from + i)) {
				last = i
			}
		}
		for i := last; i < len(out.by); i++ {
			out.by[i] += 1 / float64(len(courses))
		}
	}
	return out
}

// NoMoreRuns reports whether on a date no run is to be expected any more.
func NoMoreRuns(lastRun *Dates, on time.Time) bool { return lastRun.By(on) >= noMoreAt }

const noMoreAt = 0.9
