// Command kernel writes the vector form of a step of eight stems:
// step_amd64.s and step_amd64.go of package trunk. Run it by
// go generate ./forecast/trunk.
//
// What it writes does the operations of Grid.step in the same order, without
// fused ones, so that its figures are the same to the last bit.
package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	. "github.com/mmcloughlin/avo/reg"
)

// Offsets into trunk.ring, each of the first seven eight lanes wide, the others
// four.
const (
	enthalpy = 64 * iota
	conduct
	temperature
	upper
	slope
	base
	phase
	volume

	perVolume = volume + 32
	reach     = perVolume + 32
	ringBytes = reach + 32
)

// Offsets into trunk.stepping, each four lanes wide.
const (
	seconds = 32 * iota
	thawed
	stiffer
	icePerJM3
	allFrozen
	one
	minusOne
	edge
	barkResistance
	firstHalf
	slopes
	bases = slopes + 3*32

	maxIterations = 12
)

// Vector comparisons: ordered, quiet.
const (
	atLeast = 0x1d
	above   = 0x1e
)

func main() {
	TEXT("stepEight", NOSPLIT, "func(rings, s, b *float64, n int)")
	Doc("stepEight moves eight stems by one step: the first number of n rings and one", "more without conductance, of what they have in common, and of what drives them.")
	rings := Load(Param("rings"), GP64())
	n := Load(Param("n"), GP64())
	s := Mem{Base: Load(Param("s"), GP64())}
	b := Mem{Base: Load(Param("b"), GP64())}
	transfer, solAir := b, b.Offset(64)

	end := GP64() // past the last ring
	MOVQ(n, end)
	IMUL3Q(U32(ringBytes), end, end)
	ADDQ(rings, end)
	zero := YMM()
	VXORPD(zero, zero, zero)

	prepare(rings, end, s, transfer, zero)
	iterations := GP64()
	MOVQ(U64(maxIterations), iterations)
	Label("iterate")
	eliminate(rings, end, s, solAir, zero)
	changed := substitute(rings, end, s, zero)
	VPTEST(changed, changed)
	JZ(LabelRef("settled"))
	DECQ(iterations)
	JNZ(LabelRef("iterate"))
	Label("settled")
	exchange(rings, end, s, solAir)
	VZEROUPPER()
	RET()
	Generate()
}

// halves calls f for the lanes 0 to 3 and 4 to 7: two chains of operations, each
// of which would leave the processor waiting.
func halves(f func(h, at int)) { f(0, 0); f(1, 32) }

func pointer(from Register) Register {
	p := GP64()
	MOVQ(from, p)
	return p
}

// prepare finds the conductances of all edges and the phases of all rings.
func prepare(rings, end Register, s Mem, transfer Mem, zero VecVirtual) {
	p := pointer(rings)
	var kBefore [2]VecVirtual
	ring := func(first bool) {
		m := Mem{Base: p}
		halves(func(h, at int) {
			e, k, thawing, warm := YMM(), YMM(), YMM(), YMM()
			VMOVUPD(m.Offset(enthalpy+at), e)
			VMULPD(s.Offset(icePerJM3), e, k)
			VMAXPD(zero, k, k)
			VMINPD(s.Offset(one), k, k)
			VMULPD(s.Offset(stiffer), k, k)
			VADDPD(s.Offset(thawed), k, k)

			VCMPPD(U8(above), s.Offset(allFrozen), e, thawing)
			VCMPPD(U8(atLeast), zero, e, warm)
			linear(m, s, at, thawing, warm)
			VANDPD(s.Offset(one), thawing, thawing)
			VANDPD(s.Offset(one), warm, warm)
			VADDPD(thawing, warm, warm)
			VMOVUPD(warm, m.Offset(phase+at))

			c := YMM()
			if first {
				VMOVUPD(s.Offset(one), c)
				VDIVPD(transfer.Offset(at), c, c)
				VADDPD(s.Offset(barkResistance), c, c)
				half := YMM()
				VMOVUPD(s.Offset(firstHalf), half)
				VDIVPD(k, half, half)
				VADDPD(half, c, c)
				whole := YMM()
				VMOVUPD(s.Offset(edge), whole)
				VDIVPD(c, whole, c)
				kBefore[h] = k
			} else {
				sum := YMM()
				VMULPD(m.Offset(reach), kBefore[h], c)
				VMULPD(k, c, c)
				VADDPD(k, kBefore[h], sum)
				VDIVPD(sum, c, c)
				VMOVAPD(k, kBefore[h])
			}
			VMOVUPD(c, m.Offset(conduct+at))
		})
		ADDQ(U32(ringBytes), p)
	}
	ring(true)
	Label("prepare")
	ring(false)
	CMPQ(p, end)
	JB(LabelRef("prepare"))
}

// linear stores the straight line, enthalpy over temperature, of the phase that
// two masks tell.
func linear(m, s Mem, at int, thawing, warm VecVirtual) {
	for _, of := range []struct{ from, to int }{{slopes, slope}, {bases, base}} {
		v := YMM()
		VMOVUPD(s.Offset(of.from), v)
		VBLENDVPD(thawing, s.Offset(of.from+32), v, v)
		VBLENDVPD(warm, s.Offset(of.from+64), v, v)
		VMOVUPD(v, m.Offset(of.to+at))
	}
}

