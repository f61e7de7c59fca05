package trunk

import "thawline/forecast/weather"

// lanes is how many stems are followed abreast. The solution for one stem is a
// chain of operations each of which waits for the one before; several chains side
// by side keep the processor busy. Each stem's figures are the same to the last
// bit as if it were alone.
const lanes = 4

// abreast is the space to follow several stems on: by ring, then by stem.
type abreast struct {
	h, conduct, k, t, upper, slope, base [][lanes]float64
	phase                                [][lanes]int8
}

func newAbreast(n int) *abreast {
	return &abreast{
		h: make([][lanes]float64, n), conduct: make([][lanes]float64, n+1), k: make([][lanes]float64, n), t: make([][lanes]float64, n),
		upper: make([][lanes]float64, n), slope: make([][lanes]float64, n), base: make([][lanes]float64, n), phase: make([][lanes]int8, n),
	}
}

func (a *abreast) load(lane int, s Stem) {
	for i, h := range s {
		a.h[i][lane] = h
	}
}

// hourOf is what Hour tells of a stem in its lane, but for the branches.
func (g *Grid) hourOf(a *abreast, lane int) Hour {
	ice := 0.0
	for i, weight := range g.weight {
		if weight == 0 {
			break
		}
		ice += weight * g.wood.iceFraction(a.h[i][lane])
	}
	return Hour{StemIce: ice, WoodC: g.wood.temperature(a.h[g.ringAt(tapDepthM/2)][lane])}
}

// RunMembers runs a tree from one state through several weathers on one axis, as
// Run does through one, and writes the hours of each to out. The figures are the
// same to the last bit.
func (t *Tree) RunMembers(from *State, members []weather.Series, suns []weather.Sun, out [][]Hour) {
	if t.abreast == nil {
		t.abreast = newAbreast(len(t.grid.volume))
	}
	hours := members[0].Hours()
	for first := 0; first < len(members); first += lanes {
		var branches [lanes]Branch
		for l := range lanes {
			if cap(t.stems[l]) < hours {
				t.stems[l], t.branches[l] = make([]Bark, hours), make([]Bark, hours)
			}
			m := min(first+l, len(members)-1) // the last one fills lanes that are left
			Barks(t.stems[l][:hours], t.branches[l][:hours], t.exposure, &members[m], suns, t.stemTable, t.branchTable)
			t.abreast.load(l, from.stem)
			branches[l] = from.branch
		}
		for i := range hours {
			t.grid.hourAbreast(t.abreast, &[lanes]Bark{t.stems[0][i], t.stems[1][i], t.stems[2][i], t.stems[3][i]})
			for l := range min(lanes, len(members)-first) {
				t.grid.wood.HourOfBranch(&branches[l], t.branches[l][i])
				h := t.grid.hourOf(t.abreast, l)
				h.BranchIce = t.grid.wood.BranchIceFraction(&branches[l])
				out[first+l][i] = h
			}
		}
	}
}

// hourAbreast moves stems by one hour, as Hour does one.
func (g *Grid) hourAbreast(a *abreast, b *[lanes]Bark) {
	for range g.steps {
		g.stepAbreast(a, b, 3600/float64(g.steps))
	}
}

