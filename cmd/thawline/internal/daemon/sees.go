package daemon

import (
	"encoding/json"
	"time"

	"thawline/forecast"
	"thawline/forecast/notebook"
	"thawline/forecast/verify"
)

// seesDays is how many days ahead the evenings of earlier seasons saw, held against the
// weather that came; 0 where none were kept. Seasons without weather or evenings say
// nothing.
func seesDays(site *forecast.Site, seasons []notebook.Season, documents []json.RawMessage) (int, error) {
	var evenings []forecast.Evening
	for _, d := range documents {
		var e forecast.Evening
		if json.Unmarshal(d, &e) == nil { // a spoilt one is no reason to know nothing of the others
			evenings = append(evenings, e)
		}
	}
	var reach verify.Reach
	measured := false
	for i := range seasons {
		s := &seasons[i]
		began := s.To.AddDate(0, -8, 0)
		var own []forecast.Evening
		for _, e := range evenings {
			if e.Date >= began.Format(time.DateOnly) && e.Date < s.To.Format(time.DateOnly) {
				own = append(own, e)
			}
		}
		if len(own) == 0 {
			continue
		}
		past, err := forecast.LookBack(forecast.PastInputs{Site: *site, Weather: s.Weather, Visits: s.Visits, Observed: s.Observed,
			From: began, To: s.To})
		if err != nil {
			return 0, err
		}
		reach.Add(own, past.Days)
		measured = true
	}
	if !measured {
		return 0, nil
	}
	return reach.Days(), nil
}
