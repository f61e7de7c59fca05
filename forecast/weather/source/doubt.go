package source

import (
	"context"
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
	comparedHours = 48
	fewestSame    = 12
	jumpK         = 12.0
)

// doubt tells why a bulletin can't be used, nil if it can; jumped is true where only
// the last good one speaks against it. A service that repeats an earlier run is
// taken at its word, but its forecast is as old as when it first said so.
func (c *Chain) doubt(ctx context.Context, siteID string, b *weather.Bulletin, now time.Time) (fault *Fault, jumped bool) {
	if fault = judge(b, now); fault != nil || c.Keep == nil {
		return fault, false
	}
	kept, _, err := c.Keep.Load(ctx, siteID)
	if err != nil {
		return nil, false
	}
	diffs := differences(b, &kept, now)
	if len(diffs) < fewestSame {
		return nil, false
	}
	if kept.Source == b.Source && b.IssuedAt.Sub(kept.IssuedAt) > 6*time.Hour && !slices.ContainsFunc(diffs, func(d float64) bool { return d != 0 }) {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.Repeats, Since: kept.IssuedAt.UTC()})
		b.IssuedAt = kept.IssuedAt
		return judge(b, now), false
	}
	if middle := median(diffs); math.Abs(middle) > jumpK && now.Sub(kept.IssuedAt) < oldestIssue {
		return unreadable(b.Source, "its temperatures lie %+.0f K from those that %s gave for the same hours on %s: another unit, or another place", middle, kept.Source, kept.IssuedAt.UTC().Format("2006-01-02 15:04 UTC")), true
	}
	return nil, false
}

// differences are those of the temperatures of hours to come that both know.
func differences(b, kept *weather.Bulletin, now time.Time) []float64 {
	var out []float64
	for i := range comparedHours {
		at := now.Add(time.Duration(i) * time.Hour)
		if d := b.Course.At(weather.TemperatureC, b.Course.Index(at)) - kept.Course.At(weather.TemperatureC, kept.Course.Index(at)); !math.IsNaN(d) {
			out = append(out, d)
		}
	}
	return out
}

// apart reports whether two bulletins of the same hours can't both be true.
func apart(a, b *weather.Bulletin, now time.Time) bool {
	d := differences(a, b, now)
	return len(d) < fewestSame || math.Abs(median(d)) > jumpK
}

// median sorts what it is given.
func median(of []float64) float64 {
	slices.Sort(of)
	return of[len(of)/2]
}
