package forecast

import (
	"testing"
	"time"
)

// An outlook that is read later begins with the day that it is by then where the bush
// is, has weather that has grown older, and is not read at all once it is too old.
func TestOutlookReadLater(t *testing.T) {
	zone := time.FixedZone("bush", -4*3600)
	made := time.Date(2026, 3, 20, 21, 0, 0, 0, zone)
	o := &Outlook{IssuedAt: made, Source: Source{IssuedAt: made.Add(-time.Hour), AgeHours: 1},
		Days: []Day{{Date: "2026-03-20"}, {Date: "2026-03-21"}, {Date: "2026-03-22"}}}
	for after, want := range map[time.Duration]struct {
		today string
		age   float64
	}{0: {"2026-03-20", 1}, 2*time.Hour + 59*time.Minute: {"2026-03-20", 3 + 59./60}, 3 * time.Hour: {"2026-03-21", 4},
		20 * time.Hour: {"2026-03-21", 21}, -time.Hour: {"2026-03-20", 0}} {
		at := o.At(made.Add(after).UTC(), zone)
		if at.Days[0].Date != want.today || at.Source.AgeHours != want.age {
			t.Errorf("after %s: %s, %g h", after, at.Days[0].Date, at.Source.AgeHours)
		}
	}
	if o.At(made.Add(20*time.Hour+time.Second), zone) != nil {
		t.Error("yesterday's outlook is read")
	}
	if len(o.Days) != 3 || o.Source.AgeHours != 1 {
		t.Errorf("what was made has changed: %+v", o)
	}
}
