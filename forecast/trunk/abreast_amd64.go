package trunk

import "golang.org/x/sys/cpu"

//go:generate go -C kernel run . -out ../step_amd64.s -stubs ../step_amd64.go -pkg trunk

var eightAtOnce = cpu.X86.HasAVX2

// stepAbreast is step for several stems.
func stepAbreast(a *abreast, b *barks) {
	if !eightAtOnce {
		stepLanes(a, b, 0)
		stepLanes(a, b, 4)
		return
	}
	stepEight(&a.rings[0].h[0], &a.common.seconds[0], &b.transfer[0], len(a.rings)-1)
}
