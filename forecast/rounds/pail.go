package rounds

import "math"

// Pail is what hangs at a tap: some of it may be ice, which stays behind when
// the pail is emptied and comes with a later round once it has melted.
type Pail struct{ LiquidL, IceL float64 }

const (
	// pailLossWK is what a partly filled pail on a tree exchanges with the air,
	// W/K. From 0.6 to 1.2 the two seasons' tap logs of 2013 and 2014 (CC0, Baumer
	// et al.) are ranked equally well, and clearly better than without ice.
	pailLossWK = 0.8
	pailL      = 7.5     // that those pails held
	fusionJKg  = 333_550 // of ice (IAPWS, from memory)
)

// Melts is how much ice of a pail melts in an hour at an air temperature in °C, litres;
// below zero what freezes.
func Melts(airC float64) float64 { return pailLossWK * airC * 3600 / fusionJKg }

// MeltShare is what part of that melts or freezes for each of so many taps that share a
// tank: it has less surface for what it holds, which goes by the power of two thirds. 1
// where each tap has its own container.
func MeltShare(tankL float64, taps int) float64 {
	if tankL <= 0 || taps <= 0 {
		return 1
	}
	return math.Pow(tankL/pailL, 2.0/3) / float64(taps)
}

// Hour lets an hour of flow, litres, run in, and so much melt, or freeze below zero, as
// far as there is any. The content stays at the melting point; that it cools first is
// neglected.
func (p *Pail) Hour(flowL, meltsL float64) {
	p.LiquidL += flowL
	melted := min(max(meltsL, -p.LiquidL), p.IceL)
	p.LiquidL += melted
	p.IceL -= melted
}

// Empty takes the liquid out and returns how much there was.
func (p *Pail) Empty() float64 {
	l := p.LiquidL
	p.LiquidL = 0
	return l
}
