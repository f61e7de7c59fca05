package alerts

import (
	"errors"
	"fmt"
	"time"

	"thawline/forecast/boil"
)

// drySugar tells of the hours of a date that are dry enough to stir sugar, at most once
// in seven days. The outlook names such hours only where there is syrup to stir.
func (r *rules) drySugar(date string) {
	for _, s := range r.o.Sugar {
		if s.Date != date || s.Grade != boil.Dry || !s.From.After(r.at.Now) {
			continue
		}
		_, last, told, err := r.memory.Last(r.o.Site, DrySugar, "")
		r.err = errors.Join(r.err, err)
		weekAgo := r.at.Now.In(r.zone).AddDate(0, 0, -7).Format(time.DateOnly)
		if told && last.In(r.zone).Format(time.DateOnly) > weekAgo {
			continue
		}
		r.tell(Decision{Kind: DrySugar, Key: s.Date, Until: s.From,
			Facts: Facts{Date: s.Date, At: s.From, Ends: s.To, Chance: s.Chance, Percentage: s.HumidityPct},
			Why: []string{fmt.Sprintf(
				"each hour from %s to %s is dry enough for sugar with a chance of %.2f, at least %.2f; air at %.0f %% where it is stirred", s.From.Format("15:04"), s.To.Format("15:04"), s.Chance, boil.SureEnough, s.HumidityPct)}})
	}
}
