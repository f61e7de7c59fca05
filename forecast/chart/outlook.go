package chart

import (
	"fmt"
	"math"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

const (
	outlookWidth, outlookHeight = 760, 460
	warmTop, warmFoot           = 70, 220
	flowTop, flowFoot           = 252, 400
)

// Labels are the words of an outlook's picture, in the reader's language.
type Labels struct {
	Title, Temperature, Flow, Now, Freezing, Range string
	Day                                            func(t time.Time) string
	Units                                          units.System
}

// Outlook draws flow against weather: temperature with the freezing line, and
// below it what the bush gives in each hour, with the range in which four
// outcomes in five fall. What is past stands left of the line at now.
func Outlook(o *forecast.Outlook, l *Labels) []byte {
	c := newCanvas(outlookWidth, outlookHeight)
	drawOutlook(c, o, l)
	return c.document(l.Title, described(o, l))
}

// OutlookPNG is the same picture for e-mails and other places without SVG.
func OutlookPNG(o *forecast.Outlook, l *Labels) ([]byte, error) {
	c, err := newRaster(outlookWidth, outlookHeight)
	if err != nil {
		return nil, err
	}
	drawOutlook(c, o, l)
	return c.document()
}

func drawOutlook(c surface, o *forecast.Outlook, l *Labels) {
	h := &o.Hours
	n := len(h.FlowLH.P50)
	x := scale{0, float64(max(n, 2)), left, outlookWidth - right}
	degrees := func(v float64) float64 {
		if l.Units == units.US {
			return units.CToF(v)
		}
		return v
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range n {
		low, high = min(low, degrees(h.TemperatureC.P10[i])), max(high, degrees(h.TemperatureC.P90[i]))
	}
	low, high = min(low, degrees(0))-1, max(high, degrees(0))+1
	warm := scale{low, high, warmFoot, warmTop}
	most := 0.5
	for i := range n {
		v, _ := units.VolumeIn(h.FlowLH.P90[i], l.Units)
		most = max(most, v)
	}
	flow := scale{0, most, flowFoot, flowTop}

	c.text("head", left, 24, l.Title)
	c.text("small", left, 46, l.Range)
	c.text("small", left, warmTop-6, l.Temperature)
	c.text("small", left, flowTop-6, l.Flow)
	for _, v := range warm.ticks(4) {
		c.line("grid", left, warm.at(v), outlookWidth-right, warm.at(v))
		c.text("small end", left-8, warm.at(v)+4, fmt.Sprintf("%g°", v))
	}
	for _, v := range flow.ticks(3) {
		c.line("grid", left, flow.at(v), outlookWidth-right, flow.at(v))
		c.text("small end", left-8, flow.at(v)+4, fmt.Sprintf("%g", v))
	}
	for i := range n {
		if at := h.Start.Add(time.Duration(i) * time.Hour); at.Hour() == 0 {
			c.line("grid", x.at(float64(i)), warmTop, x.at(float64(i)), flowFoot)
			if i+12 <= n {
				c.text("small mid", x.at(float64(i)+12), flowFoot+18, l.Day(at))
			}
		}
	}
	c.shape("band", hourBand(x, warm, h.TemperatureC.P10, h.TemperatureC.P90, degrees), true)
	c.line("freezing", left, warm.at(degrees(0)), outlookWidth-right, warm.at(degrees(0)))
	c.text("small end", outlookWidth-right, warm.at(degrees(0))-4, l.Freezing)
	c.shape("seenline", hourLine(x, warm, h.TemperatureC.P50, degrees), false)
	volume := func(v float64) float64 { out, _ := units.VolumeIn(v, l.Units); return out }
	c.shape("band", hourBand(x, flow, h.FlowLH.P10, h.FlowLH.P90, volume), true)
	c.shape("told", hourLine(x, flow, h.FlowLH.P50, volume), false)
	c.line("axis", left, flowFoot, outlookWidth-right, flowFoot)
	c.line("ideal", x.at(float64(h.Now)), warmTop, x.at(float64(h.Now)), flowFoot)
	c.text("small mid", x.at(float64(h.Now)), flowFoot+36, l.Now)
}

// described tells the picture to those who can't see it, day by day.
func described(o *forecast.Outlook, l *Labels) string {
	var parts []string
	for _, d := range o.Days[:min(7, len(o.Days))] {
		t, err := time.Parse(time.DateOnly, d.Date)
		if err != nil {
			continue
		}
		n, unit := units.Volume(d.VolumeL.P50, l.Units)
		parts = append(parts, fmt.Sprintf("%s: %s %s, %.0f %%", l.Day(t), n, unit, 100*d.RunProbability))
	}
	return strings.Join(parts, "; ")
}

// hourLine is a line through the middles of hours.
func hourLine(x, y scale, values []float64, of func(float64) float64) []point {
	out := make([]point, len(values))
	for i, v := range values {
		out[i] = point{x.at(float64(i) + 0.5), y.at(of(v))}
	}
	return out
}

// hourBand is the outline of what lies between two lines.
func hourBand(x, y scale, low, high []float64, of func(float64) float64) []point {
	out := hourLine(x, y, high, of)
	back := hourLine(x, y, low, of)
	for i := len(back) - 1; i >= 0; i-- {
		out = append(out, back[i])
	}
	return out
}
