package chart

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Labels are the words of a picture of flow, in the reader's language.
type Labels struct {
	Title, Temperature, Flow, DayFlow, Now, Freezing, Range, DayRange, Collected, When string
	Day, Date, Hour                                                                    func(
		t time.Time) string // a weekday with its number; a date without year; a day with its hour
	Number func(
		text string) string // with the language's decimal sign
	Rain, Wood string
	Clock      func(t time.Time) string // the hour alone
	Fall       func(mm float64,
		snow bool) string // how much rain or snow
	Untitled bool // the page has the title already
	Units    units.System
}

func (l *Labels) degrees(c float64) float64 {
	if l.Units == units.US {
		return units.CToF(c)
	}
	return c
}

func (l *Labels) volume(litres float64) float64 {
	v, _ := units.VolumeIn(litres, l.Units)
	return v
}

// said is a volume in the reader's unit.
func (l *Labels) said(litres float64) string {
	n, unit := units.Volume(litres, l.Units)
	return l.number(n) + " " + unit
}

func (l *Labels) number(text string) string { return signed(l.Number, text) }

// signed is a number with the language's decimal sign.
func signed(sign func(string) string, text string) string {
	if sign == nil {
		return text
	}
	return sign(text)
}

func (l *Labels) clock(t time.Time) string {
	if l.Clock == nil {
		return t.Format("15:04")
	}
	return l.Clock(t)
}

// Mark is a visit that is laid over the flow.
type Mark struct {
	At      time.Time
	VolumeL float64 // NaN where nothing was collected
	Words   string  // to be shown when it is pointed at
}

// The panels, in pixels from above.
const (
	flowHeight        = 460
	warmTop, warmFoot = 92, 236
	flowTop, flowFoot = 268, 408
	flowRight         = 16
)

// dayFrom is the number of hours from which days are drawn and no hours.
const dayFrom = 22 * 24

// Outlook draws flow against weather as an outlook has it.
func Outlook(o *forecast.Outlook, marks []Mark, l *Labels, s Size) Picture {
	return OutlookBeside(o, marks, Beside{}, l, s)
}

// OutlookBeside is Outlook with what else is known of the days.
func OutlookBeside(o *forecast.Outlook, marks []Mark, b Beside, l *Labels, s Size) Picture {
	p := FlowBeside(&o.Hours, marks, b, l, s)
	p.description = described(o, l)
	return p
}

// Flow draws flow against weather: temperature with the freezing line, frost and
// thaw shaded, and below it what the bush gives, with the range in which four
// outcomes in five fall and the visits laid over. What is past stands left of
// the line at now. Hours without weather stay open; from three weeks on, days
// are drawn.
func Flow(h *forecast.Hours, marks []Mark, l *Labels, s Size) Picture {
	return FlowBeside(h, marks, Beside{}, l, s)
}

// FlowBeside is Flow with what else is known of the days.
func FlowBeside(h *forecast.Hours, marks []Mark, b Beside, l *Labels, s Size) Picture {
	c := newCourse(h, marks, l, s)
	c.beside = b
	if !c.daily {
		r := c.rowsFor()
		return Picture{width: s.width, height: r.height, title: l.Title, description: l.Title, draw: c.drawCourse,
			frame: frame{c.left, c.right(), r.warmTop, r.flowFoot, c.n, min(c.now, max(c.n-1, 0))}}
	}
	p := Picture{width: s.width, height: flowHeight, title: l.Title,
		frame: frame{c.left, s.width - flowRight, warmTop, flowFoot, c.n, min(c.now, max(c.n-1, 0))}}
	p.description = l.Title
	p.draw = c.draw
	return p
}

// course is what is drawn: n steps, hours or days.
type course struct {
	l          *Labels
	s          Size
	left       float64
	n, now     int
	daily      bool
	start      time.Time
	days       []dayCourse
	h          *forecast.Hours
	marks      []Mark
	beside     Beside
	x, t, flow scale
}

func newCourse(h *forecast.Hours, marks []Mark, l *Labels, s Size) *course {
	c := &course{l: l, s: s, h: h, marks: marks, start: h.Start, n: len(h.FlowLH.P50), now: h.Now, left: 52}
	if s.narrow {
		c.left = 38
	}
	low, high, most := math.Inf(1), math.Inf(-1), 0.5
	see := func(t1, t2, flow float64) {
		if !math.IsNaN(t1) {
			low, high, most = min(low, l.degrees(t1)), max(high, l.degrees(t2)), max(most, l.volume(flow))
		}
	}
	if c.daily = c.n >= dayFrom; c.daily {
		c.days = sumDays(h)
		c.n, c.now = len(c.days), len(c.days)
		for i, d := range c.days {
			see(d.low, d.high, d.sap)
			if d.ahead && i < c.now {
				c.now = i
			}
		}
		for _, m := range marks {
			if !math.IsNaN(m.VolumeL) {
				most = max(most, l.volume(m.VolumeL))
			}
		}
	} else {
		for i := range c.n {
			see(h.TemperatureC.P10[i], h.TemperatureC.P90[i], h.FlowLH.P90[i])
		}
	}
	low, high = min(low, l.degrees(0))-1, max(high, l.degrees(0))+1
	c.x = scale{0, float64(max(c.n, 2)), c.left, s.width - flowRight}
	c.t, c.flow = scale{low, high, warmFoot, warmTop}, scale{0, most, flowFoot, flowTop}
	return c
}

