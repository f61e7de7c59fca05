package trunk

import (
	"thawline/forecast/parallel"
	"thawline/forecast/weather"
)

// lanes is how many stems are followed abreast, or twice as many where there are so many.
// The solution for one stem is a chain of operations each of which waits for the one
// before; several chains side by side keep the processor busy. Each stem's figures are the
// same to the last bit as if it were alone.
const lanes = 8

// ring is one ring of all the stems: enthalpy J/m³, conductance of its outer
// edge W/K and what a step works with, lane by lane; then, four times each for
// processors that take four numbers at once, its geometry. The program in kernel
// knows this layout.
type ring struct {
	h, conduct, t, upper, slope, base, phase [lanes]float64

	volume, perVolume, reach, weight [4]float64
}

// stepping is what all rings have in common during a step, each four times; the
// program in kernel knows this layout too.
type stepping struct {
	seconds, thawed, stiffer, icePerJM3, allFrozen, one, minusOne, edge, barkResistance, firstHalf, nought [4]float64
	slopes, bases                                                                                          [3][4]float64
}

// barks drive the stems for an hour, lane by lane.
type barks struct{ transfer, solAir [lanes]float64 }

// abreast is the space to follow several stems on.
type abreast struct {
	rings  []ring // and one more, to which nothing flows
	common stepping
}

func (g *Grid) newAbreast() *abreast {
	w, span := &g.wood, g.wood.latentSpan()
	a := &abreast{rings: make([]ring, len(g.volume)+1)}
	for i, v := range g.volume {
		r := &a.rings[i]
		r.volume, r.perVolume, r.reach, r.weight = four(v), four(1/v), four(2*g.reach[i]), four(g.weight[i])
	}
	slopes, bases := w.lines()
	a.common = stepping{
		seconds: four(3600 / float64(g.steps)), thawed: four(w.ThawedConductivity),
		stiffer:   four(w.FrozenConductivity - w.ThawedConductivity),
		icePerJM3: four(-1 / span), allFrozen: four(-span), one: four(1), minusOne: four(-1),
		edge: four(g.edgeM[0]), barkResistance: four(w.BarkM / w.BarkConductivity), firstHalf: four(g.edgeM[0] - g.midM[0]),
		nought: four(0),
	}
	for p := range slopes {
		a.common.slopes[p], a.common.bases[p] = four(slopes[p]), four(bases[p])
	}
	return a
}

func four(x float64) [4]float64 { return [4]float64{x, x, x, x} }

func (a *abreast) load(lane int, s Stem) {
	for i, h := range s {
		a.rings[i].h[lane] = h
	}
}

// readLanes is readAbreast in plain Go.
func readLanes(a *abreast, tapped int, ice *[lanes]float64) {
	*ice = [lanes]float64{}
	perJM3 := a.common.icePerJM3[0]
	for i := range tapped {
		r := &a.rings[i]
		for l := range ice {
			ice[l] += float64(min(max(float64(r.h[l]*perJM3), 0), 1) * r.weight[0])
		}
	}
}

// blockHours are followed at a time, so that what drives the stems stays near the
// processor.
const blockHours = 48

// deck is working space to run members on.
type deck struct {
	sides          [2]*abreast
	stem, branches [2 * lanes][blockHours]Bark
}

// RunMembers moves a state for each of several weathers on one axis through it, as
// Run does one, and writes the hours of each to out. The figures are the
// same to the last bit, on however many processors.
func (t *Tree) RunMembers(states []State, members []weather.Series, suns []weather.Sun, out [][]Hour) {
	beams := t.exposure.beams(suns)
	const each = 2 * lanes
	runs := (len(members) + each - 1) / each
	for len(t.decks) < parallel.Workers(runs) {
		t.decks = append(t.decks, &deck{sides: [2]*abreast{t.grid.newAbreast(), t.grid.newAbreast()}})
	}
	parallel.Each(runs, func(worker, run int) {
		first, end := run*each, min((run+1)*each, len(members))
		t.runAbreast(t.decks[worker], states[first:end], members[first:end], beams, out[first:end])
	})
}

// runAbreast is RunMembers for as many as go abreast.
func (t *Tree) runAbreast(d *deck, states []State, members []weather.Series, beams []beam, out [][]Hour) {
	sides := d.sides[:(len(members)+lanes-1)/lanes]
	for l := range lanes * len(sides) { // lanes that are left follow the first
		from := 0
		if l < len(members) {
			from = l
		}
		sides[l/lanes].load(l%lanes, states[from].stem)
	}
	hours := members[0].Hours()
	var b [2]barks
	for from := 0; from < hours; from += blockHours {
		to := min(from+blockHours, hours)
		for l := range members {
			Barks(d.stem[l][:to-from], d.branches[l][:to-from], t.exposure, &members[l], from, beams, t.stemTable, t.branchTable)
		}
		for i := range to - from {
			for l := range lanes * len(sides) {
				of := &d.stem[0][i]
				if l < len(members) {
					of = &d.stem[l][i]
				}
				b[l/lanes].transfer[l%lanes], b[l/lanes].solAir[l%lanes] = of.TransferWM2K, of.SolAirC
			}
			t.grid.hourAbreast(sides, &b)
			t.read(sides, from+i, out)
		}
		for l := range members {
			t.branchHours(&states[l].branch, d.branches[l][:to-from], out[l][from:to])
		}
	}
	for l := range members {
		for i := range states[l].stem {
			states[l].stem[i] = sides[l/lanes].rings[i].h[l%lanes]
		}
	}
}

