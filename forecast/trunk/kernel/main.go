// Command kernel writes the vector form of a step of eight stems and of sixteen, and of
// reading their ice: step_amd64.s and step_amd64.go of package trunk. Run it by
// go generate ./forecast/trunk.
//
// What it writes does the operations of Grid.step in the same order, without
// fused ones, so that its figures are the same to the last bit.
package main

import (
	"strings"

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
	weight    = reach + 32
	ringBytes = weight + 32
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
	nought
	slopes
	bases = slopes + 3*32

	maxIterations = 12
)

// solAir is the offset of the eight sol-air temperatures behind the eight coefficients of
// transfer that drive eight stems.
const solAir = 64

// Vector comparisons: ordered, quiet.
const (
	atLeast = 0x1d
	above   = 0x1e
)

func main() {
	step("stepEight", "stepEight moves eight stems by one step: the first number of n rings and one more without conductance, of what they have in common, and of what drives them.", "rings")
	step("stepSixteen", "stepSixteen moves twice eight stems by one step, the more chains side by side: as stepEight, but what drives the second eight follows what drives the first.", "rings", "others")
	read()
	Generate()
}

// step writes a step of eight stems for each name of their rings.
func step(name, doc string, sides ...string) {
	signature := "func("
	for _, of := range sides {
		signature += of + ", "
	}
	TEXT(name, NOSPLIT, signature+"s, b *float64, n int)")
	Doc(doc)
	Pragma("noescape")
	var rings []Register
	for _, of := range sides {
		rings = append(rings, Load(Param(of), GP64()))
	}
	n := Load(Param("n"), GP64())
	s := Mem{Base: Load(Param("s"), GP64())}
	b := Mem{Base: Load(Param("b"), GP64())}
	IMUL3Q(U32(ringBytes), n, n)
	end := GP64() // past the last of the first rings
	MOVQ(n, end)
	ADDQ(rings[0], end)
	w := &stems{name: name, s: s, b: b, rings: rings, end: end, bytes: n}

	w.prepare()
	iterations := GP64()
	MOVQ(U64(maxIterations), iterations)
	w.label("iterate")
	w.eliminate()
	changed := w.substitute()
	VPTEST(changed, changed)
	JZ(LabelRef(name + "Settled"))
	DECQ(iterations)
	JNZ(LabelRef(name + "Iterate"))
	w.label("settled")
	w.exchange()
	VZEROUPPER()
	RET()
}

// read writes the reading of the ice in the tapped wood of eight stems.
func read() {
	TEXT("readEight", NOSPLIT, "func(rings, s, ice *float64, n int)")
	Doc("readEight reads the ice in the tapped wood of eight stems: from the first of n rings that it is in.")
	Pragma("noescape")
	p, n := Load(Param("rings"), GP64()), Load(Param("n"), GP64())
	s, ice := Mem{Base: Load(Param("s"), GP64())}, Mem{Base: Load(Param("ice"), GP64())}
	var sum [2]VecVirtual
	for h := range sum {
		sum[h] = YMM()
		VXORPD(sum[h], sum[h], sum[h])
	}
	Label("read")
	for h := range sum {
		x := YMM()
		VMOVUPD(Mem{Base: p}.Offset(enthalpy+32*h), x)
		VMULPD(s.Offset(icePerJM3), x, x)
		VMAXPD(s.Offset(nought), x, x)
		VMINPD(s.Offset(one), x, x)
		VMULPD(Mem{Base: p}.Offset(weight), x, x)
		VADDPD(x, sum[h], sum[h])
	}
	ADDQ(U32(ringBytes), p)
	DECQ(n)
	JNZ(LabelRef("read"))
	for h := range sum {
		VMOVUPD(sum[h], ice.Offset(32*h))
	}
	VZEROUPPER()
	RET()
}

// stems are what a step works on: rings of each eight, with what they have in common.
type stems struct {
	name       string
	s, b       Mem
	rings      []Register
	end, bytes Register // past the last of the first rings, and how many bytes they are
}

func (w *stems) label(of string) { Label(w.name + strings.ToUpper(of[:1]) + of[1:]) }

// four are the lanes of one chain of operations; alone it would leave the processor
// waiting.
type four struct {
	m    Mem // its rings
	at   int // of its lanes in a ring
	from int // of what drives it
}

