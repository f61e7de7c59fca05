package volume

import (
	"math/rand/v2"
	"reflect"
	"testing"
)

func someVisits(groups, each int, offsets []float64) (Knowledge, [][]Visit) {
	rng := rand.New(rand.NewPCG(21, 22))
	know := Unknown(priorsOf(groups)...)
	truth := drawTruth(rng, know.Groups)
	var visits [][]Visit
	for k := range each {
		for g := range groups {
			v := truth.visit(rng, g, float64(k)/20)
			var strands []Visit
			for range offsets {
				strands = append(strands, v)
				v.ExpectedL *= 1.05
			}
			visits = append(visits, strands)
		}
	}
	return know, visits
}

// What is remembered is what would be learnt; what was heard after it is not; and anything
// else, be it one visit, one number of it or what was held before, is learnt anew.
func TestMemoryIsWhatWouldBeLearnt(t *testing.T) {
	offsets := []float64{-1, 0, 1}
	know, visits := someVisits(3, 12, offsets)
	var m Memory
	want, err := Learn(know, offsets, visits)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		got, err := m.Learn(know, offsets, visits)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatal("what is remembered is not what is learnt")
		}
		if err := got.Hear([]float64{1, 0.01, 0}, true); err != nil {
			t.Fatal(err)
		}
	}
	if len(m.order) != 1 || len(m.learnt) != 1 {
		t.Errorf("learnt %d times from the same visits", len(m.order))
	}
	know.OffsetK = 0.1
	again := func(why string, visits [][]Visit) {
		t.Helper()
		before := len(m.order)
		if _, err := m.Learn(know, offsets, visits); err != nil {
			t.Fatal(err)
		}
		if len(m.order) != before+1 {
			t.Errorf("%s: not learnt anew", why)
		}
	}
	again("another offset", visits)
	again("a visit less", visits[1:])
	visits[7][2].ObservedL++
	again("a litre more", visits)
	visits[7][2].AtLeast = true
	again("a full pail", visits)
}

// A memory is bounded: what was not asked for longest goes.
func TestMemoryIsBounded(t *testing.T) {
	know, visits := someVisits(30, 1, []float64{0})
	b, err := Learn(know, []float64{0}, visits)
	if err != nil {
		t.Fatal(err)
	}
	var m Memory
	const all = 10000
	for i := range all {
		m.keep(memoryKey{byte(i), byte(i >> 8)}, b)
		if m.recall(memoryKey{}) == nil {
			t.Fatalf("what was just asked for is gone after %d others", i)
		}
	}
	if m.held > mostNumbers || len(m.order) != len(m.learnt) || len(m.order) >= all || m.recall(memoryKey{1}) != nil {
		t.Errorf("%d numbers held, of %d bushes", m.held, len(m.order))
	}
	sum := 0
	for _, b := range m.learnt {
		sum += b.numbers()
	}
	if sum != m.held {
		t.Errorf("%d numbers are held, %d are counted", sum, m.held)
	}
}

// Of no memory, and of few visits, learning is as ever.
func TestNoMemoryLearns(t *testing.T) {
	offsets := []float64{0}
	know, visits := someVisits(1, 5, offsets)
	var none *Memory
	if _, err := none.Learn(know, offsets, visits); err != nil {
		t.Error(err)
	}
	var m Memory
	if _, err := m.Learn(know, offsets, visits); err != nil || len(m.order) != 0 {
		t.Errorf("%d remembered: %v", len(m.order), err)
	}
}
