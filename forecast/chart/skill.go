package chart

import (
	"fmt"
	"math"
	"strings"

	"thawline/forecast/verify"
)

// The frame of a picture of skill.
const (
	skillWidth, skillHeight = 640, 480
	left, right, top, foot  = 64, 20, 64, 92
)

func frame() (c *canvas, x, y scale) {
	c = newCanvas(skillWidth, skillHeight)
	return c, scale{0, 1, left, skillWidth - right}, scale{0, 1, skillHeight - foot, top}
}

// Reliability draws how often something happened against how likely it was
// said to be. Bars show where the points may lie by chance if the chances are
// right (Bröcker and Smith 2007).
func Reliability(title, event string, bins []verify.Bin) []byte {
	c, x, y := frame()
	c.text("head", left, 24, title)
	c.text("small", left, 44, "On the dashed line, what is said to happen 7 times in 10 happens 7 times in 10.")
	for _, v := range x.ticks(5) {
		c.line("grid", x.at(v), y.at(0), x.at(v), y.at(1))
		c.line("grid", x.at(0), y.at(v), x.at(1), y.at(v))
		c.text("small mid", x.at(v), y.at(0)+18, fmt.Sprintf("%.0f %%", 100*v))
		c.text("small end", x.at(0)-8, y.at(v)+4, fmt.Sprintf("%.0f %%", 100*v))
	}
	c.line("ideal", x.at(0), y.at(0), x.at(1), y.at(1))
	most := 1
	for _, b := range bins {
		most = max(most, b.Count)
	}
	var told []string
	for _, b := range bins {
		p, spread := b.MeanProbability, 2*b.StandardError
		c.line("whisker", x.at(p), y.at(max(p-spread, 0)), x.at(p), y.at(min(p+spread, 1)))
	}
	for _, b := range bins {
		hint := fmt.Sprintf("said %.0f %%, happened %.0f %% of %d times", 100*b.MeanProbability, 100*b.Frequency, b.Count)
		told = append(told, hint)
		c.dot("seen", x.at(b.MeanProbability), y.at(b.Frequency), 4+8*math.Sqrt(float64(b.Count)/float64(most)), hint)
	}
	c.text("mid", (left+skillWidth-right)/2, skillHeight-foot+42, "how likely we said: "+event)
	c.text("small", left, skillHeight-22, "Dots: how often it happened, larger for more cases. Bars: where dots may fall by chance.")
	return c.document(title, strings.Join(told, "; "))
}

// Visits draws what was collected against what was foretold for each visit.
func Visits(title string, visits []verify.SapVisit) []byte {
	c, _, _ := frame()
	highest := 1.0
	for _, v := range visits {
		highest = max(highest, v.ObservedL, v.P90)
	}
	x := scale{-0.5, float64(len(visits)) - 0.5, left, skillWidth - right}
	y := scale{0, highest, skillHeight - foot, top}
	c.text("head", left, 24, title)
	c.text("small", left, 44, "Bar: four outcomes in five, and their middle. Dot: what was collected.")
	for _, v := range y.ticks(5) {
		c.line("grid", left, y.at(v), skillWidth-right, y.at(v))
		c.text("small end", left-8, y.at(v)+4, fmt.Sprintf("%g L", v))
	}
	half := min(0.35*(x.at(1)-x.at(0)), 12)
	every := (len(visits) + 9) / 10
	inside := 0
	for i, v := range visits {
		at := x.at(float64(i))
		c.rect("band", at-half, y.at(v.P90), 2*half, max(y.at(v.P10)-y.at(v.P90), 1))
		c.line("told", at-half, y.at(v.P50), at+half, y.at(v.P50))
		c.dot("seen", at, y.at(v.ObservedL), 4.5, fmt.Sprintf("%s: collected %.0f L, foretold %.0f L (%.0f to %.0f)", v.Date, v.ObservedL, v.P50, v.P10, v.P90))
		if v.P10 <= v.ObservedL && v.ObservedL <= v.P90 {
			inside++
		}
		if i%every == 0 && len(v.Date) == len("2013-02-24") {
			c.text("small mid", at, y.at(0)+18, v.Date[5:])
		}
	}
	c.line("axis", left, y.at(0), skillWidth-right, y.at(0))
	c.text("mid", (left+skillWidth-right)/2, skillHeight-foot+42, "date of the visit (month-day)")
	told := fmt.Sprintf("%d of %d visits fell within their bar; four in five should.", inside, len(visits))
	c.text("small", left, skillHeight-22, told)
	return c.document(title, told)
}

// BudYears draws the opening of buds, year by year, against what was foretold.
func BudYears(title string, years []verify.BudYear) []byte {
	c, _, _ := frame()
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range years {
		low, high = min(low, v.ObservedDOY, v.P10), max(high, v.ObservedDOY, v.P90)
	}
	x := scale{-0.5, float64(len(years)) - 0.5, left, skillWidth - right}
	y := scale{low - 2, high + 2, skillHeight - foot, top}
	c.text("head", left, 24, title)
	c.text("small", left, 44, "Bar: four outcomes in five, and their middle. Dot: the day buds opened.")
	for _, v := range y.ticks(6) {
		c.line("grid", left, y.at(v), skillWidth-right, y.at(v))
		c.text("small end", left-8, y.at(v)+4, dayName(v))
	}
	half := min(0.3*(x.at(1)-x.at(0)), 16)
	every := (len(years) + 11) / 12
	var told []string
	for i, v := range years {
		at := x.at(float64(i))
		hint := fmt.Sprintf("%d: opened %s, foretold %s (%s to %s)", v.Year, dayName(v.ObservedDOY), dayName(v.PredictedDOY), dayName(v.P10), dayName(v.P90))
		told = append(told, hint)
		c.rect("band", at-half, y.at(v.P90), 2*half, y.at(v.P10)-y.at(v.P90))
		c.line("told", at-half, y.at(v.PredictedDOY), at+half, y.at(v.PredictedDOY))
		c.dot("seen", at, y.at(v.ObservedDOY), 5, hint)
		if i%every == 0 {
			c.text("small mid", at, skillHeight-foot+18, fmt.Sprint(v.Year))
		}
	}
	c.line("axis", left, skillHeight-foot, skillWidth-right, skillHeight-foot)
	return c.document(title, strings.Join(told, "; "))
}

// dayName is a day of a year that is not a leap year, such as "3 May".
func dayName(doy float64) string {
	day := int(math.Round(doy))
	for m, days := range []int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31} {
		if day <= days {
			return fmt.Sprintf("%d %s", day, []string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"}[m])
		}
		day -= days
	}
	return fmt.Sprintf("day %.0f", doy)
}