// read writes what an hour has of all stems, but for their branches.
func (t *Tree) read(sides []*abreast, hour int, out [][]Hour) {
	var ice [lanes]float64
	for k, a := range sides {
		readAbreast(a, t.grid.tapped, &ice)
		half := &a.rings[t.grid.half].h
		for l := range out[k*lanes : min((k+1)*lanes, len(out))] {
			h := &out[k*lanes+l][hour]
			h.StemIce, h.WoodC = ice[l], t.grid.wood.temperature(half[l])
		}
	}
}

// branchHours moves a branch through hours, and writes its ice.
func (t *Tree) branchHours(b *Branch, barks []Bark, out []Hour) {
	w := &t.grid.wood
	for i := range barks {
		w.HourOfBranch(b, barks[i])
		out[i].BranchIce = w.BranchIceFraction(b)
	}
}

// hourAbreast moves stems by one hour, as Hour does one.
func (g *Grid) hourAbreast(sides []*abreast, b *[2]barks) {
	for range g.steps {
		stepAbreast(sides, b)
	}
}

// stepPlain is stepAbreast in plain Go.
func stepPlain(sides []*abreast, b *[2]barks) {
	for k, a := range sides {
		stepLanes(a, &b[k], 0)
		stepLanes(a, &b[k], 4)
	}
}

// stepLanes is stepAbreast for four of the lanes, in plain Go: an iteration that
// one stem does not need any more leaves it as it is.
func stepLanes(a *abreast, b *barks, from int) {
	c := &a.common
	n := len(a.rings) - 1
	rings := a.rings[:n+1]
	allFrozen, seconds := c.allFrozen[0], c.seconds[0]
	var before [4]float64
	for i := range n {
		r := &rings[i]
		h, conduct, phase := lanesOf(&r.h, from), lanesOf(&r.conduct, from), lanesOf(&r.phase, from)
		slope, base := lanesOf(&r.slope, from), lanesOf(&r.base, from)
		for l := range 4 {
			ice := min(max(float64(h[l]*c.icePerJM3[0]), 0), 1)
			k := float64(ice*c.stiffer[0]) + c.thawed[0]
			p := phaseOf(h[l], allFrozen)
			phase[l], slope[l], base[l] = float64(p), c.slopes[p][0], c.bases[p][0]
			if i == 0 {
				conduct[l] = c.edge[0] / (1/b.transfer[from+l] + c.barkResistance[0] + c.firstHalf[0]/k)
			} else {
				conduct[l] = float64(float64(r.reach[0]*before[l])*k) / (before[l] + k)
			}
			before[l] = k
		}
	}
	for range maxIterations {
		var up, t, in [4]float64
		for l := range 4 {
			t[l], in[l] = b.solAir[from+l], float64(rings[0].conduct[from+l]*seconds)
		}
		for i := range n {
			r := &rings[i]
			v, next := r.volume[0], lanesOf(&rings[i+1].conduct, from)
			h, slope, base := lanesOf(&r.h, from), lanesOf(&r.slope, from), lanesOf(&r.base, from)
			for l := range 4 {
				out := float64(next[l] * seconds)
				inv := 1 / (float64(v*slope[l]) + in[l] + out - float64(up[l]*in[l]))
				t[l] = (float64((h[l]-base[l])*v) + float64(t[l]*in[l])) * inv
				up[l], in[l] = out*inv, out
			}
			*lanesOf(&r.upper, from), *lanesOf(&r.t, from) = up, t
		}
		var below [4]float64
		changed := false
		for i := n - 1; i >= 0; i-- {
			r := &rings[i]
			t, upper, slope, base, phase := lanesOf(&r.t, from), lanesOf(&r.upper, from), lanesOf(&r.slope, from),
				lanesOf(&r.base, from), lanesOf(&r.phase, from)
			for l := range 4 {
				below[l] = t[l] + float64(upper[l]*below[l])
				t[l] = below[l]
				if now, was := phaseOf(float64(slope[l]*below[l])+base[l], allFrozen), int8(phase[l]); now != was {
					p := nextPhase(was, now)
					phase[l], slope[l], base[l], changed = float64(p), c.slopes[p][0], c.bases[p][0], true
				}
			}
		}
		if !changed {
			break
		}
	}
	var in [4]float64
	for l := range 4 {
		in[l] = float64(float64(rings[0].conduct[from+l]*(b.solAir[from+l]-rings[0].t[from+l])) * seconds)
	}
	for i := range n {
		r, next := &rings[i], &rings[i+1]
		h := lanesOf(&r.h, from)
		for l := range 4 {
			out := float64(float64(next.conduct[from+l]*(r.t[from+l]-next.t[from+l])) * seconds)
			h[l] += float64((in[l] - out) * r.perVolume[0])
			in[l] = out
		}
	}
}

func lanesOf(of *[lanes]float64, from int) *[4]float64 { return (*[4]float64)(of[from : from+4]) }
