package daemon

import (
	"context"
	"math"
	"slices"
	"time"

	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// observe keeps what somebody saw in the bush.
func (d *Daemon) observe(ctx context.Context, in *incoming) (string, error) {
	seen := intake.Seen{Site: in.site, List: SeenAt(in.said.Seen, in.said.Ahead, in.said.Until, in.said.Clock, in.now.In(in.site.Zone)),
		From: writer(in.person), Key: in.site.ID + "/in/" + in.key}
	puts, err := d.intake().Observe(ctx, seen, in.now)
	if said, known := intake.SayObservationFault(in.words, err); known {
		return said, nil
	}
	if err != nil {
		return "", err
	}
	return intake.SayObserved(in.words, in.site, puts), nil
}

// SeenAt gives observations of a text their day and moment: some days from today, or the
// last such weekday, and an hour of it, NaN for none. An hour that has not come is of the
// day before.
func SeenAt(seen []records.Observation, ahead *int, weekday *time.Weekday, clock float64, now time.Time) []records.Observation {
	list := slices.Clone(seen)
	back := 0
	switch {
	case ahead != nil:
		back = -*ahead
	case weekday != nil:
		back = int(now.Weekday()-*weekday+7) % 7
	}
	y, m, d := now.Date()
	day := time.Date(y, m, d-back, 0, 0, 0, 0, now.Location())
	for i := range list {
		o := &list[i]
		if o.Kind.Read() {
			if ahead != nil || weekday != nil {
				o.Day = day.Format(time.DateOnly)
			}
			continue
		}
		switch {
		case !math.IsNaN(clock):
			if o.At = day.Add(time.Duration(clock * float64(time.Hour))); o.At.After(now) && back == 0 {
				o.At = o.At.AddDate(0, 0, -1)
			}
		case back != 0: // about when it would have dripped
			const usual = 14
			o.At = day.Add(usual * time.Hour)
		}
	}
	return list
}

// Observed is what was seen this winter in a site's bush, as outlooks are made from it.
func Observed(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) ([]records.Observation, error) {
	stored, err := a.Observations(ctx, site.ID, season.WinterStart(now, site.Zone), site.Zone)
	var list []records.Observation
	for i := range stored {
		list = append(list, stored[i].Observation)
	}
	return list, err
}
