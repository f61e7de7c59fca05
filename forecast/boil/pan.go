package boil

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Kind is how a pan takes heat.
type Kind string

// The kinds of pan, and of fuel.
const (
	Flat Kind = "flat"
	Flue Kind = "flue"

	Wood Fuel = "wood"
	Gas  Fuel = "gas"
)

// Fuel is what burns under it.
type Fuel string

// Pan is what the sap is boiled in.
type Pan struct {
	Kind      Kind
	AreaM2    float64
	RateLH    float64 // water boiled away in an hour, if it was measured; 0 if not
	Fuel      Fuel
	ReachBrix float64 // of sap concentrated before it is boiled, 0 without
}

// Rates of pans: about a US gallon an hour from a square foot of flat pan, and
// twice that from a flue pan (common practice).
const flatLHM2 = 3.785411784 / 0.09290304

// Share of the fuel's heat that goes up as steam (common practice; a cord of dry
// hardwood then boils 20 to 25 gallons of syrup from sap of 2 %).
var efficiency = map[Kind]map[Fuel]float64{
	Flat: {Wood: 0.36, Gas: 0.50},
	Flue: {Wood: 0.42, Gas: 0.60},
}

const (
	cordMJ    = 24 * 1055.06 // of dry sugar maple, 24 MBtu (from memory)
	propaneMJ = 25.5         // a litre (from memory)
	lightUp   = 30 * time.Minute
)

// Usual is a pan to reckon with where none is described: flat, 2 by 6 feet, on
// wood.
func Usual() Pan { return Pan{Kind: Flat, AreaM2: 12 * 0.09290304, Fuel: Wood} }

// Rate is the water that goes up in an hour, litres.
func (p Pan) Rate() float64 {
	switch {
	case p.RateLH > 0:
		return p.RateLH
	case p.Kind == Flue:
		return 2 * flatLHM2 * p.AreaM2
	}
	return flatLHM2 * p.AreaM2
}

// Batch is what a boil comes to.
type Batch struct {
	SapL         float64 `json:"sap_l"`
	Brix         float64 `json:"brix"`
	SyrupBrix    float64 `json:"syrup_brix"`
	SyrupL       float64 `json:"syrup_l"`
	SyrupKg      float64 `json:"syrup_kg"`
	SapPerSyrup  float64 `json:"sap_per_syrup"`
	ConcentrateL float64 `json:"concentrate_l,omitempty"` // what goes into the pan after concentrating
	WaterToBoilL float64 `json:"water_to_boil_l"`
	Hours        float64 `json:"hours"`
	WoodCords    float64 `json:"wood_cords,omitempty"`
	GasL         float64 `json:"gas_l,omitempty"`
	PressureHPa  float64 `json:"pressure_hpa"`
	BoilingC     float64 `json:"boiling_point_c"`
	DrawOffC     float64 `json:"draw_off_c"`
	SugarKg      float64 `json:"sugar_kg"`
	SugarL       float64 `json:"sugar_l"`
	SugarStageC  float64 `json:"sugar_stage_c"`
	// TooLittle: finished in this pan the syrup would lie thinner than a centimetre,
	// and scorch.
	TooLittle bool `json:"too_little"`
}

// leastDepthM is how thin syrup may lie in a pan at the end: 3/8 inch (common
// practice).
const leastDepthM = 0.0095

// Boil works out a batch: sap in litres and its sugar in per cent, to a syrup
// of a sugar content, at a station pressure in hPa.
func Boil(sapL, brix, syrupBrix, pressureHPa float64, p Pan) (Batch, error) {
	var faults []error
	fail := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if !(sapL > 0) || sapL > 1e7 {
		fail("%g L of sap: give how much there is, more than nothing", sapL)
	}
	if !(brix >= 0.5) || brix > 30 {
		fail("%g °Brix: sap has 1 to 5 per cent of sugar, concentrate up to 30", brix)
	}
	if !(syrupBrix >= 60) || syrupBrix > 70 {
		fail("%g °Brix: syrup has 66 to 68.9 per cent of sugar", syrupBrix)
	}
	if !(pressureHPa >= 500) || pressureHPa > 1100 {
		fail("%g hPa: no station pressure; near 1000 at the sea, 950 at 500 m", pressureHPa)
	}
	if p.ReachBrix != 0 && (p.ReachBrix <= brix || p.ReachBrix > 40) {
		fail("concentrate of %g °Brix: it must be sweeter than the sap, and at most 40", p.ReachBrix)
	}
	if p.Rate() <= 0 || math.IsNaN(p.Rate()) {
		fail("the pan has neither an area nor a rate")
	}
	if len(faults) > 0 {
		return Batch{}, errors.Join(faults...)
	}
	b := Batch{SapL: sapL, Brix: brix, SyrupBrix: syrupBrix, PressureHPa: pressureHPa}
	b.SapPerSyrup = SapPerSyrup(brix, syrupBrix)
	b.SyrupL = sapL / b.SapPerSyrup
	b.SyrupKg = b.SyrupL * DensityKgL(syrupBrix)
	intoPanL, panBrix := sapL, brix
	if p.ReachBrix > 0 {
		intoPanL, panBrix = sapL/SapPerSyrup(brix, p.ReachBrix), p.ReachBrix
		b.ConcentrateL = intoPanL
	}
	water := intoPanL*DensityKgL(panBrix) - b.SyrupKg // kg, and near enough litres
	b.WaterToBoilL = water / DensityKgL(0)
	b.Hours = b.WaterToBoilL/p.Rate() + lightUp.Hours()
	heat := water * HeatKJKg / 1000 / efficiency[kindOr(p.Kind)][fuelOr(p.Fuel)]
	if fuelOr(p.Fuel) == Gas {
		b.GasL = heat / propaneMJ
	} else {
		b.WoodCords = heat / cordMJ
	}
	b.BoilingC = WaterBoilsC(pressureHPa)
	b.DrawOffC = DrawOffC(pressureHPa, syrupBrix)
	b.SugarKg, b.SugarL = SugarFrom(b.SyrupL, syrupBrix)
	b.SugarStageC = b.BoilingC + sugarRiseK
	b.TooLittle = p.AreaM2 > 0 && b.SyrupL/1000 < p.AreaM2*leastDepthM
	return b, nil
}

func kindOr(k Kind) Kind {
	if k == Flue {
		return Flue
	}
	return Flat
}

func fuelOr(f Fuel) Fuel {
	if f == Gas {
		return Gas
	}
	return Wood
}
