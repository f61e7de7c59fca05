package notebook

import (
	"time"

	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// Season is what is kept of one season of a site. Its weather may be without hours.
type Season struct {
	Weather  weather.Series
	Visits   []records.Visit
	Taps     []records.TapEvent
	Observed []records.Observation
	To       time.Time // its end, the first of July
}

// Earlier parts visits, and what was done to the taps, into the seasons between two
// winters' starts, the oldest first, those without visits among them; their weather is
// for the caller to fill in.
func Earlier(visits []records.Visit, events []records.TapEvent, from, to time.Time) []Season {
	var seasons []Season
	for start := from; start.Before(to); start = start.AddDate(1, 0, 0) {
		s := Season{To: start.AddDate(0, 8, 0)}
		for _, v := range visits {
			if season.WinterStart(v.CollectedAt, from.Location()).Equal(start) && v.CollectedAt.Before(s.To) {
				s.Visits = append(s.Visits, v)
			}
		}
		for _, e := range events {
			if season.WinterStart(e.On, from.Location()).Equal(start) && e.On.Before(s.To) {
				s.Taps = append(s.Taps, e)
			}
		}
		seasons = append(seasons, s)
	}
	return seasons
}
