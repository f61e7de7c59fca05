package chart

import (
	"fmt"
	"math"
	"strings"

	"thawline/forecast/verify"
)

// BudYears draws the opening of buds, year by year, against what was foretold.
func BudYears(title string, years []verify.BudYear) Picture {
	s := Wide
	p := skillPicture(title, s, 0)
	low, high := math.Inf(1), math.Inf(-1)
	var said []string
	for _, v := range years {
		low, high = min(low, v.ObservedDOY, v.P10), max(high, v.ObservedDOY, v.P90)
		said = append(said, budYear(v))
	}
	p.description = strings.Join(said, "; ")
	x := scale{-0.5, float64(len(years)) - 0.5, skillLeft, s.width - skillRight}
	y := scale{low - 2, high + 2, skillFoot, skillTop}
	p.draw = func(to surface) {
		to.text("head", 8, 22, title)
		wrapped(to, "Bar: four outcomes in five, and their middle. Dot: the day buds opened.", 42, s)
		for _, v := range y.ticks(6) {
			to.line("grid", skillLeft, y.at(v), s.width-skillRight, y.at(v))
			to.text("small end", skillLeft-6, y.at(v)+4, dayName(v))
		}
		half := min(0.3*(x.at(1)-x.at(0)), 16)
		every := (len(years) + 11) / 12
		for i, v := range years {
			at := x.at(float64(i))
			to.rect("band", at-half, y.at(v.P90), 2*half, y.at(v.P10)-y.at(v.P90))
			to.line("told", at-half, y.at(v.PredictedDOY), at+half, y.at(v.PredictedDOY))
			to.dot("seen", at, y.at(v.ObservedDOY), 5, said[i])
			if i%every == 0 {
				to.text("small mid", at, skillFoot+18, fmt.Sprint(v.Year))
			}
		}
		to.line("axis", skillLeft, skillFoot, s.width-skillRight, skillFoot)
	}
	return p
}

func budYear(v verify.BudYear) string {
	return fmt.Sprintf("%d: opened %s, foretold %s (%s to %s)", v.Year, dayName(v.ObservedDOY), dayName(v.PredictedDOY), dayName(v.P10),
		dayName(v.P90))
}

// dayName is a day of a year that is not a leap year, such as "3 May".
func dayName(doy float64) string {
	day := int(math.Round(doy))
	for m, days := range []int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31} {
		if day <= days {
			return fmt.Sprintf("%d %s", day,
				[]string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"}[m])
		}
		day -= days
	}
	return fmt.Sprintf("day %.0f", doy)
}