// fours are all chains, from pointers to the rings that they work on.
func (w *stems) fours(p []Register) (out []four) {
	for k := range p {
		for h := range 2 {
			out = append(out, four{Mem{Base: p[k]}, 32 * h, 128*k + 32*h})
		}
	}
	return out
}

// start are pointers to the first rings, or behind the last.
func (w *stems) start(behind bool) []Register {
	var out []Register
	for _, r := range w.rings {
		p := pointer(r)
		if behind {
			ADDQ(w.bytes, p)
		}
		out = append(out, p)
	}
	return out
}

// next moves pointers on by a ring, and goes on while there is one.
func (w *stems) next(p []Register, label string) {
	for _, r := range p {
		ADDQ(U32(ringBytes), r)
	}
	CMPQ(p[0], w.end)
	JB(LabelRef(w.name + label))
}

func pointer(from Register) Register {
	p := GP64()
	MOVQ(from, p)
	return p
}

// prepare finds the conductances of all edges and the phases of all rings.
func (w *stems) prepare() {
	s := w.s
	p := w.start(false)
	fours := w.fours(p)
	before := make([]VecVirtual, len(fours))
	ring := func(first bool) {
		for i, f := range fours {
			m := f.m
			e, k, thawing, warm := YMM(), YMM(), YMM(), YMM()
			VMOVUPD(m.Offset(enthalpy+f.at), e)
			VMULPD(s.Offset(icePerJM3), e, k)
			VMAXPD(s.Offset(nought), k, k)
			VMINPD(s.Offset(one), k, k)
			VMULPD(s.Offset(stiffer), k, k)
			VADDPD(s.Offset(thawed), k, k)

			VCMPPD(U8(above), s.Offset(allFrozen), e, thawing)
			VCMPPD(U8(atLeast), s.Offset(nought), e, warm)
			linear(m, s, f.at, thawing, warm)
			VANDPD(s.Offset(one), thawing, thawing)
			VANDPD(s.Offset(one), warm, warm)
			VADDPD(thawing, warm, warm)
			VMOVUPD(warm, m.Offset(phase+f.at))

			c := YMM()
			if first {
				VMOVUPD(s.Offset(one), c)
				VDIVPD(w.b.Offset(f.from), c, c)
				VADDPD(s.Offset(barkResistance), c, c)
				half := YMM()
				VMOVUPD(s.Offset(firstHalf), half)
				VDIVPD(k, half, half)
				VADDPD(half, c, c)
				whole := YMM()
				VMOVUPD(s.Offset(edge), whole)
				VDIVPD(c, whole, c)
				before[i] = k
			} else {
				sum := YMM()
				VMULPD(m.Offset(reach), before[i], c)
				VMULPD(k, c, c)
				VADDPD(k, before[i], sum)
				VDIVPD(sum, c, c)
				VMOVAPD(k, before[i])
			}
			VMOVUPD(c, m.Offset(conduct+f.at))
		}
	}
	ring(true)
	for _, r := range p {
		ADDQ(U32(ringBytes), r)
	}
	w.label("prepare")
	ring(false)
	w.next(p, "Prepare")
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
func (w *stems) eliminate() {
	s := w.s
	p := w.start(false)
	fours := w.fours(p)
	up, t, in := make([]VecVirtual, len(fours)), make([]VecVirtual, len(fours)), make([]VecVirtual, len(fours))
	for i, f := range fours {
		up[i], t[i], in[i] = YMM(), YMM(), YMM()
		VXORPD(up[i], up[i], up[i])
		VMOVUPD(w.b.Offset(solAir+f.from), t[i])
		VMOVUPD(f.m.Offset(conduct+f.at), in[i])
		VMULPD(s.Offset(seconds), in[i], in[i])
	}
	w.label("eliminate")
	for i, f := range fours {
		out, diag, inv := YMM(), YMM(), YMM()
		VMOVUPD(f.m.Offset(ringBytes+conduct+f.at), out)
		VMULPD(s.Offset(seconds), out, out)
		VMOVUPD(f.m.Offset(volume), diag)
		VMULPD(f.m.Offset(slope+f.at), diag, diag)
		VADDPD(in[i], diag, diag)
		VADDPD(out, diag, diag)
		VMULPD(in[i], up[i], up[i])
		VSUBPD(up[i], diag, diag)
		VMOVUPD(s.Offset(one), inv)
		VDIVPD(diag, inv, inv)

		rhs := YMM()
		VMOVUPD(f.m.Offset(enthalpy+f.at), rhs)
		VSUBPD(f.m.Offset(base+f.at), rhs, rhs)
		VMULPD(f.m.Offset(volume), rhs, rhs)
		VMULPD(in[i], t[i], t[i])
		VADDPD(t[i], rhs, rhs)

		VMULPD(inv, out, up[i])
		VMULPD(inv, rhs, t[i])
		VMOVUPD(up[i], f.m.Offset(upper+f.at))
		VMOVUPD(t[i], f.m.Offset(temperature+f.at))
		VMOVAPD(out, in[i])
	}
	w.next(p, "Eliminate")
}

// substitute goes outward again, and moves a ring whose temperature lies in
// another phase by one phase; it tells whether any moved.
func (w *stems) substitute() VecVirtual {
	s := w.s
	p := w.start(true)
	fours := w.fours(p)
	changed := YMM()
	VXORPD(changed, changed, changed)
	below := make([]VecVirtual, len(fours))
	for i := range fours {
		below[i] = YMM()
		VXORPD(below[i], below[i], below[i])
	}
	w.label("substitute")
	for _, r := range p {
		SUBQ(U32(ringBytes), r)
	}
	for i, f := range fours {
		m := f.m
		VMULPD(m.Offset(upper+f.at), below[i], below[i])
		VADDPD(m.Offset(temperature+f.at), below[i], below[i])
		VMOVUPD(below[i], m.Offset(temperature+f.at))

		e, thawing, warm, old := YMM(), YMM(), YMM(), YMM()
		VMULPD(m.Offset(slope+f.at), below[i], e)
		VADDPD(m.Offset(base+f.at), e, e)
		VCMPPD(U8(above), s.Offset(allFrozen), e, thawing)
		VCMPPD(U8(atLeast), s.Offset(nought), e, warm)
		VANDPD(s.Offset(one), thawing, thawing)
		VANDPD(s.Offset(one), warm, warm)
		VADDPD(thawing, warm, warm) // the phase it is in now
		VMOVUPD(m.Offset(phase+f.at), old)
		VSUBPD(old, warm, warm)
		VMAXPD(s.Offset(minusOne), warm, warm)
		VMINPD(s.Offset(one), warm, warm)
		VORPD(warm, changed, changed)
		VADDPD(warm, old, old)
		VMOVUPD(old, m.Offset(phase+f.at))
		VCMPPD(U8(atLeast), s.Offset(one), old, thawing)
		VCMPPD(U8(above), s.Offset(one), old, warm)
		linear(m, s, f.at, thawing, warm)
	}
	CMPQ(p[0], w.rings[0])
	JA(LabelRef(w.name + "Substitute"))
	return changed
}

// exchange moves heat between neighbours: what one loses the other gains.
func (w *stems) exchange() {
	s := w.s
	p := w.start(false)
	fours := w.fours(p)
	in := make([]VecVirtual, len(fours))
	for i, f := range fours {
		in[i] = YMM()
		VMOVUPD(w.b.Offset(solAir+f.from), in[i])
		VSUBPD(f.m.Offset(temperature+f.at), in[i], in[i])
		VMULPD(f.m.Offset(conduct+f.at), in[i], in[i])
		VMULPD(s.Offset(seconds), in[i], in[i])
	}
	w.label("exchange")
	for i, f := range fours {
		out := YMM()
		VMOVUPD(f.m.Offset(temperature+f.at), out)
		VSUBPD(f.m.Offset(ringBytes+temperature+f.at), out, out)
		VMULPD(f.m.Offset(ringBytes+conduct+f.at), out, out)
		VMULPD(s.Offset(seconds), out, out)
		VSUBPD(out, in[i], in[i])
		VMULPD(f.m.Offset(perVolume), in[i], in[i])
		VADDPD(f.m.Offset(enthalpy+f.at), in[i], in[i])
		VMOVUPD(in[i], f.m.Offset(enthalpy+f.at))
		VMOVAPD(out, in[i])
	}
	w.next(p, "Exchange")
}
