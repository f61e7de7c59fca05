package volume

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"
	"sync"
)

// Memory holds what was learnt lately, by all that it was learnt from: the same visits
// are not learnt from again. What comes out is the same as without it. Several may use it
// at once; the zero value is empty, and nil remembers nothing.
type Memory struct {
	mu     sync.Mutex
	learnt map[memoryKey]*Bush
	order  []memoryKey // the one that was asked for last at the end
	held   int
}

type memoryKey [sha256.Size]byte

// From so many visits on it is worth while to remember, and so many numbers are held at
// most: 8 MB.
const (
	worthRemembering = 20
	mostNumbers      = 1 << 20
)

// Learn is as [Learn].
func (m *Memory) Learn(know Knowledge, offsets []float64, visits [][]Visit) (*Bush, error) {
	if m == nil || len(visits) < worthRemembering {
		return Learn(know, offsets, visits)
	}
	key := keyOf(&know, offsets, visits)
	if b := m.recall(key); b != nil {
		return b, nil
	}
	b, err := Learn(know, offsets, visits)
	if err == nil {
		m.keep(key, b.clone())
	}
	return b, err
}

func (m *Memory) recall(key memoryKey) *Bush {
	m.mu.Lock()
	defer m.mu.Unlock()
	b, known := m.learnt[key]
	if !known {
		return nil
	}
	i := slices.Index(m.order, key)
	m.order = append(slices.Delete(m.order, i, i+1), key)
	return b.clone()
}

func (m *Memory) keep(key memoryKey, b *Bush) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, known := m.learnt[key]; known {
		return
	}
	if m.learnt == nil {
		m.learnt = map[memoryKey]*Bush{}
	}
	m.learnt[key], m.order, m.held = b, append(m.order, key), m.held+b.numbers()
	for m.held > mostNumbers {
		oldest := m.order[0]
		m.held -= m.learnt[oldest].numbers()
		delete(m.learnt, oldest)
		m.order = slices.Delete(m.order, 0, 1)
	}
}

// numbers is about how many a bush holds.
func (b *Bush) numbers() int {
	each := fixedParameters * (fixedParameters + len(b.know.Groups) + 4)
	return len(b.parts)*(each+2*len(b.know.Groups)) + 4*len(b.know.Groups)
}

// clone is a bush that may hear and believe without the other's doing so.
func (b *Bush) clone() *Bush {
	c := *b
	c.parts = slices.Clone(b.parts)
	return &c
}

// keyOf is a key of all that is learnt from.
func keyOf(know *Knowledge, offsets []float64, visits [][]Visit) (key memoryKey) {
	h := sha256.New()
	var row []byte
	write := func(numbers ...float64) {
		row = row[:0]
		for _, x := range numbers {
			row = binary.LittleEndian.AppendUint64(row, math.Float64bits(x))
		}
		_, _ = h.Write(row) // never fails
	}
	write(float64(len(know.Groups)), float64(len(offsets)), float64(len(visits)), know.OffsetK, know.OffsetSDK, know.SpreadLogSD)
	write(know.Habit...)
	write(offsets...)
	for _, g := range know.Groups {
		write(g.LogMean, g.LogSD, g.DayLogSD, g.OwnLogSD)
	}
	for _, strands := range visits {
		for i := range strands {
			v := &strands[i]
			more := 0.0
			if v.AtLeast {
				more = 1
			}
			write(float64(v.Group), v.Months, float64(v.Taps), v.ExpectedL, v.Days, v.ObservedL, more)
		}
	}
	h.Sum(key[:0])
	return key
}
