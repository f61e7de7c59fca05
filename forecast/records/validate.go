package records

import (
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Capacity is what a group of taps can hold: Taps where a record does not say, and
// litres of its containers together, 0 where that is not known.
type Capacity struct {
	Taps    int
	VolumeL float64
}

// Kind is what is odd about a visit.
type Kind string

// The kinds of doubts. Their words stand in the catalogues.
const (
	Future         Kind = "future"
	LongAgo        Kind = "long_ago"       // before anybody wrote records
	TooManyTaps    Kind = "too_many_taps"  // for the group, or for any
	TooMuch        Kind = "too_much"       // for what the containers hold
	TooMuchATap    Kind = "too_much_a_tap" // for any tap
	ALittleMore    Kind = "a_little_more"  // than the containers hold
	BelowZero      Kind = "below_zero"
	TooSweet       Kind = "too_sweet" // for sap
	SugarBelowZero Kind = "sugar_below_zero"
	TapsBelowZero  Kind = "taps_below_zero"
	WhichIsIt      Kind = "which_is_it" // a volume, and "not checked"
	LongNote       Kind = "long_note"
	Emptied        Kind = "emptied"
	Spilled        Kind = "spilled"
	NotChecked     Kind = "not_checked"
	NoVolume       Kind = "no_volume"
	Ice            Kind = "ice"
	Full           Kind = "full"
	OtherSite      Kind = "other_site"
	UnknownGroup   Kind = "unknown_group"
	NoGroup        Kind = "no_group"
	SameTwice      Kind = "same_twice" // two lines of one file
)

// Doubt is something odd about a visit, with the figures that it is told by. A
// refusal is a slip that must be put right first; other doubts are only told.
type Doubt struct {
	Kind    Kind
	Visit   Visit
	Index   int // of the visit among those that were looked over
	Refusal bool

	Taps   int     // that were reckoned with
	HoldsL float64 // what the containers hold
	Groups []string
	Near   string // the group that is probably meant
	Other  int    // the line that says the same
}

// Blocking reports whether nobody can keep the visit all the same: it is not known
// which it is, or more than can be.
func (d *Doubt) Blocking() bool {
	none := []Kind{LongAgo, OtherSite, UnknownGroup, NoGroup, SameTwice, BelowZero, SugarBelowZero, TapsBelowZero}
	taps := d.Taps
	if taps <= 0 { // nobody said
		taps = mostTaps
	}
	return slices.Contains(none, d.Kind) || (d.Kind == TooMuch || d.Kind == TooMuchATap) && d.Visit.VolumeL > mostPerTapL*float64(taps)
}

// morePerTapL is more than a tap has given between two visits (common
// practice: a gallon is a good day, and pails hold two to four).
const morePerTapL = 60

// mostPerTapL is several times what a tap gives in a whole season: 40 L from a pail, 100 L under
// vacuum (common practice). A sum of many rounds may be kept in one record, more may not.
const mostPerTapL = 1000

// MostBrixPct is the most sugar that a group's sap has. Sap averages about 3 per
// cent; the most that was found, in a small flow of one tree late in a season, is
// 10.2 (Vermont Maple Sugar Makers' Association, A History of Vermont's Maple Sugar
// Industry).
const MostBrixPct = 10

// longestNote is how many letters a note may have.
const longestNote = 500

// firstYear is the first of which anybody may have a notebook of their own bush.
const firstYear = 1900

// More taps than the largest bushes have (about 200,000; from memory), or than a group had
// in any year, are a slip.
const (
	mostTaps  = 250_000
	timesTaps = 10
)

// slack is how far in the future a visit may lie: phones' clocks are not right to the
// minute.
const slack = time.Hour

// Validate looks visits over before they are kept, in their order: what can't be,
// and what the reader of the notebook should know was seen. capacity tells about a
// visit's group, and may say that it does not know.
func Validate(visits []Visit, now time.Time, capacity func(v *Visit) Capacity) []Doubt {
	var out []Doubt
	for i := range visits {
		v := &visits[i]
		c := capacity(v)
		taps := v.Taps
		if taps == 0 {
			taps = c.Taps
		}
		tell := func(kind Kind, refuse bool) {
			out = append(out, Doubt{Kind: kind, Visit: *v, Index: i, Refusal: refuse, Taps: taps, HoldsL: c.VolumeL})
		}
		switch {
		case v.inFuture(now):
			tell(Future, true)
		case v.CollectedAt.Year() < firstYear:
			tell(LongAgo, true)
		}
		switch {
		case v.Taps < 0:
			tell(TapsBelowZero, true)
		case v.Taps > mostTaps || c.Taps > 0 && v.Taps > timesTaps*c.Taps:
			tell(TooManyTaps, true)
		}
		v.tellVolume(c.VolumeL, taps, tell)
		switch {
		case v.BrixPct < 0:
			tell(SugarBelowZero, true)
		case v.BrixPct > MostBrixPct:
			tell(TooSweet, true)
		}
		if utf8.RuneCountInString(v.Note) > longestNote {
			tell(LongNote, true)
		}
		if v.VolumeL > 0 && slices.Contains(strings.Split(v.Note, ", "), NoteNotChecked) {
			tell(WhichIsIt, true)
			continue
		}
		v.tellRemarks(tell)
	}
	return out
}

// tellVolume looks at what was collected from so many taps, whose containers hold so much;
// either may be 0, unknown.
func (v *Visit) tellVolume(holdsL float64, taps int, tell func(kind Kind, refuse bool)) {
	switch {
	case !v.Collected():
	case v.VolumeL < 0:
		tell(BelowZero, true)
	case holdsL > 0 && v.VolumeL > 1.5*holdsL:
		tell(TooMuch, true)
	case taps > 0 && v.VolumeL > morePerTapL*float64(taps) || math.IsInf(v.VolumeL, 1):
		tell(TooMuchATap, true)
	case holdsL > 0 && v.VolumeL > 1.05*holdsL:
		tell(ALittleMore, false)
	}
}

// tellRemarks tells what was understood of the note.
func (v *Visit) tellRemarks(tell func(kind Kind, refuse bool)) {
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
	if r.Spilled && v.Collected() {
		tell(Spilled, false)
	}
}

// inFuture reports whether a visit can't have been yet; of one of which only the day
// is known, whether the day has not begun.
func (v *Visit) inFuture(now time.Time) bool {
	if v.DateOnly {
		return v.CollectedAt.Format(time.DateOnly) > now.In(v.CollectedAt.Location()).Format(time.DateOnly)
	}
	return v.CollectedAt.After(now.Add(slack))
}
