// Package records holds what was collected from the taps, and reads and writes
// it as comma-separated files.
package records

import (
	"math"
	"slices"
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
// day is known: in the afternoon, when most of the day's run has been caught
// (common practice; the tap logs of 2013 and 2014, CC0, Baumer et al., agree
// best with 15 to 16).
const UsualHour = 16

// Sort orders visits by time, keeping the order of equal ones.
func Sort(visits []Visit) {
	slices.SortStableFunc(visits, func(a, b Visit) int { return a.CollectedAt.Compare(b.CollectedAt) })
}

// Collected reports whether the visit has a volume, be it 0.
func (v Visit) Collected() bool { return !math.IsNaN(v.VolumeL) }

// usualTime is the moment that stands for a day in a zone.
func usualTime(day time.Time, zone *time.Location) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day(), UsualHour, 0, 0, 0, zone)
}