func (c *course) draw(to surface) {
	l, right := c.l, c.s.width-flowRight
	to.text("head", 8, 22, l.Title)
	wrapped(to, l.DayRange, 40, c.s)
	to.text("small", 8, warmTop-8, l.Temperature)
	to.text("small", 8, flowTop-8, l.DayFlow)
	for _, v := range c.t.ticks(4) {
		to.line("grid", c.left, c.t.at(v), right, c.t.at(v))
		to.text("small end", c.left-6, c.t.at(v)+4, fmt.Sprintf("%g°", v))
	}
	for _, v := range c.flow.ticks(3) {
		to.line("grid", c.left, c.flow.at(v), right, c.flow.at(v))
		to.text("small end", c.left-6, c.flow.at(v)+4, l.number(fmt.Sprintf("%g", v)))
	}
	c.drawDays(to)
	to.line("freezing", c.left, c.t.at(l.degrees(0)), right, c.t.at(l.degrees(0)))
	to.text("small end", right, c.t.at(l.degrees(0))-4, l.Freezing)
	to.line("axis", c.left, flowFoot, right, flowFoot)
	if c.now < c.n {
		x := c.x.at(float64(c.now))
		to.line("now", x, warmTop, x, flowFoot)
		class := "small mid"
		if x > right-30 {
			class = "small end"
		}
		to.text(class, x, flowFoot+36, l.Now)
	}
}

// shade fills between temperature and the freezing line: frost below it, thaw
// above.
func (c *course) shade(to surface) {
	zero := c.t.at(c.l.degrees(0))
	value := func(i int) float64 { return c.h.TemperatureC.P50[i] }
	for from := 0; from < c.n; {
		if math.IsNaN(value(from)) {
			from++
			continue
		}
		to1 := from
		for to1 < c.n && !math.IsNaN(value(to1)) {
			to1++
		}
		for _, side := range []struct {
			class string
			clip  func(float64) float64
		}{{"thaw", func(t float64) float64 { return max(t, 0) }}, {"frost", func(t float64) float64 { return min(t, 0) }}} {
			points := []point{{c.x.at(float64(from) + 0.5), zero}}
			for i := from; i < to1; i++ {
				points = append(points, point{c.x.at(float64(i) + 0.5), c.t.at(c.l.degrees(side.clip(value(i))))})
			}
			points = append(points, point{c.x.at(float64(to1) - 0.5), zero})
			to.shape(side.class, points, true)
		}
		from = to1
	}
}

// stretchOf is a run of steps.
type stretchOf struct{ from, to int }

// unbroken are the runs without a gap.
func unbroken(values []float64) []stretchOf {
	var out []stretchOf
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].to == i {
			out[n-1].to++
			continue
		}
		out = append(out, stretchOf{i, i + 1})
	}
	return out
}

// described tells the picture to those who can't see it, day by day.
func described(o *forecast.Outlook, l *Labels) string {
	var parts []string
	for _, d := range o.Days[:min(7, len(o.Days))] {
		t, err := time.Parse(time.DateOnly, d.Date)
		if err != nil {
			continue
		}
		parts = append(parts, fmt.Sprintf("%s: %s, %s", l.Day(t), l.said(d.VolumeL.P50), units.Chance(forecast.Shown(d.RunProbability))))
	}
	return strings.Join(parts, "; ")
}

// line goes through the middles of steps.
func line(x, y scale, values []float64, part stretchOf, of func(float64) float64) []point {
	out := make([]point, 0, part.to-part.from)
	for i := part.from; i < part.to; i++ {
		out = append(out, point{x.at(float64(i) + 0.5), y.at(of(values[i]))})
	}
	return out
}

// band is the outline of what lies between two lines.
func band(x, y scale, low, high []float64, part stretchOf, of func(float64) float64) []point {
	out := line(x, y, high, part, of)
	back := line(x, y, low, part, of)
	for i := len(back) - 1; i >= 0; i-- {
		out = append(out, back[i])
	}
	return out
}
