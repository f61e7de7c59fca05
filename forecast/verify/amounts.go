package verify

import (
	"math"
	"slices"
)

// CRPS is the continuous ranked probability score of equally likely members
// (Hersbach 2000; Gneiting and Raftery 2007). NaN without members.
func CRPS(members []float64, observed float64) float64 {
	x := slices.Sorted(slices.Values(members))
	m := float64(len(x))
	near, apart := 0.0, 0.0
	for i, v := range x {
		near += math.Abs(v - observed)
		apart += v * (2*float64(i) + 1 - m) // sum over pairs of |xi - xj|, halved
	}
	return near/m - apart/m/m
}

// PIT is the rank of what was observed among members as a share of all ranks,
// where coin in [0, 1) settles where it falls between its neighbours and among
// its equals: even over many forecasts if they are calibrated (Dawid 1984).
func PIT(members []float64, observed, coin float64) float64 {
	below, same := 0.0, 0.0
	for _, x := range members {
		switch {
		case x < observed:
			below++
		case x == observed:
			same++
		}
	}
	return (below + coin*(same+1)) / float64(len(members)+1)
}

// Pearson is the linear correlation of two lists; NaN where one does not vary.
func Pearson(a, b []float64) float64 {
	n := float64(len(a))
	var ma, mb, ab, aa, bb float64
	for i := range a {
		ma += a[i] / n
		mb += b[i] / n
	}
	for i := range a {
		ab += (a[i] - ma) * (b[i] - mb)
		aa += (a[i] - ma) * (a[i] - ma)
		bb += (b[i] - mb) * (b[i] - mb)
	}
	return ab / math.Sqrt(aa*bb)
}

// Spearman is the correlation of the ranks of two lists, ties sharing their
// mean rank.
func Spearman(a, b []float64) float64 { return Pearson(ranks(a), ranks(b)) }

// ranks counts from 1; equal values share the mean of theirs.
func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return 0
	})
	out := make([]float64, len(x))
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && x[order[j]] == x[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = float64(i+j+1) / 2
		}
		i = j
	}
	return out
}
