package chart

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast"
)

// dayCourse is one day of a long picture; NaN where nothing is known.
type dayCourse struct {
	date           time.Time
	low, high, sap float64
	ahead          bool
}

func sumDays(h *forecast.Hours) []dayCourse {
	var out []dayCourse
	for i := range h.FlowLH.P50 {
		at := h.Start.Add(time.Duration(i) * time.Hour)
		y, m, d := at.Date()
		if n := len(out); n == 0 || out[n-1].date.Day() != d {
			out = append(out, dayCourse{date: time.Date(y, m, d, 0, 0, 0, 0, at.Location()), low: math.NaN(), high: math.NaN(),
				sap: math.NaN(), ahead: i >= h.Now})
		}
		if math.IsNaN(h.FlowLH.P50[i]) {
			continue
		}
		o := &out[len(out)-1]
		t := h.TemperatureC.P50[i]
		if math.IsNaN(o.sap) {
			o.low, o.high, o.sap = t, t, 0
		}
		o.low, o.high, o.sap = min(o.low, t), max(o.high, t), o.sap+h.FlowLH.P50[i]
	}
	return out
}

func (c *course) drawDays(to surface) {
	width := c.x.at(1) - c.x.at(0)
	bar := max(0.75*width, 1)
	zero := c.t.at(c.l.degrees(0))
	lastLabel := math.Inf(-1)
	for i, d := range c.days {
		x := c.x.at(float64(i) + 0.5)
		if d.date.Day() == 1 || i == 0 && d.date.Day() < 20 || len(c.days) < 60 && d.date.Weekday() == time.Monday {
			left := c.x.at(float64(i))
			to.line("grid", left, warmTop, left, flowFoot)
			if left-lastLabel > 56 && left < c.s.width-flowRight-30 {
				to.text("small", left+2, flowFoot+18, c.l.Date(d.date))
				lastLabel = left
			}
		}
		if math.IsNaN(d.sap) {
			continue
		}
		top, foot := c.t.at(c.l.degrees(d.high)), c.t.at(c.l.degrees(d.low))
		if d.high > 0 {
			to.rect("thaw", x-bar/2, top, bar, max(min(foot, zero)-top, 1))
		}
		if d.low < 0 {
			to.rect("frost", x-bar/2, max(top, zero), bar, max(foot-max(top, zero), 1))
		}
		class := "sap"
		if d.ahead {
			class = "sapahead"
		}
		y := c.flow.at(c.l.volume(d.sap))
		to.rect(class, x-bar/2, y, bar, flowFoot-y)
	}
	highs, lows := make([]float64, len(c.days)), make([]float64, len(c.days))
	for i, d := range c.days {
		highs[i], lows[i] = d.high, d.low
	}
	for _, part := range unbroken(highs) {
		to.shape("seenline", line(c.x, c.t, highs, part, c.l.degrees), false)
		to.shape("told", line(c.x, c.t, lows, part, c.l.degrees), false)
	}
	for _, m := range c.marks {
		if i := c.dayAt(m.At); i >= 0 && !math.IsNaN(m.VolumeL) {
			to.dot("seen", c.x.at(float64(i)+0.5), c.flow.at(c.l.volume(m.VolumeL)), min(max(width/2, 2.5), 4.5), m.Words)
		}
	}
}

func (c *course) dayAt(at time.Time) int {
	here := at.In(c.start.Location())
	for i := range c.days {
		if c.days[i].date.YearDay() == here.YearDay() && c.days[i].date.Year() == here.Year() {
			return i
		}
	}
	return -1
}

// FlowRows are the figures of a picture of flow, one row for each of its steps,
// with heads in the first: what screen readers and fingers read.
func FlowRows(h *forecast.Hours, marks []Mark, l *Labels) [][]string {
	c := newCourse(h, marks, l, Wide)
	collected := map[int]string{}
	for _, m := range marks {
		i := int(math.Floor(m.At.Sub(c.start).Hours()))
		if c.daily {
			i = c.dayAt(m.At)
		}
		if !math.IsNaN(m.VolumeL) {
			collected[i] = l.said(m.VolumeL)
		}
	}
	flow := l.Flow
	if c.daily {
		flow = l.DayFlow
	}
	rows := [][]string{{l.When, l.Temperature, flow, l.Collected}}
	ranged := func(low, mid, high, step float64) string {
		if math.IsNaN(mid) {
			return "?"
		}
		text := l.number(trimmed(mid, step))
		if a, b := trimmed(low, step), trimmed(high, step); a != b {
			text += " (" + l.number(a) + "–" + l.number(b) + ")"
		}
		return text
	}
	for i := range c.n {
		if c.daily {
			d := c.days[i]
			rows = append(rows, []string{l.Date(d.date), ranged(l.degrees(d.low), l.degrees(d.low), l.degrees(d.low), 1) + " / " +
				ranged(l.degrees(d.high), l.degrees(d.high), l.degrees(d.high), 1),
				ranged(l.volume(d.sap), l.volume(d.sap), l.volume(d.sap), 0.1), collected[i]})
			continue
		}
		t, f := &h.TemperatureC, &h.FlowLH
		rows = append(rows, []string{l.Hour(c.start.Add(time.Duration(i) * time.Hour)),
			ranged(l.degrees(t.P10[i]), l.degrees(t.P50[i]), l.degrees(t.P90[i]), 1),
			ranged(l.volume(f.P10[i]), l.volume(f.P50[i]), l.volume(f.P90[i]), 0.1), collected[i]})
	}
	return rows
}

// trimmed is a number without decimals that say nothing, and without a minus
// before zero.
func trimmed(v, step float64) string {
	if v >= 10 || step >= 1 {
		step = 1
	}
	v = math.Round(v/step) * step
	if v == 0 {
		v = 0
	}
	if step >= 1 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}
