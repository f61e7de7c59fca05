// Package sap turns the freezing and thawing of wood into the flow of a tap: a store that is
// charged while wood freezes and runs out while it is thawed.
//
// Start with [Begin] and [Parameters.Run] of [Usual]: hours of wood, as package trunk makes
// them, become litres an hour. [Table] lists each parameter with its range and its source.
package sap

import (
	"math"

	"thawline/forecast/trunk"
)

// Parameters of the charge and discharge of one tap. The mechanism is that of
// Milburn and O'Malley (1984) and Tyree (1983): ice presses gas together and
// draws water up as wood freezes, and the gas pushes the sap out as it thaws.
// Sources, ranges and how much each matters: Table, and thawline backtest
// sensitivity.
type Parameters struct {
	CapacityL      float64 // litres that a full store of a usual tap would give in the end
	ChargePerFrost float64 // charging of an empty store by one complete freeze: 1 - exp(-this)
	StemShare      float64 // of the charge and of the way for the sap that lies in the stem, the rest in branches
	EmptyHours     float64 // e-folding time of a thawed tap's flow by gravity; a few days end it
	WayPower       float64 // how sharply ice stops the flow: the free share of the wood to this power
	VacuumPerKPa   float64 // pull of vacuum against a full store, so that a season gains 5 to 7 % an inch of mercury (Table)
	WeepHours      float64 // e-folding time of what vacuum still draws after the last frost (common practice)
	AgeHalfHours   float64 // warm hours that halve a taphole's flow: five weeks at +3 °C (common practice)
	AgePower       float64 // common practice
	AsleepShare    float64 // of its flow that a tree gives after weeks of deep frost; 1 for all of it
	WakingHeat     float64 // °C h of the wood above 0 °C, of late, that wake it, as an e-folding
}

// Usual holds the values used for every tap.
var Usual = Parameters{
	CapacityL: 8, ChargePerFrost: 2, StemShare: 0.8, EmptyHours: 23, WayPower: 4,
	VacuumPerKPa: 0.0226, WeepHours: 48, AgeHalfHours: 1420, AgePower: 3, AsleepShare: 0.15, WakingHeat: 450,
}

// StrongDayGain is how many times as much a strong day gives under a vacuum in kPa below the
// outside pressure as by gravity: 4.65 % more for each inch of mercury, less than a season
// gains, since vacuum gives most on the weak days after a run; the middle of the best of
// four and of ten run days on eight springs at Madison and Harvard Forest (verify's test of
// vacuum).
func StrongDayGain(vacuumKPa float64) float64 { return 1 + 0.0465*vacuumKPa/3.386 }

// wakeHours is how long a tree remembers warmth.
const wakeHours = 20 * 24

// State is a tap at one moment.
type State struct {
	Store     float64 // charge, 0 to 1
	Weep      float64 // how lately wood was frozen: 1 then, falling towards 0
	WarmHours float64 // age of the taphole in hours at 0 °C worth of microbial growth
	heat      float64 // °C h of the wood above 0 °C of late
	ice       float64 // share of the wood that was frozen at the end of the last hour
	begun     bool
}

// winterHeat is what a tree remembers of warmth in the middle of February, °C h: the mean
// of thirty winters at Madison is 71, and 100 two weeks before (GHCN-Daily).
const winterHeat = 80

// Begin is a tap before the first of some hours of wood: as awake as winter leaves it, and
// as if it had been warm before for half as long as in the first three weeks of them
// (earlier was colder).
func Begin(wood []trunk.Hour) State {
	first := wood[:min(len(wood), wakeHours)]
	s := State{heat: winterHeat}
	for i := range first {
		s.heat += max(first[i].WoodC, 0) * wakeHours / 2 / float64(len(first))
	}
	return s
}

// AgeRate is how fast a taphole ages at a wood temperature in °C, against its
// ageing at 0 °C: the square-root growth law of microbes (Ratkowsky 1982) with
// growth from -10 °C, from memory; frozen wood does not age.
func AgeRate(woodC float64) float64 {
	if woodC <= 0 {
		return 0
	}
	r := 1 + 0.1*woodC
	return r * r
}

// Ageing is what remains of a fresh taphole's flow after so many warm hours.
func (p *Parameters) Ageing(warmHours float64) float64 {
	return 1 / (1 + power(warmHours/p.AgeHalfHours, p.AgePower))
}

// power is math.Pow, quicker for the small whole powers in use.
func power(x, p float64) float64 {
	switch p {
	case 3:
		return x * x * x
	case 4:
		return x * x * (x * x)
	}
	return math.Pow(x, p)
}

// Frozen is the share of the wood that feeds a tap which is ice in an hour, 0 to 1.
func (p *Parameters) Frozen(h *trunk.Hour) float64 {
	return p.StemShare*h.StemIce + (1-p.StemShare)*h.BranchIce
}

// Run moves the state through hours of wood under a vacuum in kPa (0 for
// buckets and gravity) and writes the flow of a usual tap in litres an hour to
// out, one value for each hour. A state that has never run starts with the
// charge of whatever is frozen in the first hour.
func (p *Parameters) Run(s *State, wood []trunk.Hour, vacuumKPa float64, out []float64) {
	p.Fresh(s, wood, vacuumKPa, out)
	p.Age(s, wood, out)
}

// emptied is 1 - exp(-x), by its series where x is small, as it is each hour.
func emptied(x float64) float64 {
	if x > 0.05 {
		return -math.Expm1(-x)
	}
	return x * (1 - x*(1./2)*(1-x*(1./3)*(1-x*(1./4)*(1-x*(1./5)*(1-x*(1./6)*(1-x*(1./7)))))))
}

// Age lets the taphole of a state grow older through hours of wood, and takes from the
// flow of a fresh one what it costs.
func (p *Parameters) Age(s *State, wood []trunk.Hour, out []float64) {
	for i := range wood {
		s.WarmHours += AgeRate(wood[i].WoodC)
		out[i] *= p.Ageing(s.WarmHours)
	}
}

// Fresh is Run with a taphole that never ages.
func (p *Parameters) Fresh(s *State, wood []trunk.Hour, vacuumKPa float64, out []float64) {
	pull := p.VacuumPerKPa * vacuumKPa
	keep := math.Exp(-1 / p.WeepHours)
	remember := math.Exp(-1 / wakeHours)
	for i := range wood {
		h := &wood[i]
		ice := p.Frozen(h)
		if !s.begun { // what froze before the first hour has charged the store
			s.ice, s.begun = ice, true
			s.Store = max(s.Store, -math.Expm1(-p.ChargePerFrost*ice))
		}
		if froze := ice - s.ice; froze > 0 {
			s.Store = 1 - (1-s.Store)*math.Exp(-p.ChargePerFrost*froze)
		}
		s.ice = ice
		s.Weep *= keep
		s.Weep = max(s.Weep, ice)

		s.heat = s.heat*remember + max(h.WoodC, 0)
		awake := p.AsleepShare + (1-p.AsleepShare)*(1-math.Exp(-s.heat/p.WakingHeat))
		// Ice stops the flow long before it fills the way, and branches that
		// freeze draw sap up.
		way := power(1-ice, p.WayPower) * (1 - h.BranchIce)
		ran := s.Store * emptied(way/p.EmptyHours)
		s.Store -= ran
		drawn := pull * s.Weep * way / p.EmptyHours
		out[i] = p.CapacityL * awake * (ran + drawn)
	}
}
