package chart

import (
	"fmt"
	"math"
	"unicode/utf8"
)

// rain draws rain solid and snow dotted, each fall with its amount.
func (c *course) rain(to surface, r hourRows) {
	if r.rainFoot == r.rainTop {
		return
	}
	to.line("grid", c.left, r.rainFoot, c.right(), r.rainFoot)
	last := math.Inf(-1)
	for from := 0; from < c.n; {
		if !(c.h.PrecipitationMM[from] >= leastFall) {
			from++
			continue
		}
		end, sum, warm := from, 0.0, 0.0
		for end < c.n && c.h.PrecipitationMM[end] >= leastFall {
			sum += c.h.PrecipitationMM[end]
			warm += c.h.TemperatureC.P50[end]
			end++
		}
		snow := warm/float64(end-from) < 1 // as usual at the ground, °C (common practice)
		height := min(6+4*sum/2.5, r.rainFoot-r.rainTop)
		left, width := c.hour(from), max(c.hour(end)-c.hour(from), 2)
		class := "rain"
		if snow {
			class = "snow"
		}
		to.rect(class, left, r.rainFoot-height, width, height)
		if x := left + width + 3; x > last+4 && x < c.right()-60 {
			words := c.l.Fall(sum, snow)
			to.text("", x, r.rainFoot-4, words)
			last = x + 7.5*float64(len(words))
		}
		from = end
	}
}

// wood is a thin band: the more of the wood is ice, the fuller.
func (c *course) wood(to surface, r hourRows) {
	if r.woodFoot == r.woodTop {
		return
	}
	y := scale{0, 1, r.woodFoot, r.woodTop}
	for _, p := range unbroken(c.h.WoodIce) {
		top := line(c.x, y, c.h.WoodIce, p, func(share float64) float64 { return share })
		shape := append([]point{{top[0].x, r.woodFoot}}, top...)
		to.shape("frost", append(shape, point{top[len(top)-1].x, r.woodFoot}), true)
		every := max(int(math.Ceil(4/(c.hour(1)-c.hour(0)))), 1)
		for i := 0; i < len(top); i += every {
			if c.h.WoodIce[p.from+i] > 0.02 {
				to.line("hatch", top[i].x, r.woodFoot, top[i].x, top[i].y)
			}
		}
	}
	to.shape("edge", []point{{c.left, r.woodTop}, {c.right(), r.woodTop}, {c.right(), r.woodFoot}, {c.left, r.woodFoot},
		{c.left, r.woodTop}}, false)
}

// otherYear is the sap of the same days of another year, with ticks of its own.
func (c *course) otherYear(to surface, r hourRows) {
	if r.otherFoot == r.otherTop {
		return
	}
	values := c.beside.OtherLH[:min(len(c.beside.OtherLH), c.n)]
	most := 0.5
	for _, v := range values {
		if !math.IsNaN(v) {
			most = max(most, c.l.volume(v))
		}
	}
	y := scale{0, most, r.otherFoot, r.otherTop}
	for _, p := range unbroken(values) {
		points := line(c.x, y, values, p, c.l.volume)
		foot := append([]point{{points[0].x, r.otherFoot}}, points...)
		to.shape("otherfill", append(foot, point{points[len(points)-1].x, r.otherFoot}), true)
		to.shape("other", points, false)
	}
	for _, v := range y.ticks(2) {
		to.text("end", c.left-6, y.at(v)+5, c.l.number(fmt.Sprintf("%g", v)))
	}
	to.line("axis", c.left, r.otherFoot, c.right(), r.otherFoot)
}

// nowLine names now in a tag after it, where no mark of a visit lies.
func (c *course) nowLine(to surface, r hourRows) {
	if c.n == 0 || c.now <= 0 || c.now >= c.n {
		return
	}
	x := c.hour(c.now)
	to.line("now", x, r.warmTop, x, r.flowFoot)
	half := 10 + 4*float64(utf8.RuneCountInString(c.l.Now))
	middle := min(x+half, c.right()-half)
	to.rect("tag", middle-half, r.visits-14, 2*half, 20)
	to.text("ontag mid", middle, r.visits+1, c.l.Now)
}

// visitMarks are what was gathered, in a row above the sap: a figure is left out where it
// would lie on another.
func (c *course) visitMarks(to surface, r hourRows) {
	last := math.Inf(-1)
	for _, m := range c.marks {
		x := c.x.at(m.At.Sub(c.start).Hours())
		if x < c.left || x > c.right() {
			continue
		}
		to.line("visit", x, r.visits, x, r.flowFoot)
		to.diamond("measured", x, r.visits-4, 6, m.Words)
		if math.IsNaN(m.VolumeL) {
			continue
		}
		words := c.l.said(m.VolumeL)
		half := 4.2 * float64(utf8.RuneCountInString(words))
		middle := min(max(x, c.left+half), c.right()-half)
		if middle-half < last+6 {
			continue
		}
		to.text("strong mid", middle, r.visits-16, words)
		last = middle + half
	}
}
