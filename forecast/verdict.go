package forecast

import "math"

// Verdict is how likely a run is, in the words of the evening.
type Verdict string

// The verdicts, the surest first.
const (
	WillRun  Verdict = "will"
	Likely   Verdict = "likely"
	Maybe    Verdict = "may"
	Unlikely Verdict = "unlikely"
	WontRun  Verdict = "none"
)

// verdicts are the chances of a run from which people plan, get ready, keep an eye open, or
// sleep in.
var verdicts = []struct {
	from float64
	is   Verdict
}{{0.85, WillRun}, {0.55, Likely}, {0.25, Maybe}, {0.08, Unlikely}, {0, WontRun}}

// VerdictOf is the verdict of a chance.
func VerdictOf(chance float64) Verdict {
	for _, v := range verdicts {
		if chance >= v.from {
			return v.is
		}
	}
	return WontRun
}

// Shown is a chance in whole per cent as it is shown: 54.7 % is "may run", and not written as the
// 55 % from which sap is likely to run.
func Shown(chance float64) float64 {
	shown := math.Round(chance*100) / 100
	if VerdictOf(shown) != VerdictOf(chance) {
		shown = math.Floor(chance*100) / 100
	}
	return shown
}

// VerdictBounds are the chances that a verdict stands for.
func VerdictBounds(v Verdict) (from, to float64) {
	to = 1
	for _, one := range verdicts {
		if one.is == v {
			return one.from, to
		}
		to = one.from
	}
	return 0, 0
}
