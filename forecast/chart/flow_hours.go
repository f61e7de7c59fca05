package chart

import (
	"fmt"
	"math"
	"slices"
	"time"
	"unicode/utf8"

	"thawline/forecast/units"
)

// Beside is what a picture of hours shows beside air and sap, where it is known.
type Beside struct {
	Night     func(t time.Time) bool // whether it is dark at the bush
	OtherName string                 // of another year, "" without one
	OtherLH   []float64              // its sap on the same days, hour by hour, NaN where not known
}

// The rows of a picture of hours, from above, in pixels.
type hourRows struct {
	names               float64 // of the days
	warmTop, warmFoot   float64
	rainTop, rainFoot   float64 // equal without rain
	woodTop, woodFoot   float64 // equal without wood
	visits              float64
	flowTop, flowFoot   float64
	starts, clock       float64
	otherTop, otherFoot float64
	height              float64
}

// rowsFor lays the rows out; untitled pictures begin at the top.
func (c *course) rowsFor() hourRows {
	var r hourRows
	y := 0.0
	if !c.l.Untitled {
		y = 28
	}
	r.names = y + 18
	r.warmTop, r.warmFoot = y+52, y+172
	y = r.warmFoot
	r.rainTop, r.rainFoot, r.woodTop, r.woodFoot = y, y, y, y
	if c.falls() {
		r.rainTop, r.rainFoot = y+28, y+54
		y = r.rainFoot
	}
	if c.known(c.h.WoodIce) {
		r.woodTop, r.woodFoot = y+26, y+44
		y = r.woodFoot
	}
	r.visits = y + 62
	r.flowTop, r.flowFoot = y+76, y+216
	r.starts, r.clock = r.flowFoot+20, r.flowFoot+40
	y = r.clock + 4
	r.otherTop, r.otherFoot = y, y
	if c.beside.OtherName != "" {
		r.otherTop, r.otherFoot = y+28, y+76
		y = r.otherFoot
	}
	r.height = y + 12
	return r
}

// falls reports whether rain or snow is known to fall.
func (c *course) falls() bool {
	if len(c.h.PrecipitationMM) != len(c.h.FlowLH.P50) {
		return false
	}
	return slices.ContainsFunc(c.h.PrecipitationMM, func(mm float64) bool { return mm >= leastFall })
}

// leastFall is what counts as rain or snow in an hour, mm of water.
const leastFall = 0.2

