package rounds

import (
	"runtime/debug"
	"runtime/metrics"
	"testing"
	"time"
)

// A plan's tables take little for each group: a club's daemon plans beside all else that it
// holds. Most is what ran and what of it is ice for each start and draw, 27 kB each of 51 draws.
func TestPlanTakesLittleMemory(t *testing.T) {
	const groups, most = 200, 110e3 // bytes a group
	req := largeBush(groups, 12, 7)
	took := testing.Benchmark(func(b *testing.B) {
		b.ReportAllocs()
		for range b.N {
			PlanRounds(req)
		}
	}).AllocedBytesPerOp()
	if float64(took) > most*groups {
		t.Errorf("%.0f kB a group, at most %.0f", float64(took)/1000/groups, most/1000)
	}
}

// BenchmarkPlanPeak is the most that a week's plan of a thousand groups holds at once, beside
// the flows that it is given. Memory is collected all the time meanwhile, so that what
// nobody needs any more hardly counts.
func BenchmarkPlanPeak(b *testing.B) {
	req := largeBush(1000, 12, 7)
	defer debug.SetGCPercent(debug.SetGCPercent(1))
	debug.FreeOSMemory()
	held := func() float64 {
		s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		metrics.Read(s)
		return float64(s[0].Value.Uint64())
	}
	before, done, peaks := held(), make(chan struct{}), make(chan float64)
	go func() {
		peak := 0.0
		for {
			select {
			case <-done:
				peaks <- peak
				return
			case <-time.After(time.Millisecond / 2):
				peak = max(peak, held())
			}
		}
	}()
	b.ReportAllocs()
	for b.Loop() {
		PlanRounds(req)
	}
	close(done)
	b.ReportMetric((<-peaks-before)/1e6, "peak-MB")
}
