package records

import (
	"math"
	"time"

	"thawline/forecast/units"
)

// Within sameWithin the same litres of a group are the same record, entered twice;
// other litres within loadWithin are another load of the same visit (common practice:
// a tank is drawn through the bush, emptied and drawn back within an hour or two).
const (
	sameWithin = 10 * time.Minute
	loadWithin = 2 * time.Hour
)

// SameLitres reports whether two volumes are the same to what anybody reads off, in
// litres or in tenths of a gallon.
func SameLitres(a, b float64) bool {
	return math.Abs(a-b) < 0.05 || math.IsNaN(a) && math.IsNaN(b)
}

// inWholeGallons reports whether a is a whole number of gallons, and b, which is not, comes
// to as many.
func inWholeGallons(a, b float64) bool {
	for _, gallon := range []float64{units.LitresPerUSGallon, units.LitresPerImperialGallon} {
		n, of := a/gallon, b/gallon
		const exact = 1e-3
		if n > exact && math.Abs(n-math.Round(n)) < exact && math.Abs(of-math.Round(of)) >= exact && math.Round(of) == math.Round(n) {
			return true
		}
	}
	return false
}

// IsAgain reports whether v says again what another visit of its group says: the same
// litres within ten minutes, or on the day, where of one of them only that is known. Who
// reads the same tank in whole gallons says the same as who reads it in litres.
func (v *Visit) IsAgain(other *Visit) bool {
	a, b := v.VolumeL, other.VolumeL
	if !SameLitres(a, b) && !inWholeGallons(a, b) && !inWholeGallons(b, a) || !v.Collected() && v.Note != other.Note {
		return false
	}
	if v.DateOnly || other.DateOnly {
		return v.CollectedAt.Format(time.DateOnly) == other.CollectedAt.In(v.CollectedAt.Location()).Format(time.DateOnly)
	}
	return v.CollectedAt.Sub(other.CollectedAt).Abs() <= sameWithin
}

// IsLoadWith reports whether v and another visit of its group are loads of one visit.
func (v *Visit) IsLoadWith(other *Visit) bool {
	return v.VolumeL > 0 && other.VolumeL > 0 && !v.DateOnly && !other.DateOnly && v.CollectedAt.Sub(other.CollectedAt).Abs() <= loadWithin
}

// JoinLoads makes one visit of the loads of each, for visits of one group in order of
// time: all that was carried away, at the moment of the last load. taps is how many
// the group has: loads from parts of it add up to that.
func JoinLoads(visits []Visit, taps int) []Visit {
	var out []Visit
	for i := range visits {
		v := visits[i]
		if len(out) == 0 || !v.IsLoadWith(&out[len(out)-1]) {
			out = append(out, v)
			continue
		}
		of := &out[len(out)-1]
		switch {
		case math.IsNaN(of.BrixPct):
			of.BrixPct = v.BrixPct
		case !math.IsNaN(v.BrixPct):
			of.BrixPct = (of.BrixPct*of.VolumeL + v.BrixPct*v.VolumeL) / (of.VolumeL + v.VolumeL)
		}
		if sum := of.Taps + v.Taps; of.Taps > 0 && v.Taps > 0 && sum <= taps {
			of.Taps = sum
		} else {
			of.Taps = max(of.Taps, v.Taps)
		}
		if v.Note != "" && of.Note != "" && v.Note != of.Note {
			of.Note += ", " + v.Note
		} else if of.Note == "" {
			of.Note = v.Note
		}
		of.VolumeL += v.VolumeL
		of.CollectedAt = v.CollectedAt
	}
	return out
}

// Loads are how many loads the visit at a moment had, among visits of its group in
// order of time, and what they brought in all.
func Loads(visits []Visit, at time.Time) (n int, litres float64) {
	found := false
	for i := range visits {
		v := &visits[i]
		if n > 0 && !v.IsLoadWith(&visits[i-1]) { //nolint:gosec // G602: n counts those before i
			if found {
				break
			}
			n, litres = 0, 0
		}
		n++
		litres += v.VolumeL
		found = found || v.CollectedAt.Equal(at)
	}
	if !found {
		return 0, 0
	}
	return n, litres
}
