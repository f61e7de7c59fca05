package boil

import "math"

// DensityKgL is the density of a sucrose solution at 20 °C in kg/L, for its
// sugar in per cent by weight (ICUMSA SPS-4 form; coefficients from memory,
// within 0.1 % of the table).
func DensityKgL(brixPct float64) float64 {
	w := brixPct / 100
	return (998.203 + w*(385.1757+w*(135.3705+w*(40.9299+w*(-3.9643+w*(13.4853-17.2890*w)))))) / 1000
}

// The sugar of finished syrup, per cent by weight: the lowest that the United
// States and Canada allow, and that of Vermont and New Hampshire.
const (
	SyrupBrix      = 66.0
	HeavySyrupBrix = 66.9
)

// SapPerSyrup is how many litres of sap of one sugar content make a litre of
// another: by the balance of sugar, both at 20 °C. The trade's rules of 86, 87.1
// and 88.2 over the °Brix of the sap are this for thin sap (Jones; Perkins and
// Isselhardt).
func SapPerSyrup(sapBrix, syrupBrix float64) float64 {
	return syrupBrix * DensityKgL(syrupBrix) / (sapBrix * DensityKgL(sapBrix))
}

// Stage is a stage of sugar making, by how far above boiling water it is
// reached.
type Stage struct {
	Name        string // in catalogues, as stage_ and the name
	AboveWaterF [2]float64
}

// AtC is between which temperatures of the pan, °C, the stage is reached where water
// boils at a given one.
func (s Stage) AtC(waterBoilsC float64) (low, high float64) {
	return waterBoilsC + s.AboveWaterF[0]/1.8, waterBoilsC + s.AboveWaterF[1]/1.8
}

// Stages lists what syrup becomes as it is boiled on, °F above boiling water
// (extension charts, from memory; recipes vary).
var Stages = []Stage{
	{"taffy", [2]float64{18, 40}},
	{"cream", [2]float64{22, 24}},
	{"moulded", [2]float64{32, 34}},
	{"block", [2]float64{33, 36}},
	{"granulated", [2]float64{40, 45}},
}

// sugarRiseK is the middle of the range of granulated sugar.
const sugarRiseK = 42.5 / 1.8

const (
	sugarMoisture = 0.015 // of granulated sugar (from memory)
	stirringLoss  = 0.03  // in stirring and sieving (from memory)
	sugarKgL      = 0.85  // granulated maple sugar, poured (common practice)
)

// SugarFrom is the granulated sugar, kg and litres, that litres of syrup give.
func SugarFrom(syrupL, syrupBrix float64) (kg, litres float64) {
	kg = syrupL * DensityKgL(syrupBrix) * syrupBrix / 100 / (1 - sugarMoisture) * (1 - stirringLoss)
	return kg, kg / sugarKgL
}

// HeatKJKg warms sap from 4 °C and boils a kilogram of water away: 4.19 kJ/kg/K
// and 2257 kJ/kg (from memory).
const HeatKJKg = 4.19*96 + 2257

// BrixBySeason is the sugar to expect of sap that nobody has measured: 2.3 % at
// the start of a season and 1.7 % forty days later (common practice).
func BrixBySeason(days float64) float64 { return math.Max(2.3-0.015*math.Max(days, 0), 1.5) }