// stepAbreast is step for several stems: an iteration that one does not need any
// more leaves it as it is.
func (g *Grid) stepAbreast(a *abreast, b *[lanes]Bark, seconds float64) {
	w := &g.wood
	span := w.latentSpan()
	slopes := [4]float64{w.FrozenJM3K, span / w.FreezingRangeK, w.ThawedJM3K}
	bases := [4]float64{
		-span - w.FrozenJM3K*(w.FreezingC-w.FreezingRangeK),
		-slopes[1] * w.FreezingC,
		-w.ThawedJM3K * w.FreezingC,
	}
	n := len(g.volume)
	h, conduct, k := a.h[:n], a.conduct[:n+1], a.k[:n]
	t, upper, slope, base, phase := a.t[:n], a.upper[:n], a.slope[:n], a.base[:n], a.phase[:n]
	volume, reach := g.volume[:n], g.reach[:n]
	thawed, stiffer := w.ThawedConductivity, w.FrozenConductivity-w.ThawedConductivity
	for i := range h {
		hi, ki, ph, sl, ba := &h[i], &k[i], &phase[i], &slope[i], &base[i]
		ki[0], ki[1] = thawed+min(max(-hi[0]/span, 0), 1)*stiffer, thawed+min(max(-hi[1]/span, 0), 1)*stiffer
		ki[2], ki[3] = thawed+min(max(-hi[2]/span, 0), 1)*stiffer, thawed+min(max(-hi[3]/span, 0), 1)*stiffer
		p0, p1, p2, p3 := phaseOf(hi[0], span), phaseOf(hi[1], span), phaseOf(hi[2], span), phaseOf(hi[3], span)
		ph[0], ph[1], ph[2], ph[3] = p0, p1, p2, p3
		sl[0], sl[1], sl[2], sl[3] = slopes[p0&3], slopes[p1&3], slopes[p2&3], slopes[p3&3]
		ba[0], ba[1], ba[2], ba[3] = bases[p0&3], bases[p1&3], bases[p2&3], bases[p3&3]
	}
	half := g.edgeM[0] - g.midM[0]
	for l := range lanes {
		conduct[0][l] = g.edgeM[0] / (1/b[l].TransferWM2K + w.BarkM/w.BarkConductivity + half/k[0][l])
	}
	for i := 1; i < n; i++ {
		c, a, b, r := &conduct[i], &k[i-1], &k[i], reach[i]*2
		c[0], c[1] = r*a[0]*b[0]/(a[0]+b[0]), r*a[1]*b[1]/(a[1]+b[1])
		c[2], c[3] = r*a[2]*b[2]/(a[2]+b[2]), r*a[3]*b[3]/(a[3]+b[3])
	}

	for range maxIterations {
		for l := range lanes {
			in, out := conduct[0][l]*seconds, conduct[1][l]*seconds
			diag := slope[0][l]*volume[0] + in + out
			rhs := (h[0][l] - base[0][l]) * volume[0]
			rhs += in * b[l].SolAirC
			inv := 1 / diag
			upper[0][l], t[0][l] = out*inv, rhs*inv
		}
		for i := 1; i < n; i++ {
			ci, co, sl, ba, hi, up, ti, v := &conduct[i], &conduct[i+1], &slope[i], &base[i], &h[i], &upper[i-1], &t[i-1], volume[i]
			uo, to := &upper[i], &t[i]
			in0, out0 := ci[0]*seconds, co[0]*seconds
			in1, out1 := ci[1]*seconds, co[1]*seconds
			in2, out2 := ci[2]*seconds, co[2]*seconds
			in3, out3 := ci[3]*seconds, co[3]*seconds
			inv0 := 1 / (sl[0]*v + in0 + out0 - in0*up[0])
			inv1 := 1 / (sl[1]*v + in1 + out1 - in1*up[1])
			inv2 := 1 / (sl[2]*v + in2 + out2 - in2*up[2])
			inv3 := 1 / (sl[3]*v + in3 + out3 - in3*up[3])
			uo[0], to[0] = out0*inv0, ((hi[0]-ba[0])*v+in0*ti[0])*inv0
			uo[1], to[1] = out1*inv1, ((hi[1]-ba[1])*v+in1*ti[1])*inv1
			uo[2], to[2] = out2*inv2, ((hi[2]-ba[2])*v+in2*ti[2])*inv2
			uo[3], to[3] = out3*inv3, ((hi[3]-ba[3])*v+in3*ti[3])*inv3
		}
		changed := false
		for i := n - 1; i >= 0; i-- {
			ti, sl, ba, ph := &t[i], &slope[i], &base[i], &phase[i]
			if i < n-1 {
				up, below := &upper[i], &t[i+1]
				ti[0], ti[1], ti[2], ti[3] = ti[0]+up[0]*below[0], ti[1]+up[1]*below[1], ti[2]+up[2]*below[2], ti[3]+up[3]*below[3]
			}
			now := [lanes]int8{phaseOf(sl[0]*ti[0]+ba[0], span), phaseOf(sl[1]*ti[1]+ba[1], span), phaseOf(sl[2]*ti[2]+ba[2], span), phaseOf(sl[3]*ti[3]+ba[3], span)}
			if now == *ph {
				continue
			}
			changed = true
			for l := range lanes {
				p := nextPhase(ph[l], now[l])
				ph[l], sl[l], ba[l] = p, slopes[p&3], bases[p&3]
			}
		}
		if !changed {
			break
		}
	}

	var in [lanes]float64
	for l := range lanes {
		in[l] = conduct[0][l] * (b[l].SolAirC - t[0][l]) * seconds
	}
	last := n - 1
	for i := range last {
		c, ti, below, hi, v := &conduct[i+1], &t[i], &t[i+1], &h[i], volume[i]
		out := [lanes]float64{c[0] * (ti[0] - below[0]) * seconds, c[1] * (ti[1] - below[1]) * seconds, c[2] * (ti[2] - below[2]) * seconds, c[3] * (ti[3] - below[3]) * seconds}
		hi[0], hi[1], hi[2], hi[3] = hi[0]+(in[0]-out[0])/v, hi[1]+(in[1]-out[1])/v, hi[2]+(in[2]-out[2])/v, hi[3]+(in[3]-out[3])/v
		in = out
	}
	for l := range lanes {
		h[last][l] += in[l] / volume[last]
	}
}
