// Package records holds what was collected from the taps, and reads and writes
// it as comma-separated files.
package records

import (
	"math"
	"time"
)

// Visit is one collection from one group of taps. Its volume is all that had
// run since the visit before, not the flow of a day.
type Visit struct {
	Site, Group string // ids; "" where the record does not say

	// CollectedAt is when it was carried away. Where only the day is known,
	// DateOnly is true and the hour is UsualHour by the local clock.
	CollectedAt time.Time
	DateOnly    bool

	Taps    int     // 0 where the record does not say
	VolumeL float64 // NaN where nothing was collected or looked at; 0 means found empty
	BrixPct float64 // sugar in per cent by weight, NaN where not measured
	Note    string
	Line    int // of the file it was read from, 0 for none
}

// UsualHour is the local hour that stands for a collection of which only the
// day is known: late in the afternoon, when the day's run has mostly been
// caught (common practice).
const UsualHour = 17

// Collected reports whether the visit has a volume, be it 0.
func (v Visit) Collected() bool { return !math.IsNaN(v.VolumeL) }

// usualTime is the moment that stands for a day in a zone.
func usualTime(day time.Time, zone *time.Location) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), UsualHour, 0, 0, 0, zone)
}
