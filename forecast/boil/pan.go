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
	// WoodShare is how much of the usual wood it burns for the same water, as boils that
	// were written down have shown; 0 for 1.
	WoodShare float64
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
	// LightUp is how long a cold pan takes until it boils (common practice).
	LightUp = 30 * time.Minute
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
	b.Hours = b.WaterToBoilL/p.Rate() + LightUp.Hours()
	heat := water * HeatKJKg / 1000 / efficiency[kindOr(p.Kind)][fuelOr(p.Fuel)]
	if fuelOr(p.Fuel) == Gas {
		b.GasL = heat / propaneMJ
	} else {
		b.WoodCords = heat / cordMJ * woodShare(p.WoodShare)
	}
	b.BoilingC = WaterBoilsC(pressureHPa)
	b.DrawOffC = DrawOffC(pressureHPa, syrupBrix)
	b.SugarKg, b.SugarL = SugarFrom(b.SyrupL, syrupBrix)
	b.SugarStageC = b.BoilingC + sugarRiseK
	b.TooLittle = b.SyrupL < LeastSyrupL(p.AreaM2)
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

func woodShare(x float64) float64 {
	if x > 0 {
		return x
	}
	return 1
}

// LeastSyrupL is how much syrup a pan of an area must hold in the end so as not to
// scorch, litres.
func LeastSyrupL(areaM2 float64) float64 { return 1000 * areaM2 * leastDepthM }

// WaterPerSap is the water that goes up of a litre of sap, litres: of what is left after
// concentrating, where that is done.
func WaterPerSap(brix, syrupBrix float64, p Pan) float64 {
	b, err := Boil(1000, brix, syrupBrix, 1000, Pan{AreaM2: 1, ReachBrix: p.ReachBrix})
	if err != nil {
		return 1
	}
	return b.WaterToBoilL / 1000
}

// Fired is a fire that somebody wrote down: water boiled away, and hours and cords where
// they were said, else NaN.
type Fired struct{ WaterL, Hours, WoodCords float64 }

// How far, in the logarithm, pans are from what their area says, from what their owners
// measured once, and one boil from another in the same pan (common practice: weather,
// wood and who fires make a quarter).
const (
	byAreaSD     = 0.35
	measuredSD   = 0.15
	boilToBoilSD = 0.25
)

// Learnt is the pan as the fires show it: its rate and its wood lie between what was held
// before and the mean of the fires, by how much each can be trusted.
func (p Pan) Learnt(fires []Fired) Pan {
	before := byAreaSD
	if p.RateLH > 0 {
		before = measuredSD
	}
	var rate, wood []float64
	for _, f := range fires {
		if lit := f.Hours - LightUp.Hours(); f.WaterL > 0 && lit > 0 {
			rate = append(rate, math.Log(f.WaterL/lit/p.Rate()))
		}
		if f.WaterL > 0 && f.WoodCords > 0 {
			usual := f.WaterL * HeatKJKg / 1000 / efficiency[kindOr(p.Kind)][fuelOr(p.Fuel)] / cordMJ
			wood = append(wood, math.Log(f.WoodCords/usual))
		}
	}
	if len(rate) > 0 {
		p.RateLH = p.Rate() * math.Exp(shrunk(rate, before))
	}
	if len(wood) > 0 {
		p.WoodShare = math.Exp(shrunk(wood, byAreaSD))
	}
	return p
}

// shrunk is the mean of figures that scatter by boilToBoilSD, drawn towards 0 by a belief
// of a spread.
func shrunk(x []float64, priorSD float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += min(max(v, -1.5), 1.5) // a slip of a digit is not a pan
	}
	each := 1 / (boilToBoilSD * boilToBoilSD)
	return sum * each / (float64(len(x))*each + 1/(priorSD*priorSD))
}