// eliminate goes inward: (slope V + G dt) T - G dt T of neighbours = V (H - base).
func eliminate(rings, end Register, s Mem, solAir Mem, zero VecVirtual) {
	p := pointer(rings)
	m := Mem{Base: p}
	var up, t, in [2]VecVirtual
	halves(func(h, at int) {
		up[h], t[h], in[h] = YMM(), YMM(), YMM()
		VMOVAPD(zero, up[h])
		VMOVUPD(solAir.Offset(at), t[h])
		VMOVUPD(m.Offset(conduct+at), in[h])
		VMULPD(s.Offset(seconds), in[h], in[h])
	})
	Label("eliminate")
	halves(func(h, at int) {
		out, diag, rhs, x := YMM(), YMM(), YMM(), YMM()
		VMOVUPD(m.Offset(ringBytes+conduct+at), out)
		VMULPD(s.Offset(seconds), out, out)
		v := YMM()
		VMOVUPD(m.Offset(volume), v)
		VMULPD(m.Offset(slope+at), v, diag)
		VADDPD(in[h], diag, diag)
		VADDPD(out, diag, diag)
		VMULPD(in[h], up[h], x)
		VSUBPD(x, diag, diag)
		inv := YMM()
		VMOVUPD(s.Offset(one), inv)
		VDIVPD(diag, inv, inv)

		VMOVUPD(m.Offset(enthalpy+at), rhs)
		VSUBPD(m.Offset(base+at), rhs, rhs)
		VMULPD(v, rhs, rhs)
		VMULPD(in[h], t[h], x)
		VADDPD(x, rhs, rhs)

		VMULPD(inv, out, up[h])
		VMULPD(inv, rhs, t[h])
		VMOVUPD(up[h], m.Offset(upper+at))
		VMOVUPD(t[h], m.Offset(temperature+at))
		VMOVAPD(out, in[h])
	})
	ADDQ(U32(ringBytes), p)
	CMPQ(p, end)
	JB(LabelRef("eliminate"))
}

// substitute goes outward again, and moves a ring whose temperature lies in
// another phase by one phase; it tells whether any moved.
func substitute(rings, end Register, s Mem, zero VecVirtual) VecVirtual {
	p := pointer(end)
	m := Mem{Base: p}
	changed := YMM()
	VMOVAPD(zero, changed)
	var below [2]VecVirtual
	halves(func(h, _ int) {
		below[h] = YMM()
		VMOVAPD(zero, below[h])
	})
	Label("substitute")
	SUBQ(U32(ringBytes), p)
	halves(func(h, at int) {
		VMULPD(m.Offset(upper+at), below[h], below[h])
		VADDPD(m.Offset(temperature+at), below[h], below[h])
		VMOVUPD(below[h], m.Offset(temperature+at))

		e, thawing, warm, old := YMM(), YMM(), YMM(), YMM()
		VMULPD(m.Offset(slope+at), below[h], e)
		VADDPD(m.Offset(base+at), e, e)
		VCMPPD(U8(above), s.Offset(allFrozen), e, thawing)
		VCMPPD(U8(atLeast), zero, e, warm)
		VANDPD(s.Offset(one), thawing, thawing)
		VANDPD(s.Offset(one), warm, warm)
		VADDPD(thawing, warm, warm) // the phase it is in now
		VMOVUPD(m.Offset(phase+at), old)
		VSUBPD(old, warm, warm)
		VMAXPD(s.Offset(minusOne), warm, warm)
		VMINPD(s.Offset(one), warm, warm)
		VORPD(warm, changed, changed)
		VADDPD(warm, old, old)
		VMOVUPD(old, m.Offset(phase+at))
		VCMPPD(U8(atLeast), s.Offset(one), old, thawing)
		VCMPPD(U8(above), s.Offset(one), old, warm)
		linear(m, s, at, thawing, warm)
	})
	CMPQ(p, rings)
	JA(LabelRef("substitute"))
	return changed
}

// exchange moves heat between neighbours: what one loses the other gains.
func exchange(rings, end Register, s Mem, solAir Mem) {
	p := pointer(rings)
	m := Mem{Base: p}
	var in [2]VecVirtual
	halves(func(h, at int) {
		in[h] = YMM()
		VMOVUPD(solAir.Offset(at), in[h])
		VSUBPD(m.Offset(temperature+at), in[h], in[h])
		VMULPD(m.Offset(conduct+at), in[h], in[h])
		VMULPD(s.Offset(seconds), in[h], in[h])
	})
	Label("exchange")
	halves(func(h, at int) {
		out := YMM()
		VMOVUPD(m.Offset(temperature+at), out)
		VSUBPD(m.Offset(ringBytes+temperature+at), out, out)
		VMULPD(m.Offset(ringBytes+conduct+at), out, out)
		VMULPD(s.Offset(seconds), out, out)
		VSUBPD(out, in[h], in[h])
		VMULPD(m.Offset(perVolume), in[h], in[h])
		VADDPD(m.Offset(enthalpy+at), in[h], in[h])
		VMOVUPD(in[h], m.Offset(enthalpy+at))
		VMOVAPD(out, in[h])
	})
	ADDQ(U32(ringBytes), p)
	CMPQ(p, end)
	JB(LabelRef("exchange"))
}
