// Package trunk follows the wood of a tree hour by hour as it freezes and thaws: heat
// conduction with a change of phase in a cylinder, driven by air, wind, sun and sky at the
// bark.
//
// Start with [NewTree] and [Tree.Rest]; [Tree.Run] takes a state through hourly weather and
// writes an [Hour] for each: how much of the water is ice, and how warm the wood is.
// [Tree.RunMembers] does so for many forecasts at once.
package trunk

import "math"

// Wood holds what the model needs to know of a stem. Conductivities are across
// the grain in W/m/K, capacities and latent heat per cubic metre of green wood.
type Wood struct {
	RadiusM            float64
	BarkM              float64 // thickness of bark, a resistance without storage
	BarkConductivity   float64
	ThawedConductivity float64
	FrozenConductivity float64
	ThawedJM3K         float64
	FrozenJM3K         float64
	LatentJM3          float64 // of the water that freezes
	FreezingC          float64 // where the last ice melts
	FreezingRangeK     float64 // over which it freezes
}

// SugarMaple returns green sugar maple sapwood in a stem of the given diameter
// under its bark. Capacities follow from basic density 560 kg/m³, 70 % moisture
// and the share of it above fibre saturation (Wood Handbook FPL-GTR-190 ch. 4;
// moisture from memory); thawed conductivity is MacLean's 1941 relation, frozen
// wood conducts about a third better (both from memory). Sap of 2 % sucrose
// freezes at -0.11 °C, and the rest of it follows as it grows stronger (K_f
// 1.86 K kg/mol).
func SugarMaple(diameterM float64) Wood { return Maple(diameterM, sugarMapleKgM3) }

const sugarMapleKgM3 = 560.0

// Maple returns the wood of a maple of another basic density in kg/m³, as moist as that of
// sugar maple: capacities go with the density, and so, within 2 %, do conductivities
// (MacLean 1941, from memory).
func Maple(diameterM, densityKgM3 float64) Wood {
	share := densityKgM3 / sugarMapleKgM3
	return Wood{
		RadiusM: diameterM / 2, BarkM: 0.006, BarkConductivity: 0.12,
		ThawedConductivity: 0.38 * share, FrozenConductivity: 0.5 * share,
		ThawedJM3K: 2.3e6 * share, FrozenJM3K: 1.7e6 * share, LatentJM3: 7.5e7 * share,
		FreezingC: -0.11, FreezingRangeK: 0.4,
	}
}

// Rings grow inward from the bark, each a little thicker than the one outside
// it: the day's swing is sharpest there.
const (
	rings        = 14
	ringGrowth   = 1.15
	stepsPerHour = 2
)

// Grid is the ring geometry of one wood and the space to solve on it: use one
// per goroutine. Areas and volumes are per metre of stem and per radian.
type Grid struct {
	wood   Wood
	steps  int       // per hour
	edgeM  []float64 // n+1, from the surface inward: edgeM[0] = radius
	midM   []float64
	volume []float64 // ∫ r dr of a ring
	reach  []float64 // n+1: edge radius / distance between mid-points
	weight []float64 // share of the tapped wood that lies in a ring
	half   int       // the ring at half a taphole's depth
	tapped int       // how many rings the tapped wood lies in

	conduct, k, t, upper []float64
	phase                []int8
}

// tapDepthM is how deep a taphole reaches into the wood: 1.5 to 2 inches
// (common practice).
const tapDepthM = 0.045

// NewGrid cuts the stem into the usual rings and time steps.
func NewGrid(w Wood) *Grid { return newGrid(w, rings, ringGrowth, stepsPerHour) }

