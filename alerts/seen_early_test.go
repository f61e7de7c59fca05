package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
)

// What is seen near by brings a run forward only by two hours, an hour of which can still be
// used; not what nobody has seen, nobody was told, is of another day, or over.
func TestWhatIsSeenNearByIsToldInTimeOnly(t *testing.T) {
	told := clock(20, 16, 0)
	for name, c := range map[string]struct {
		start, end, now, told time.Time
		date                  string
		reports               int
		want                  bool
	}{
		"two hours":              {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, true},
		"nearly two":             {clock(20, 14, 1), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"nobody has seen it":     {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 0, false},
		"nobody was told":        {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), time.Time{}, "2026-03-20", 1, false},
		"of another day":         {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-21", 1, false},
		"an hour to gain":        {clock(20, 13, 0), clock(20, 20, 0), clock(20, 15, 0), told, "2026-03-20", 1, true},
		"less than an hour":      {clock(20, 13, 0), clock(20, 20, 0), clock(20, 15, 1), told, "2026-03-20", 1, false},
		"over":                   {clock(20, 9, 0), clock(20, 12, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"over in a minute":       {clock(20, 9, 0), clock(20, 12, 1), clock(20, 12, 0), told, "2026-03-20", 1, true},
		"it begins as it was":    {told, clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"later than it was":      {clock(20, 18, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"of a day without hours": {time.Time{}, time.Time{}, clock(20, 12, 0), told, "2026-03-20", 1, false},
	} {
		r := rules{o: &forecast.Outlook{Eyes: forecast.Eyes{Reports: c.reports}}, at: Moment{Now: c.now}, zone: zone}
		d := forecast.Day{Date: c.date}
		if !c.start.IsZero() {
			d.Window = &forecast.Window{Start: c.start, End: c.end}
		}
		if got := r.seenEarlier(&d, c.told); got != c.want {
			t.Errorf("%s: %t", name, got)
		}
	}
}
