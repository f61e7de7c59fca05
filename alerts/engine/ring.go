package engine

import (
	"container/heap"
	"hash/fnv"
	"time"
)

// ring holds the jobs of a queue: those that are due, the urgent ones first, then the
// oldest, then in the order in which they came; and apart those whose time is to come.
type ring struct {
	due   []entry
	later []entry
}

// ripen moves what has fallen due, and says when the next will.
func (r *ring) ripen(now time.Time) (next time.Time) {
	wait := r.later[:0]
	for _, e := range r.later {
		if !e.job.At.After(now) {
			heap.Push(r, e)
			continue
		}
		if next.IsZero() || e.job.At.Before(next) {
			next = e.job.At
		}
		wait = append(wait, e)
	}
	clear(r.later[len(wait):])
	r.later = wait
	return next
}

// Len, Less, Swap, Push and Pop are those of a heap.
func (r *ring) Len() int { return len(r.due) }

// Less puts what is urgent first.
func (r *ring) Less(i, j int) bool {
	a, b := &r.due[i], &r.due[j]
	if a.job.Urgent != b.job.Urgent {
		return a.job.Urgent
	}
	if !a.job.At.Equal(b.job.At) {
		return a.job.At.Before(b.job.At)
	}
	return a.serial < b.serial
}

// Swap exchanges two.
func (r *ring) Swap(i, j int) { r.due[i], r.due[j] = r.due[j], r.due[i] }

// Push adds one at the end.
func (r *ring) Push(x any) { r.due = append(r.due, x.(entry)) }

// Pop takes the last one away.
func (r *ring) Pop() any {
	last := r.due[len(r.due)-1]
	r.due[len(r.due)-1] = entry{}
	r.due = r.due[:len(r.due)-1]
	return last
}

// LongestWait is what waits between tries, the first of which doubles, grow to.
const (
	firstWait   = 30 * time.Second
	LongestWait = 30 * time.Minute
)

// BackOff is how long to wait after a try that failed, of so many: each time twice as long,
// and up to a fifth shorter by the job's key, so that what failed together does not come
// back together. The same job waits as long in every replay.
func BackOff(attempts int, key string) time.Duration {
	wait := min(firstWait<<min(max(attempts-1, 0), 10), LongestWait)
	return wait - Jitter(key, attempts, wait/5)
}

// Jitter is a part of a span by a key and a number.
func Jitter(key string, number int, span time.Duration) time.Duration {
	sum := fnv.New64a()
	_, _ = sum.Write([]byte(key))
	_, _ = sum.Write([]byte{byte(number)})
	return time.Duration(float64(span) * float64(sum.Sum64()>>11) / (1 << 53))
}
