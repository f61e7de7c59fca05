package rounds

import (
	"fmt"
	"testing"

	"thawline/testdata/beside"
)

// planGrowings are what a plan grows with: so many against twice as many.
var planGrowings = []struct {
	with string
	size int
	bush func(size int) PlanRequest
}{
	{"groups", 100, func(size int) PlanRequest { return largeBush(size, 6, 5) }},
	{"helpers", 6, func(size int) PlanRequest { return largeBush(60, size, 5) }},
	{"days", 3, func(size int) PlanRequest { return largeBush(60, 6, size) }},
}

// A plan grows in a straight line with groups, helpers and days.
func TestGrowth(t *testing.T) {
	for _, w := range planGrowings {
		t.Run(w.with, func(t *testing.T) { planGrowth(w.size, w.bush).Hold(t, 1.3) })
	}
}

// BenchmarkGrowth prints the exponents, 1 for a straight line.
func BenchmarkGrowth(b *testing.B) {
	for _, w := range planGrowings {
		b.Run(fmt.Sprintf("%s=%d-%d", w.with, w.size, 2*w.size), func(b *testing.B) { planGrowth(w.size, w.bush).Report(b) })
	}
}

func planGrowth(size int, bush func(size int) PlanRequest) *beside.Growth {
	return beside.NewGrowth(size, func(size int) func() {
		req := bush(size)
		return func() { PlanRounds(req) }
	})
}
