package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
)

// Nobody is sent in the dark: a moment between five in the evening and eight in the morning is
// brought forward to five, or where that is past put off to eight.
func TestHoursOfTheLight(t *testing.T) {
	moment := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, zone) }
	r := &rules{zone: zone, o: &forecast.Outlook{}}
	for _, c := range []struct{ now, at, want time.Time }{
		{moment(20, 9, 0), moment(20, 12, 30), moment(20, 12, 30)},
		{moment(20, 9, 0), moment(20, 16, 59), moment(20, 16, 59)},
		{moment(20, 9, 0), moment(20, 17, 30), moment(20, 17, 0)},
		{moment(20, 9, 0), moment(20, 23, 0), moment(20, 17, 0)},
		{moment(20, 9, 0), moment(21, 7, 59), moment(20, 17, 0)},
		{moment(20, 9, 0), moment(21, 8, 30), moment(21, 8, 30)},
		{moment(20, 18, 0), moment(20, 23, 0), moment(21, 8, 0)},
		{moment(20, 18, 0), moment(21, 7, 0), moment(21, 8, 0)},
		{moment(21, 8, 0), moment(21, 8, 30), moment(21, 8, 30)},
		{moment(20, 17, 0), moment(20, 18, 0), moment(21, 8, 0)}, // five is now
	} {
		r.at.Now = c.now
		if got := r.byDay(c.at); !got.Equal(c.want) {
			t.Errorf("of %s at %s: %s, not %s", c.at, c.now, got, c.want)
		}
	}
}
