package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// week is the strip of the days to come.
type week struct {
	Title, Line string // what the figures are, and what the line is
	Days        []weekDay
}

// weekDay is one column of the strip: the sap as a mark and a figure, the air as a bar on
// both sides of the thaw line.
type weekDay struct {
	Short, Aloud, Href string
	Number             int // of the day in its month
	Mark               mark
	Amount, Range      string
	Air                template.HTML // "" where the forecast does not reach
}

// daysOfWeek is how many columns of 48 pixels stand side by side on a phone.
const daysOfWeek = 7

// week is tomorrow and the days after it; of an outlook of the morning, today first.
func (v *view) week(o *forecast.Outlook, now time.Time) *week {
	const afternoon = 15
	first := 1
	if now.In(v.Site.Zone).Hour() < afternoon {
		first = 0
	}
	days := o.Days[min(first, len(o.Days)):]
	days = days[:min(daysOfWeek, len(days))]
	if len(days) == 0 {
		return nil
	}
	out := &week{Title: v.N("week_title", len(days), "Unit", v.Unit()), Line: v.T("week_line", "Freezing", units.Temperature(0, v.system))}
	high, low := 0.0, 0.0
	for i := range days {
		if d := &days[i]; d.Hours > 0 {
			high, low = math.Max(high, d.TemperatureC.Max), math.Min(low, d.TemperatureC.Min)
		}
	}
	scale := newAirScale(high, low)
	for i := range days {
		d := &days[i]
		t, err := time.ParseInLocation(time.DateOnly, d.Date, v.Site.Zone)
		if err != nil {
			continue
		}
		n, unit := v.words.RoughVolume(d.VolumeL.P50)
		lowL, _ := v.words.RoughVolume(d.VolumeL.P10)
		highL, _ := v.words.RoughVolume(d.VolumeL.P90)
		one := weekDay{Number: t.Day(), Short: v.words.ShortWeekday(t), Mark: sapMark(d), Amount: n, Range: lowL + "–" + highL,
			Href: v.At("/flow?from=" + t.AddDate(0, 0, -1).Format(time.DateOnly) + "&days=3")}
		if d.Hours == 0 {
			one.Mark, one.Amount, one.Range = markUnknown, "", ""
			one.Aloud = v.T("week_day_unknown", "Date", v.Day(t))
		} else {
			one.Aloud = v.T("week_day", "Date", v.Day(t), "Volume", n, "Unit", unit, "Low", v.degrees(d.TemperatureC.Min), "High",
				v.degrees(d.TemperatureC.Max))
			one.Air = scale.bar(d.TemperatureC, v.degrees, i == 0)
		}
		out.Days = append(out.Days, one)
	}
	return out
}

// degrees is a temperature as a whole number without its unit.
func (v *view) degrees(c float64) string {
	return units.Degrees(c, v.system)
}

// airScale puts temperatures on a column, so that the thaw line is at one height in all of
// them.
type airScale struct{ top, perK, height float64 }

func newAirScale(high, low float64) airScale {
	const room, most, label = 40, 3.2, 17 // pixels, pixels a kelvin, pixels above and below a bar
	k := math.Min(most, room/math.Max(high-low, 1))
	return airScale{top: label + high*k, perK: k, height: math.Ceil(2*label + (high-low)*k)}
}

// bar draws low to high: plain above freezing, hatched below. The first of the strip brings
// the hatching along.
func (s airScale) bar(t forecast.MinMax, say func(float64) string, first bool) template.HTML {
	y := func(c float64) float64 { return s.top - c*s.perK }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="air" viewBox="0 0 48 %g" width="48" height="%g" aria-hidden="true">`, s.height, s.height)
	if first {
		b.WriteString(`<defs><pattern id="frost" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><rect class="cold" width="6" height="6"/><path class="hatch" d="M0 0V6"/></pattern></defs>`)
	}
	const left, width = 17, 14
	rect := func(class, fill string, from, to float64) {
		if height := y(to) - y(from); height >= 0.5 {
			fmt.Fprintf(&b, `<rect class="%s"%s x="%d" y="%.1f" width="%d" height="%.1f"/>`, class, fill, left, y(from), width, height)
		}
	}
	rect("warm", "", math.Max(t.Max, 0), math.Max(t.Min, 0))
	rect("cool", ` fill="url(#frost)"`, math.Min(t.Max, 0), math.Min(t.Min, 0))
	fmt.Fprintf(&b, `<path class="thaw" d="M-300 %.1fH348"/>`, s.top)
	above, below := math.Min(y(t.Max)-4, s.top-4), math.Max(y(t.Min)+14, s.top+14)
	if t.Max < 0 { // all of it below
		above = s.top - 4
	}
	fmt.Fprintf(&b, `<text x="24" y="%.1f">%s</text><text x="24" y="%.1f">%s</text></svg>`, above,
		template.HTMLEscapeString(say(t.Max)), below, template.HTMLEscapeString(say(t.Min)))
	return template.HTML(b.String()) //nolint:gosec // numbers, and words that are escaped
}
