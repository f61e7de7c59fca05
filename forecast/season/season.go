// Package season knows where in the sugar season a day lies: before the
// tapping, open, drawing to a close, over.
package season

import (
	"math"
	"time"
)

// Stage is where in the season a day lies.
type Stage string

// The stages.
const (
	Before Stage = "before"
	Opened Stage = "open"
	Late   Stage = "late"
	Over   Stage = "over"
	Closed Stage = "closed" // the taps are pulled, whatever the day
)

// End is when the season is likely to be over: three dates, local, of which
// one season in ten ends before the first and one in ten after the last.
type End struct{ P10, P50, P90 time.Time }

// The usual end of collecting lies at day 94 at 42.45° N and 250 m (the tap
// logs of 2013 and 2014 on a hill in Massachusetts, CC0, Baumer et al.) and
// about day 108 in southern Quebec at 46.5° N and 250 m (Houle et al. 2015,
// PLoS ONE 10(12):e0144844, table 1: days 101 to 116 by region, standard
// deviation 3 to 10 days). That makes 3.5 days a degree; height counts at 1 day
// in 30 m (Hopkins 1918, from memory).
const (
	endDay          = 94.0
	endLatitudeDeg  = 42.45
	endElevationM   = 250.0
	daysPerDegree   = 3.5
	metresPerDay    = 30.0
	endSDDays       = 8.0 // between years and places, until buds and records narrow it
	seasonDays      = 36.0
	tenPerCentSigma = 1.2816
)

// UsualEnd is the end of the season in the year of now, as place and height
// alone foretell it. The elevation may be NaN.
func UsualEnd(latitudeDeg, elevationM float64, now time.Time) End {
	return endAt(usualEndDay(latitudeDeg, elevationM), endSDDays, now)
}

func endAt(day, sd float64, now time.Time) End {
	at := func(sigmas float64) time.Time {
		return time.Date(now.Year(), 1, int(math.Round(day+sigmas*sd)), 0, 0, 0, 0, now.Location())
	}
	return End{at(-tenPerCentSigma), at(0), at(tenPerCentSigma)}
}

func usualEndDay(latitudeDeg, elevationM float64) float64 {
	if math.IsNaN(elevationM) {
		elevationM = endElevationM
	}
	return endDay + daysPerDegree*(math.Abs(latitudeDeg)-endLatitudeDeg) + (elevationM-endElevationM)/metresPerDay
}

// StageOf tells the stage of a day from the beliefs of when good sap ends and when the last
// run comes. It is never over while a run is likely, but in summer and autumn.
func StageOf(now time.Time, goodSap, lastRun *Dates, runLikely bool) Stage {
	start := goodSap.Quantile(0.5).AddDate(0, 0, -int(seasonDays))
	switch {
	case now.YearDay() >= summer:
		return Over
	case !runLikely && (goodSap.By(now) >= OverAt || NoMoreRuns(lastRun, now)):
		return Over
	case goodSap.By(now) >= lateAt:
		return Late
	case now.Before(start.AddDate(0, 0, -14)):
		return Before
	default:
		return Opened
	}
}

const (
	lateAt = 0.1
	summer = 152 // 1 June
)

// MayTap reports whether boring is spoken of on a day: from four weeks before the usual start
// of the season of whoever believes good sap to end then. In a thaw before that, holes would
// be old when most of the sap runs (common practice), and in the springs of 2013 to 2020
// "time to tap" would be taken back within days.
func MayTap(now time.Time, goodSap *Dates) bool {
	return !now.Before(goodSap.Quantile(0.5).AddDate(0, 0, -int(seasonDays)-28))
}

// StageAt tells the stage of a day where no weather is known, from the usual end of the
// season, 36 days after its usual start.
func StageAt(now time.Time, end End) Stage {
	switch start := end.P50.AddDate(0, 0, -int(seasonDays)); {
	case now.After(end.P90.AddDate(0, 0, 1)):
		return Over
	case now.After(end.P10):
		return Late
	case now.Before(start.AddDate(0, 0, -14)):
		return Before
	default:
		return Opened
	}
}
