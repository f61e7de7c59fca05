package sap_test

import (
	"fmt"

	"thawline/forecast/sap"
	"thawline/forecast/trunk"
)

// A night of frost charges a tap; it runs as the wood thaws, and ever less.
func ExampleParameters_Run() {
	wood := make([]trunk.Hour, 36)
	for i := range wood {
		wood[i] = trunk.Hour{WoodC: 4}
		if i < 12 {
			wood[i] = trunk.Hour{StemIce: 1, BranchIce: 1, WoodC: -3}
		}
	}
	flow := make([]float64, len(wood)) // litres in each hour
	tap, usual := sap.Begin(wood), sap.Usual
	usual.Run(&tap, wood, 0, flow)
	fmt.Println("frozen:", flow[6] > 0, "thawed:", flow[13] > 0, "less by night:", flow[30] < flow[13])
	// Output: frozen: false thawed: true less by night: true
}
