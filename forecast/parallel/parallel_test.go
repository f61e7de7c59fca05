package parallel

import (
	"runtime"
	"testing"
)

// Every part is done once, by a worker of which there is one at a time, whatever the number
// of processors.
func TestEachPartOnce(t *testing.T) {
	for _, processors := range []int{1, 2, 8} {
		before := runtime.GOMAXPROCS(processors)
		for _, parts := range []int{0, 1, 3, 100} {
			done, busy := make([]int, parts), make([]int, Workers(parts))
			Each(parts, func(worker, i int) {
				busy[worker]++
				done[i]++
			})
			sum := 0
			for _, n := range busy {
				sum += n
			}
			for i, n := range done {
				if n != 1 || sum != parts {
					t.Errorf("%d processors, %d parts: part %d was done %d times, all of them %d times", processors, parts, i, n, sum)
				}
			}
		}
		runtime.GOMAXPROCS(before)
	}
}

// A fault of a part is the caller's, who may have a way to live with it: it never ends the
// program from a goroutine of its own.
func TestAFaultIsTheCallers(t *testing.T) {
	before := runtime.GOMAXPROCS(4)
	defer runtime.GOMAXPROCS(before)
	for bad := range 4 {
		func() {
			defer func() {
				if p := recover(); p != "bad" {
					t.Errorf("part %d: the caller recovers %v", bad, p)
				}
			}()
			Each(4, func(_, i int) {
				if i == bad {
					panic("bad")
				}
			})
			t.Errorf("part %d fails and nobody hears of it", bad)
		}()
	}
}