func newGrid(w Wood, n int, growth float64, steps int) *Grid {
	g := &Grid{
		wood: w, steps: steps,
		edgeM: make([]float64, n+1), midM: make([]float64, n), volume: make([]float64, n),
		reach: make([]float64, n+1), weight: make([]float64, n),
		conduct: make([]float64, n+1), k: make([]float64, n), t: make([]float64, n),
		upper: make([]float64, n), phase: make([]int8, n),
	}
	parts, width := 0.0, 1.0
	for range n {
		parts += width
		width *= growth
	}
	width = w.RadiusM / parts
	g.edgeM[0] = w.RadiusM
	for i := range n - 1 {
		g.edgeM[i+1] = g.edgeM[i] - width
		width *= growth
	}
	floor := max(w.RadiusM-tapDepthM, 0)
	tapped := (w.RadiusM*w.RadiusM - floor*floor) / 2
	for i := range n {
		outer, inner := g.edgeM[i], g.edgeM[i+1]
		g.midM[i] = (outer + inner) / 2
		g.volume[i] = (outer*outer - inner*inner) / 2
		if i > 0 {
			g.reach[i] = outer / (g.midM[i-1] - g.midM[i])
		}
		if inner = max(inner, floor); outer > inner {
			g.weight[i] = (outer*outer - inner*inner) / 2 / tapped
			g.tapped++
		}
	}
	g.half = g.ringAt(tapDepthM / 2)
	return g
}

// Stem is the state of one stem: enthalpy per ring in J/m³, zero for wood just
// thawed.
type Stem []float64

// temperature and its slope with enthalpy; fraction of the freezable water that
// is ice.
func (w *Wood) temperature(h float64) float64 {
	switch {
	case h >= 0:
		return w.FreezingC + h/w.ThawedJM3K
	case h > -w.latentSpan():
		return w.FreezingC + h/w.latentSpan()*w.FreezingRangeK
	}
	return w.FreezingC - w.FreezingRangeK + (h+w.latentSpan())/w.FrozenJM3K
}

// latentSpan is the enthalpy between all thawed and all frozen.
func (w *Wood) latentSpan() float64 {
	return w.LatentJM3 + w.FreezingRangeK*(w.ThawedJM3K+w.FrozenJM3K)/2
}

func (w *Wood) enthalpy(temperatureC float64) float64 {
	switch x := temperatureC - w.FreezingC; {
	case x >= 0:
		return x * w.ThawedJM3K
	case x > -w.FreezingRangeK:
		return x / w.FreezingRangeK * w.latentSpan()
	default:
		return (x+w.FreezingRangeK)*w.FrozenJM3K - w.latentSpan()
	}
}

func (w *Wood) iceFraction(h float64) float64 {
	return min(max(float64(h*(-1/w.latentSpan())), 0), 1)
}

// NewStem returns a stem of even temperature in °C.
func (g *Grid) NewStem(temperatureC float64) Stem {
	s := make(Stem, len(g.volume))
	for i := range s {
		s[i] = g.wood.enthalpy(temperatureC)
	}
	return s
}

// TemperatureC is the temperature at a depth below the bark in metres, that of
// the ring which holds it.
func (g *Grid) TemperatureC(s Stem, depthM float64) float64 {
	return g.wood.temperature(s[g.ringAt(depthM)])
}

func (g *Grid) ringAt(depthM float64) int {
	i := 0
	for i < len(g.volume)-1 && g.edgeM[0]-g.edgeM[i+1] < depthM {
		i++
	}
	return i
}

// IceFraction is the share of the freezable water in the tapped wood that is
// frozen, 0 to 1.
func (g *Grid) IceFraction(s Stem) float64 {
	ice := 0.0
	for i, weight := range g.weight[:g.tapped] {
		ice += float64(weight * g.wood.iceFraction(s[i]))
	}
	return ice
}

// EnergyJ is the enthalpy of a metre of stem, in J.
func (g *Grid) EnergyJ(s Stem) float64 {
	sum := 0.0
	for i, h := range s {
		sum += h * g.volume[i]
	}
	return 2 * math.Pi * sum
}

// Bark is what drives a stem for an hour: the coefficient of heat transfer at
// the bark, convective and long-wave together, in W/m²/K, and the temperature
// in °C that the surroundings seem to have once sun and sky are counted in.
type Bark struct {
	TransferWM2K float64
	SolAirC      float64
}

