package report

import (
	"context"
	"fmt"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/verify"
)

// Gather reads a season from the archive and works out what a report of it says. place is the
// key of the site's weather.
func Gather(ctx context.Context, a *archive.Archive, taught lookback.Taught, site *forecast.Site, place string, year int,
	now time.Time) (*Season, error) {
	s := &Season{Year: year, Site: site, MadeAt: now, Names: map[string]string{}}
	for _, p := range site.Gathering.People {
		s.Names[p.ID] = p.Name
	}
	from, to := lookback.Span(year, site.Zone, now)
	in, known, err := lookback.Inputs(ctx, a, site, place, from, to)
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, fmt.Errorf("no weather of the season %d is kept: thawline records weather fetches it", year)
	}
	if s.Past, err = forecast.LookBack(in); err != nil {
		return nil, err
	}
	s.Visits = in.Visits
	if s.Lots, err = lookback.Lots(ctx, a, &in); err != nil {
		return nil, err
	}
	if s.Evenings, err = lookback.Evenings(ctx, a, site, from, to); err != nil {
		return nil, err
	}
	answers, err := ledger.New(a.DB()).Verdicts(ctx, site.ID, from)
	if err != nil {
		return nil, err
	}
	taps := map[string]int{}
	for i := range site.Groups {
		taps[site.Groups[i].ID] = site.Groups[i].Taps
	}
	s.Seen = verify.SeenDays(s.Past.Visits, func(group string) int { return taps[group] }, in.Observed,
		alerts.RanAnswers(answers, site.Zone), site.Zone)
	if s.Review, err = lookback.Review(ctx, a, taught, site, place, year, now); err != nil {
		return nil, err
	}
	s.Others, err = othersOf(ctx, a, site, place, year)
	return s, err
}

// mostOthers is how many seasons before are drawn beside one.
const mostOthers = 5

// othersOf are the seasons before that have weather and visits, the oldest first.
func othersOf(ctx context.Context, a *archive.Archive, site *forecast.Site, place string, year int) ([]Other, error) {
	var out []Other
	for y := year - mostOthers; y < year; y++ {
		from, to := lookback.Span(y, site.Zone, lookback.Over(y, site.Zone))
		in, known, err := lookback.Inputs(ctx, a, site, place, from, to)
		if err != nil {
			return nil, err
		}
		if !known || len(in.Visits) == 0 {
			continue
		}
		past, err := forecast.LookBack(in)
		if err != nil {
			return nil, err
		}
		out = append(out, Other{Year: y, Past: &past})
	}
	return out, nil
}
