package records

import (
	"fmt"
	"time"
)

// Holds is what a group of taps can hold: Taps where a record does not say, and
// litres of its containers together, 0 where that is not known.
type Holds struct {
	Taps      int
	CapacityL float64
}

// Doubt is something odd about a visit. A refusal is a slip that must be put
// right first; other doubts are only told.
type Doubt struct {
	Line    int
	What    string
	Refusal bool
}

func (d Doubt) String() string {
	if d.Line == 0 {
		return d.What
	}
	return fmt.Sprintf("line %d: %s", d.Line, d.What)
}

// morePerTapL is more than a tap has given between two visits (common
// practice: a gallon is a good day, and pails hold two to four).
const morePerTapL = 60

// Doubts looks visits over, oldest first, before they are kept: what can't be,
// and what the reader of the notebook should know was seen. holds tells about a
// group, and may say that it does not know.
func Doubts(visits []Visit, now time.Time, holds func(v *Visit) Holds) []Doubt {
	var out []Doubt
	last := map[[2]string]*Visit{}
	for i := range visits {
		v := &visits[i]
		tell := func(refuse bool, format string, args ...any) {
			out = append(out, Doubt{v.Line, fmt.Sprintf(format, args...), refuse})
		}
		h := holds(v)
		taps := v.Taps
		if taps == 0 {
			taps = h.Taps
		}
		if v.CollectedAt.After(now.Add(24 * time.Hour)) {
			tell(true, "%s lies in the future; check the year", v.CollectedAt.Format(time.DateOnly))
		}
		switch {
		case !v.Collected():
		case h.CapacityL > 0 && v.VolumeL > 1.5*h.CapacityL:
			tell(true, "%.4g L is more than the %.4g L that the containers hold; was it another unit, or several rounds?", v.VolumeL, h.CapacityL)
		case taps > 0 && v.VolumeL > morePerTapL*float64(taps):
			tell(true, "%.4g L from %d taps is %.0f L a tap; was it another unit?", v.VolumeL, taps, v.VolumeL/float64(taps))
		case h.CapacityL > 0 && v.VolumeL > 1.05*h.CapacityL:
			tell(false, "%.4g L is a little more than the %.4g L that the containers hold", v.VolumeL, h.CapacityL)
		}
		r := v.Remarks()
		switch {
		case r.Emptied:
			tell(false, "emptied or poured away: its sap counts for nothing")
		case r.NotChecked:
			tell(false, "not checked: no figure, left to the next visit")
		case !v.Collected():
			tell(false, "no volume: left to the next visit")
		}
		if r.Ice {
			tell(false, "ice: some of the sap stays for a later visit")
		}
		if r.Full && v.Collected() {
			tell(false, "full: counts as at least so much")
		}
		key := [2]string{v.Site, v.Group}
		if before := last[key]; before != nil {
			if days := v.CollectedAt.Sub(before.CollectedAt).Hours() / 24; days > 1.6 && days < 60 && v.Collected() {
				tell(false, "one figure for %.0f days", days)
			}
		}
		if v.Collected() || r.Emptied {
			last[key] = v
		}
	}
	return out
}
