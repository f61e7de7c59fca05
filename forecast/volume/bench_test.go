package volume

import (
	"math/rand/v2"
	"testing"
)

// A season of six groups, 40 visits each, along eight strands.
func BenchmarkLearnSeason(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	know := Unknown(priorsOf(6)...)
	truth := drawTruth(rng, know.Groups)
	offsets := know.Offsets()
	var visits [][]Visit
	for k := range 40 {
		for g := range know.Groups {
			v := truth.visit(rng, g, float64(k)/20)
			var strands []Visit
			for range offsets {
				strands = append(strands, v)
				v.ExpectedL *= 0.8 + 0.4*rng.Float64()
			}
			visits = append(visits, strands)
		}
	}
	for b.Loop() {
		if _, err := Learn(know, offsets, visits); err != nil {
			b.Fatal(err)
		}
	}
}
