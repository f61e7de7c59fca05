// Package parallel runs the parts of one computation on all processors. What comes out
// does not depend on how many there are: each part writes to a place of its own.
package parallel

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Workers is how many goroutines Each runs so many parts on.
func Workers(parts int) int { return max(min(parts, runtime.GOMAXPROCS(0)), 1) }

// Each does the parts 0 to parts-1, and returns when all are done. worker, from 0 to
// Workers(parts)-1, is the goroutine that does one, for working space. A part's panic
// is that of Each.
func Each(parts int, do func(worker, part int)) {
	if Workers(parts) == 1 {
		for i := range parts {
			do(0, i)
		}
		return
	}
	var next atomic.Int64
	var once sync.Once
	var fault any
	work := func(worker int) {
		defer func() {
			if p := recover(); p != nil {
				next.Store(int64(parts))
				once.Do(func() { fault = p })
			}
		}()
		for i := int(next.Add(1)) - 1; i < parts; i = int(next.Add(1)) - 1 {
			do(worker, i)
		}
	}
	var others sync.WaitGroup
	for w := 1; w < Workers(parts); w++ {
		others.Go(func() { work(w) })
	}
	work(0)
	others.Wait()
	if fault != nil {
		panic(fault)
	}
}

// Together does several things at once.
func Together(things ...func()) { Each(len(things), func(_, i int) { things[i]() }) }
