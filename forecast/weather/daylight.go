package weather

import "time"

// civilDeg is the sun's elevation at civil dawn and dusk: light enough to see ice and
// holes without a lamp.
const civilDeg = -6.0

// CivilDaylight returns civil dawn and dusk of the day that begins at midnight, to the
// minute, both within its 24 hours (or 23, or 25); equal where the sun stays below.
func CivilDaylight(midnight time.Time, latitudeDeg, longitudeDeg float64) (dawn, dusk time.Time) {
	const step = 10 * time.Minute
	light := func(t time.Time) bool { return SunAt(t, latitudeDeg, longitudeDeg).ElevationDeg >= civilDeg }
	// edge is the minute in which a stretch of one step turns.
	edge := func(from time.Time) time.Time {
		was := light(from)
		for t := from; ; t = t.Add(time.Minute) {
			if light(t) != was {
				return t
			}
		}
	}
	end := midnight.AddDate(0, 0, 1)
	dawn, dusk = midnight, midnight
	was := light(midnight)
	for t := midnight; t.Before(end); t = t.Add(step) {
		is := light(t.Add(step))
		switch {
		case is && !was:
			dawn = edge(t)
		case was && !is:
			dusk = edge(t)
		}
		was = is
	}
	if was { // light until midnight
		dusk = end
	}
	return dawn, dusk
}
