package verify

import (
	"math/rand/v2"
	"slices"
)

// Interval is where a figure lies with the given confidence.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Bootstrap gives the interval of a statistic of n cases that holds the middle
// share of it over resamples, each drawn in blocks of neighbouring cases,
// which are alike and count as less than that many (moving-block bootstrap,
// Künsch 1989). statistic is called with indices of cases.
func Bootstrap(n, block, resamples int, share float64, seed uint64, statistic func(cases []int) float64) Interval {
	rng := rand.New(rand.NewPCG(seed, 0x626f6f74))
	block = min(max(block, 1), n)
	values := make([]float64, 0, resamples)
	cases := make([]int, n)
	for range resamples {
		for i := 0; i < n; {
			from := rng.IntN(n - block + 1)
			for k := 0; k < block && i < n; k++ {
				cases[i] = from + k
				i++
			}
		}
		if v := statistic(cases); v == v { // a resample without an event says nothing
			values = append(values, v)
		}
	}
	if len(values) == 0 {
		return Interval{}
	}
	slices.Sort(values)
	at := func(p float64) float64 { return values[min(int(p*float64(len(values))), len(values)-1)] }
	return Interval{at((1 - share) / 2), at((1 + share) / 2)}
}

// pick takes the cases of a list.
func pick(x []float64, cases []int) []float64 {
	out := make([]float64, len(cases))
	for i, c := range cases {
		out[i] = x[c]
	}
	return out
}
