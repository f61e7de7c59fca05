package source

import (
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"thawline/forecast/weather"
)

// What two forecasts of the same hours can't differ by, when one follows the other
// within a day and a half: in the middle of two days, 12 K. Forecasts a day ahead
// err by 2 K (archived US forecasts of 2021); degrees Fahrenheit read as Celsius lie
// 20 K and more away.
const (
	comparedHours = 48 * time.Hour
	fewestSame    = 12
	jumpK         = 12.0
)

// doubt tells why a bulletin can't be used, nil if it can; jumped is true where only
// the last good one speaks against it. A service that repeats an earlier run is
// taken at its word, but its forecast is as old as when it first said so.
func (c *Chain) doubt(ctx context.Context, siteID string, b *weather.Bulletin, r *Request) (fault *Fault, jumped bool) {
	now := r.Now
	b.Errors = &weather.UsualErrors
	if fault = judge(b, now); fault != nil {
		return fault, false
	}
	if why := b.Course.Implausible(r.Place, now, int(comparedHours/time.Hour)); why != "" {
		return unreadable(b.Source, "%s", why), false
	}
	if why := b.Course.Upside(r.Place, now); why != "" {
		return unreadable(b.Source, "%s", why), false
	}
	var kept weather.Bulletin
	err := errNothingKept
	if c.Keep != nil {
		kept, _, err = c.Keep.Load(ctx, siteID)
	}
	if err != nil {
		b.Doubt(r.Place, now, nil)
		return strays(b, r)
	}
	b.Remember(&kept)
	b.Doubt(r.Place, now, &kept)
	diffs := differences(b, &kept, now)
	if len(diffs) < fewestSame {
		return nil, false
	}
	if kept.Source == b.Source && b.IssuedAt.Sub(kept.IssuedAt) > 6*time.Hour &&
		!slices.ContainsFunc(diffs, func(d float64) bool { return d != 0 }) {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.Repeats, Since: kept.IssuedAt.UTC()})
		b.IssuedAt = kept.IssuedAt
		return judge(b, now), false
	}
	if middle := weather.Median(diffs); math.Abs(middle) > jumpK && now.Sub(kept.IssuedAt) < oldestIssue {
		return unreadable(b.Source, "its temperatures lie %+.0f K from those that %s gave for the same hours on %s: another unit, or another place", middle, kept.Source, kept.IssuedAt.UTC().Format("2006-01-02 15:04 UTC")), true
	}
	return strays(b, r)
}

var errNothingKept = errors.New("nothing is kept")

// strays tells that a bulletin lies far from what is believed of a place close by.
func strays(b *weather.Bulletin, r *Request) (fault *Fault, jumped bool) {
	if r.Beside == nil {
		return nil, false
	}
	diffs := differences(b, r.Beside, r.Now)
	if len(diffs) < fewestSame {
		return nil, false
	}
	if middle := weather.Median(diffs); math.Abs(middle) > jumpK {
		return unreadable(b.Source, "its temperatures lie %+.0f K from those that %s gave for the same hours a few kilometres away: another unit, or another place", middle, r.Beside.Source), true
	}
	return nil, false
}

// differences are those of the temperatures of hours to come that both know.
func differences(b, kept *weather.Bulletin, now time.Time) []float64 {
	return weather.Differences(&b.Course, &kept.Course, now, now.Add(comparedHours))
}

// apart reports whether two bulletins of the same hours can't both be true.
func apart(a, b *weather.Bulletin, now time.Time) bool {
	d := differences(a, b, now)
	return len(d) < fewestSame || math.Abs(weather.Median(d)) > jumpK
}
