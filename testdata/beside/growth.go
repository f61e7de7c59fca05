package beside

import (
	"math"
	"runtime"
	"testing"
	"time"
)

// Growth compares work of some size with work of twice that size. An exponent of 1 says
// that what the work takes grows in a straight line with its size, 2 that it grows with the
// square.
type Growth struct {
	work [2]func() // of the size, and of twice that
	best [2]spent
}

// spent is the least of several rounds.
type spent struct{ seconds, processor, bytes, objects float64 }

// NewGrowth gets work ready of a size and of twice that. Each piece is done once, so that
// what is made only once is not counted.
func NewGrowth(size int, ready func(size int) (work func())) *Growth {
	return Compare(ready(size), ready(2*size))
}

// Compare is for pieces of work that do not differ by a number alone.
func Compare(once, twice func()) *Growth {
	once()
	twice()
	most := spent{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	return &Growth{work: [2]func(){once, twice}, best: [2]spent{most, most}}
}

// Round does both pieces once. They take turns, so that a busy machine slows both.
func (g *Growth) Round() {
	for i, work := range g.work {
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		processor, began := CPUSeconds(), time.Now()
		work()
		seconds := time.Since(began).Seconds()
		processor = CPUSeconds() - processor
		runtime.ReadMemStats(&after)
		b := &g.best[i]
		b.seconds, b.processor = min(b.seconds, seconds), min(b.processor, processor)
		b.bytes = min(b.bytes, float64(after.TotalAlloc-before.TotalAlloc))
		b.objects = min(b.objects, float64(after.Mallocs-before.Mallocs))
	}
}

// Exponents are those of the best times on the clock and of the processor, of bytes, and of
// objects allocated.
func (g *Growth) Exponents() (seconds, processor, bytes, objects float64) {
	of := func(once, twice float64) float64 { return math.Log2(twice / once) }
	a, b := &g.best[0], &g.best[1]
	return of(a.seconds, b.seconds), of(a.processor, b.processor), of(a.bytes, b.bytes), of(a.objects, b.objects)
}

// Report does rounds for as long as a benchmark runs, and prints the exponents.
func (g *Growth) Report(b *testing.B) {
	for b.Loop() {
		g.Round()
	}
	seconds, processor, bytes, objects := g.Exponents()
	b.ReportMetric(0, "ns/op") // of both pieces together, which says nothing
	b.ReportMetric(1000*g.best[0].seconds, "ms-once")
	b.ReportMetric(1000*g.best[1].seconds, "ms-twice")
	b.ReportMetric(seconds, "exp-time")
	b.ReportMetric(processor, "exp-processor")
	b.ReportMetric(bytes, "exp-bytes")
	b.ReportMetric(objects, "exp-objects")
}

// Rounds of which Hold takes the best: a piece of work that grows too fast does so in every
// one, however quiet the machine is.
const (
	fewestRounds = 2
	mostRounds   = 10
)

// Hold fails a test where an exponent is above a bound: of processor time, which a busy
// machine moves little and the best of several rounds less, and of what is allocated, which
// nothing moves. One processor does the work.
func (g *Growth) Hold(t testing.TB, bound float64) {
	t.Helper()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	var seconds, processor, bytes, objects float64
	rounds := 0
	for rounds < fewestRounds || rounds < mostRounds && !(processor <= bound) {
		g.Round()
		rounds++
		seconds, processor, bytes, objects = g.Exponents()
	}
	t.Logf("exponents %.2f of processor time, %.2f of time, %.2f of bytes, %.2f of objects; %.0f and %.0f ms, %d rounds",
		processor, seconds, bytes, objects, 1000*g.best[0].processor, 1000*g.best[1].processor, rounds)
	if !(processor <= bound) || !(bytes <= bound) || !(objects <= bound) {
		t.Errorf("twice as much takes 2^%.2f times the processor, 2^%.2f the bytes and 2^%.2f the objects, where 2^%.1f is promised: "+
			"look for a loop within a loop", processor, bytes, objects, bound)
	}
}