// Hour moves the stem by one hour and returns the heat that came in through
// the bark, in J per metre of stem. Backward Euler in enthalpy: stable for any
// forcing; rings exchange exactly what their neighbours lose, so that energy is
// kept to rounding.
func (g *Grid) Hour(s Stem, b Bark) float64 {
	gained := 0.0
	for range g.steps {
		gained += g.step(s, b, 3600/float64(g.steps))
	}
	return 2 * math.Pi * gained
}

// lines are the straight lines of enthalpy over temperature of frozen, freezing
// and thawed wood: slope, and what each line would have at 0 °C.
func (w *Wood) lines() (slopes, bases [3]float64) {
	span := w.latentSpan()
	slopes = [3]float64{w.FrozenJM3K, span / w.FreezingRangeK, w.ThawedJM3K}
	bases = [3]float64{
		-span - float64(w.FrozenJM3K*(w.FreezingC-w.FreezingRangeK)),
		-slopes[1] * w.FreezingC,
		-w.ThawedJM3K * w.FreezingC,
	}
	return slopes, bases
}

// step solves one implicit step by Newton's iteration: with temperature
// piecewise linear in enthalpy, it ends exactly once no ring changes phase.
// Products are rounded before they are added, so that every processor, and the
// step of several stems, comes to the same figures.
func (g *Grid) step(s Stem, b Bark, seconds float64) float64 {
	w := &g.wood
	span := w.latentSpan()
	slopes, bases := w.lines()
	icePerJM3 := -1 / span

	n := len(s)
	conduct, k, phase := g.conduct[:n+1], g.k[:n], g.phase[:n]
	t, upper, volume := g.t[:n], g.upper[:n], g.volume[:n]
	for i, h := range s {
		ice := min(max(float64(h*icePerJM3), 0), 1)
		k[i] = w.ThawedConductivity + float64(ice*(w.FrozenConductivity-w.ThawedConductivity))
		phase[i] = phaseOf(h, -span)
	}
	half := g.edgeM[0] - g.midM[0]
	conduct[0] = g.edgeM[0] / (1/b.TransferWM2K + w.BarkM/w.BarkConductivity + half/k[0])
	for i := 1; i < n; i++ {
		conduct[i] = g.reach[i] * 2 * k[i-1] * k[i] / (k[i-1] + k[i])
	}

	for range maxIterations {
		// (slope V + G dt) T_i - G dt T_neighbours = V (H_old - base)
		above, in := b.SolAirC, float64(conduct[0]*seconds)
		up := 0.0
		for i := range s {
			out := float64(conduct[i+1] * seconds)
			inv := 1 / (float64(slopes[phase[i]]*volume[i]) + in + out - float64(in*up))
			above = (float64((s[i]-bases[phase[i]])*volume[i]) + float64(in*above)) * inv
			up, in = out*inv, out
			upper[i], t[i] = up, above
		}
		changed := false
		for i := n - 1; i >= 0; i-- {
			if i < n-1 {
				t[i] += float64(upper[i] * t[i+1])
			}
			h := float64(slopes[phase[i]]*t[i]) + bases[phase[i]]
			if now := phaseOf(h, -span); now != phase[i] {
				phase[i], changed = nextPhase(phase[i], now), true
			}
		}
		if !changed {
			break
		}
	}

	inflow := conduct[0] * (b.SolAirC - t[0]) * seconds
	in := inflow
	for i := range s {
		out := 0.0
		if i < n-1 {
			out = conduct[i+1] * (t[i] - t[i+1]) * seconds
		}
		s[i] += float64((in - out) * (1 / volume[i]))
		in = out
	}
	return inflow
}

const maxIterations = 12

func phaseOf(h, allFrozen float64) int8 {
	switch {
	case h >= 0:
		return 2
	case h > allFrozen:
		return 1
	}
	return 0
}

// nextPhase moves a ring by one phase at most: a jump across the plateau would
// overshoot and swing back.
func nextPhase(from, to int8) int8 {
	switch {
	case to > from:
		return from + 1
	case to < from:
		return from - 1
	}
	return from
}
