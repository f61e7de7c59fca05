package forecast

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/weather"
)

// neighbour is the i-th of many sites in one region, and the weather it gets:
// places, taps and seeds differ, and so does the weather from one grid cell to
// the next.
func neighbour(t testing.TB, i int, pastDays, days int) Inputs {
	site := bush(t)
	site.ID = fmt.Sprintf("b%d", i)
	site.Place.LatitudeDeg += float64(i%97) / 97
	site.Place.LongitudeDeg -= float64(i%89) / 44
	site.Place.ElevationM += float64(i % 61)
	site.Groups = append([]Group{}, site.Groups...)
	site.Groups[0].Taps = 20 + i%200
	return Inputs{Site: site, Bulletin: cellWeather(i%400, pastDays, days), Now: march, Seed: uint64(i)}
}

var cells sync.Map

func cellWeather(cell, pastDays, days int) weather.Bulletin {
	key := [3]int{cell, pastDays, days}
	if b, ok := cells.Load(key); ok {
		return b.(weather.Bulletin)
	}
	b := waves(0.5+float64(cell%7)/2, 5+float64(cell%5), pastDays, days)
	cells.Store(key, b)
	return b
}

// Any number of workers comes to the same outlooks, to the last digit.
func TestWorkersDoNotChangeOutlooks(t *testing.T) {
	const sites = 12
	run := func(workers int) []Outlook {
		out := make([]Outlook, sites)
		var next atomic.Int64
		var wg sync.WaitGroup
		for range workers {
			wg.Go(func() {
				for i := int(next.Add(1)) - 1; i < sites; i = int(next.Add(1)) - 1 {
					o, err := Make(neighbour(t, i, 14, 16))
					if err != nil {
						t.Error(err)
					}
					out[i] = o
				}
			})
		}
		wg.Wait()
		return out
	}
	alone := run(1)
	for _, workers := range []int{2, 3, 8} {
		if d := cmp.Diff(alone, run(workers)); d != "" {
			t.Errorf("%d workers come to other outlooks:\n%s", workers, d)
		}
	}
}

// Many sites on all processors, one outlook each: -benchtime 10000x is the
// evening of a large association.
func BenchmarkManySites(b *testing.B) {
	b.ReportAllocs()
	var next atomic.Int64
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			if _, err := Make(neighbour(b, int(next.Add(1)), 14, 17)); err != nil {
				b.Error(err)
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "sites/s")
}
