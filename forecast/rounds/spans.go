package rounds

import (
	"cmp"
	"slices"
	"time"
)

// stretch is a span in minutes from the plan's start.
type stretch struct{ from, to int }

func stretches(start time.Time, spans []Span) []stretch {
	out := make([]stretch, 0, len(spans))
	for _, s := range spans {
		// Full minutes that lie inside.
		from := int((s.From.Sub(start) + time.Minute - 1).Truncate(time.Minute) / time.Minute)
		if to := int(s.To.Sub(start).Truncate(time.Minute) / time.Minute); to > from {
			out = append(out, stretch{from, to})
		}
	}
	return joined(out)
}

// joined sorts stretches and joins those that meet.
func joined(s []stretch) []stretch {
	slices.SortFunc(s, func(a, b stretch) int { return cmp.Compare(a.from, b.from) })
	var out []stretch
	for _, x := range s {
		if k := len(out) - 1; k >= 0 && x.from <= out[k].to {
			out[k].to = max(out[k].to, x.to)
			continue
		}
		out = append(out, x)
	}
	return out
}

// inside is what two sorted lists have in common.
func inside(a, b []stretch) []stretch {
	var out []stretch
	for _, x := range a {
		for _, y := range b {
			if from, to := max(x.from, y.from), min(x.to, y.to); from < to {
				out = append(out, stretch{from, to})
			}
		}
	}
	return out
}

// without is what is left of sorted stretches.
func without(a, away []stretch) []stretch {
	out := slices.Clone(a)
	for _, y := range away {
		var left []stretch
		for _, x := range out {
			if x.from < min(x.to, y.from) {
				left = append(left, stretch{x.from, min(x.to, y.from)})
			}
			if from := max(x.from, y.to); from < x.to {
				left = append(left, stretch{from, x.to})
			}
		}
		out = left
	}
	return out
}

// endOf is when the stretch ends in which a minute lies, 0 outside.
func endOf(s []stretch, minute int) int {
	for _, x := range s {
		if x.from <= minute && minute < x.to {
			return x.to
		}
	}
	return 0
}
