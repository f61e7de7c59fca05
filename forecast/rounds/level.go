package rounds

import "math"

const (
	// levelFine is how fine a word is of how full containers are: a quarter.
	levelFine = 0.25
	// Trees that gave more than was thought go on to do so, in part: visits a day apart err
	// alike (correlation 0.5 on the hill in 2013, none in 2014).
	goesOn   = 0.3
	giveTake = 0.5 // litres a tap that were more or less say little of that
	nearlyL  = 0.99
	golden   = 0.618034 // spreads draws evenly over what a word leaves open
)

// Tell makes the draws agree with somebody's word that containers were full to a share,
// by quarters. sinceL is what each draw has given a tap since then, litres. Without a known
// size of the containers nothing is told.
func (l *Load) Tell(share float64, sinceL []float64) {
	one := Fill{Taps: 1, ContainerL: l.ContainerL}
	capacity := l.ContainerL
	if l.TankL > 0 {
		one, capacity = Fill{Taps: 1, TankL: l.TankL / float64(l.Taps)}, l.TankL/float64(l.Taps)
	}
	if capacity <= 0 {
		return
	}
	for d := range l.HeldL {
		level := share + levelFine*(math.Mod(golden*float64(d+1), 1)-0.5)
		before := max(l.HeldL[d]-sinceL[d], 0)
		held := one.Gave(min(max(level, 0), nearlyL) * capacity)
		l.HeldL[d] = held + sinceL[d]
		if share < 1 { // of full containers nobody knows what ran
			more := math.Pow((held+giveTake)/(before+giveTake), goesOn)
			for h := range l.FlowL[d] {
				l.FlowL[d][h] *= more
			}
		}
	}
}
