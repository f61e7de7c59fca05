package trunk

import "golang.org/x/sys/cpu"

//go:generate go -C kernel run . -out ../step_amd64.s -stubs ../step_amd64.go -pkg trunk

var eightAtOnce = cpu.X86.HasAVX2

// stepAbreast is step for several stems.
func stepAbreast(sides []*abreast, b *[2]barks) {
	first, n := sides[0], len(sides[0].rings)-1
	switch {
	case !eightAtOnce:
		stepPlain(sides, b)
	case len(sides) == 1:
		stepEight(&first.rings[0].h[0], &first.common.seconds[0], &b[0].transfer[0], n)
	default:
		stepSixteen(&first.rings[0].h[0], &sides[1].rings[0].h[0], &first.common.seconds[0], &b[0].transfer[0], n)
	}
}

// readAbreast reads the ice in the tapped wood of stems, which is in so many rings.
func readAbreast(a *abreast, tapped int, ice *[lanes]float64) {
	if !eightAtOnce || tapped == 0 { // the vector code counts down to nothing, and begins with one
		readLanes(a, tapped, ice)
		return
	}
	readEight(&a.rings[0].h[0], &a.common.seconds[0], &ice[0], tapped)
}
