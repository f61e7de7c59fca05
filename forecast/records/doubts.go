package records

import (
	"time"
)

// Holds is what a group of taps can hold: Taps where a record does not say, and
// litres of its containers together, 0 where that is not known.
type Holds struct {
	Taps      int
	CapacityL float64
}

// Kind is what is odd about a visit.
type Kind string

// The kinds of doubts. Their words stand in the catalogues.
const (
	Future       Kind = "future"
	TooMuch      Kind = "too_much"       // for what the containers hold
	TooMuchATap  Kind = "too_much_a_tap" // for any tap
	ALittleMore  Kind = "a_little_more"  // than the containers hold
	TooSweet     Kind = "too_sweet"      // for sap
	Emptied      Kind = "emptied"
	NotChecked   Kind = "not_checked"
	NoVolume     Kind = "no_volume"
	Ice          Kind = "ice"
	Full         Kind = "full"
	UnknownGroup Kind = "unknown_group"
	NoGroup      Kind = "no_group"
	SameTwice    Kind = "same_twice" // two lines of one file
)

// Doubt is something odd about a visit, with the figures that it is told by. A
// refusal is a slip that must be put right first; other doubts are only told.
type Doubt struct {
	Kind    Kind
	Visit   Visit
	Refusal bool

	Taps   int     // that were reckoned with
	HoldsL float64 // what the containers hold
	Groups []string
	Near   string // the group that is probably meant
	Other  int    // the line that says the same
}

// Firm reports whether nobody can keep the visit all the same: it is not known which
// it is.
func (d *Doubt) Firm() bool {
	return d.Kind == UnknownGroup || d.Kind == NoGroup || d.Kind == SameTwice
}

// morePerTapL is more than a tap has given between two visits (common
// practice: a gallon is a good day, and pails hold two to four).
const morePerTapL = 60

// moreBrixPct is more sugar than sap has (common practice: 1 to 5 per cent).
const moreBrixPct = 10

// Doubts looks visits over, oldest first, before they are kept: what can't be,
// and what the reader of the notebook should know was seen. holds tells about a
// group, and may say that it does not know.
func Doubts(visits []Visit, now time.Time, holds func(v *Visit) Holds) []Doubt {
	var out []Doubt
	for i := range visits {
		v := &visits[i]
		h := holds(v)
		taps := v.Taps
		if taps == 0 {
			taps = h.Taps
		}
		tell := func(kind Kind, refuse bool) {
			out = append(out, Doubt{Kind: kind, Visit: *v, Refusal: refuse, Taps: taps, HoldsL: h.CapacityL})
		}
		if v.CollectedAt.After(now.Add(24 * time.Hour)) {
			tell(Future, true)
		}
		switch {
		case !v.Collected():
		case h.CapacityL > 0 && v.VolumeL > 1.5*h.CapacityL:
			tell(TooMuch, true)
		case taps > 0 && v.VolumeL > morePerTapL*float64(taps):
			tell(TooMuchATap, true)
		case h.CapacityL > 0 && v.VolumeL > 1.05*h.CapacityL:
			tell(ALittleMore, false)
		}
		if v.BrixPct > moreBrixPct {
			tell(TooSweet, true)
		}
		r := v.Remarks()
		switch {
		case r.Emptied:
			tell(Emptied, false)
		case r.NotChecked:
			tell(NotChecked, false)
		case !v.Collected():
			tell(NoVolume, false)
		}
		if r.Ice {
			tell(Ice, false)
		}
		if r.Full && v.Collected() {
			tell(Full, false)
		}
	}
	return out
}