// known reports whether a row has a value for each hour.
func (c *course) known(values []float64) bool {
	if len(values) != len(c.h.FlowLH.P50) {
		return false
	}
	for _, v := range values {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

func (c *course) right() float64 { return c.s.width - flowRight }

// hour is where an hour begins on the picture.
func (c *course) hour(i int) float64 { return c.x.at(float64(i)) }

func (c *course) timeOf(i int) time.Time { return c.start.Add(time.Duration(i) * time.Hour) }

// drawCourse draws air, rain and snow, wood, visits, sap and another year, each in a row
// of its own above one axis of time.
func (c *course) drawCourse(to surface) {
	r := c.rowsFor()
	c.t.pixelFrom, c.t.pixelTo = r.warmFoot, r.warmTop
	c.flow.pixelFrom, c.flow.pixelTo = r.flowFoot, r.flowTop
	if !c.l.Untitled {
		to.text("head", 8, 22, c.l.Title)
	}
	c.nights(to, r)
	c.shade(to)
	c.hatch(to)
	c.degreeTicks(to)
	c.dayLines(to, r)
	c.air(to)
	zero := c.t.at(c.l.degrees(0))
	to.line("freezing", c.left, zero, c.right(), zero)
	c.rain(to, r)
	c.wood(to, r)
	for _, v := range c.flow.ticks(3) {
		to.line("grid", c.left, c.flow.at(v), c.right(), c.flow.at(v))
		to.text("end", c.left-6, c.flow.at(v)+5, c.l.number(fmt.Sprintf("%g", v)))
	}
	c.runs(to, r)
	to.line("axis", c.left, r.flowFoot, c.right(), r.flowFoot)
	c.otherYear(to, r)
	c.nowLine(to, r)
	c.titles(to, r)
	c.visitMarks(to, r)
}

// titles name the rows, on ground of their own: no line goes through a word.
func (c *course) titles(to surface, r hourRows) {
	title := func(y float64, words string) {
		to.rect("paper", 4, y-14, 8+8*float64(utf8.RuneCountInString(words)), 18)
		to.text("", 8, y, words)
	}
	title(r.warmTop-8, c.l.Temperature)
	if x := c.right() - 8*float64(utf8.RuneCountInString(c.l.Freezing)) - 28; x > c.left+150 {
		to.line("freezing", x, r.warmTop-13, x+20, r.warmTop-13)
		to.text("end", c.right(), r.warmTop-8, c.l.Freezing)
	}
	if r.rainFoot > r.rainTop {
		title(r.rainTop-7, c.l.Rain)
	}
	if r.woodFoot > r.woodTop {
		title(r.woodTop-6, c.l.Wood)
	}
	title(r.visits-36, c.l.Flow)
	if r.otherFoot > r.otherTop {
		title(r.otherTop-8, c.beside.OtherName)
	}
}

func (c *course) nights(to surface, r hourRows) {
	if c.beside.Night == nil {
		return
	}
	for from := 0; from < c.n; {
		if !c.beside.Night(c.timeOf(from)) {
			from++
			continue
		}
		end := from
		for end < c.n && c.beside.Night(c.timeOf(end)) {
			end++
		}
		foot := r.flowFoot
		if r.otherFoot > r.otherTop {
			foot = r.otherFoot
		}
		to.rect("night", c.hour(from), r.warmTop, c.hour(end)-c.hour(from), foot-r.warmTop)
		from = end
	}
}

// hatch marks frost with strokes as well: in grey its colour is not enough.
func (c *course) hatch(to surface) {
	zero := c.t.at(c.l.degrees(0))
	every := max(int(math.Ceil(4/(c.hour(1)-c.hour(0)))), 1)
	for i := 0; i < c.n; i += every {
		if t := c.h.TemperatureC.P50[i]; t < 0 {
			x := c.x.at(float64(i) + 0.5)
			to.line("hatch", x, zero, x, c.t.at(c.l.degrees(t)))
		}
	}
}

// degreeTicks are ten degrees Fahrenheit apart, or five Celsius; twice that where the
// course spans much.
func (c *course) degreeTicks(to surface) {
	step := 5.0
	if c.l.Units == units.US {
		step = 10
	}
	if c.t.to-c.t.from > 7*step {
		step *= 2
	}
	for v := math.Ceil(c.t.from/step) * step; v <= c.t.to; v += step {
		to.line("grid", c.left, c.t.at(v), c.right(), c.t.at(v))
		to.text("end", c.left-6, c.t.at(v)+5, fmt.Sprintf("%.0f°", v+0))
	}
}

// dayLines part the days and name them, and tick six in the morning, noon and six in the
// evening.
func (c *course) dayLines(to surface, r hourRows) {
	perDay := c.hour(24) - c.hour(0)
	every := int(math.Ceil(64 / max(perDay, 1)))
	day := 0
	for i := range c.n {
		at := c.timeOf(i)
		x := c.hour(i)
		switch at.Hour() {
		case 0:
			to.line("grid", x, r.names+4, x, r.flowFoot)
			if middle := c.hour(i + 12); day%every == 0 && middle < c.right()-16 {
				to.text("strong mid", middle, r.names, c.l.Day(at))
			}
			day++
		case 6, 12, 18:
			to.line("axis", x, r.flowFoot, x, r.flowFoot+5)
			to.line("axis", x, r.warmFoot-4, x, r.warmFoot)
			named := perDay >= 150 || at.Hour() == 12 && perDay >= 64
			if named && x > c.left+16 && x < c.right()-16 {
				to.text("mid", x, r.clock, c.l.clock(at))
			}
		}
	}
}

// parts are the runs of known hours, before now and from now on; the two meet.
func (c *course) parts(values []float64) (past, ahead []stretchOf) {
	for _, p := range unbroken(values) {
		if p.from < c.now {
			past = append(past, stretchOf{p.from, min(p.to, c.now)})
		}
		if p.to > c.now {
			ahead = append(ahead, stretchOf{max(p.from, c.now-1), p.to})
		}
	}
	return past, ahead
}

func (c *course) air(to surface) {
	t := &c.h.TemperatureC
	past, ahead := c.parts(t.P50)
	for _, p := range ahead {
		to.shape("warmband", band(c.x, c.t, t.P10, t.P90, p, c.l.degrees), true)
		to.shape("airahead", line(c.x, c.t, t.P50, p, c.l.degrees), false)
	}
	for _, p := range past {
		to.shape("air", line(c.x, c.t, t.P50, p, c.l.degrees), false)
	}
}

// runs draws sap with its band, and where each run starts.
func (c *course) runs(to surface, r hourRows) {
	f := &c.h.FlowLH
	volume := c.l.volume
	past, ahead := c.parts(f.P50)
	for _, p := range append(past, ahead...) {
		outline := band(c.x, c.flow, f.P10, f.P90, p, volume)
		to.shape("band", outline, true)
		to.shape("bandedge", append(outline, outline[0]), false)
	}
	for _, p := range ahead {
		to.shape("ahead", line(c.x, c.flow, f.P50, p, volume), false)
	}
	for _, p := range past {
		to.shape("bold", line(c.x, c.flow, f.P50, p, volume), false)
	}
	last := math.Inf(-1)
	for _, s := range c.startsOf() {
		x := c.hour(s.at)
		to.line("drop", c.hour(s.thaw), c.t.at(c.l.degrees(0)), c.hour(s.thaw), r.flowFoot)
		class := "started"
		if s.at >= c.now {
			class = "expected"
		}
		triangle := []point{{x, r.flowFoot + 8}, {x + 6, r.flowFoot + 19}, {x - 6, r.flowFoot + 19}}
		to.shape(class, triangle, true)
		to.shape("startedge", append(triangle, triangle[0]), false)
		words := c.l.clock(c.timeOf(s.at))
		if wide := 8 * float64(len(words)); x+10 > last && x+10+wide < c.right() && c.hour(24)-c.hour(0) > 56 {
			to.text("", x+9, r.starts, words)
			last = x + 14 + wide
		}
	}
}

// start is the first hour of a run, and the hour in which it thawed.
type start struct{ at, thaw int }

// startsOf are the hours in which sap begins after a frost: it had stood still for three
// hours, and frost was in the day before.
func (c *course) startsOf() []start {
	f, t := c.h.FlowLH.P50, c.h.TemperatureC.P50
	most := 0.0
	for _, v := range f {
		if !math.IsNaN(v) {
			most = max(most, v)
		}
	}
	least := max(0.03*most, 0.05)
	var out []start
	still := 0
	for i := range c.n {
		if math.IsNaN(f[i]) || f[i] < least {
			still++
			continue
		}
		if still >= 3 && i >= 3 {
			thaw := -1 // nearest to the start; the middle of members may thaw after it
			for j := max(i-14, 1); j <= min(i+6, c.n-1); j++ {
				if t[j-1] <= 0 && t[j] > 0 && (thaw < 0 || abs(j-i) < abs(thaw-i)) {
					thaw = j
				}
			}
			if thaw >= 0 {
				out = append(out, start{i, thaw})
			}
		}
		still = 0
	}
	return out
}

func abs(n int) int { return max(n, -n) }
