package chart

import (
	"fmt"
	"math"
	"strings"

	"thawline/forecast/verify"
)

// SkillLabels are the words of a picture of skill.
type SkillLabels struct {
	Title, Line, Axis, Foot string
	Bin                     func(b verify.Bin) string
	Visit                   func(v verify.SapVisit) string
	Volume                  func(litres float64) float64 // in the reader's unit
	Unit                    string
	Number                  func(text string) string // with the language's decimal sign; nil for a point
	Date                    func(date string) string // shortened
}

const (
	skillHeight                = 500
	skillTop, skillFoot        = 110, 406
	skillLeft, skillRight      = 60, 20
	mostVisitLabels, visitHalf = 10, 12
)

func skillPicture(title string, s Size, rows int) Picture {
	return Picture{width: s.width, height: skillHeight, title: title,
		frame: frame{skillLeft, s.width - skillRight, skillTop, skillFoot, rows, 0}}
}

// Reliability draws how often something happened against how likely it was
// said to be. Bars show where the points may lie by chance if the chances are
// right (Bröcker and Smith 2007).
func Reliability(bins []verify.Bin, l *SkillLabels, s Size) Picture {
	p := skillPicture(l.Title, s, 0)
	var said []string
	for _, b := range bins {
		said = append(said, l.Bin(b))
	}
	p.description = strings.Join(said, "; ")
	const room = 0.04 // for dots at the ends
	x, y := scale{-room, 1 + room, skillLeft, s.width - skillRight}, scale{-room, 1 + room, skillFoot, skillTop}
	p.draw = func(to surface) {
		to.text("head", 8, 22, l.Title)
		wrapped(to, l.Line, 42, s)
		for _, v := range x.ticks(s.fewer(5)) {
			to.line("grid", x.at(v), y.at(0), x.at(v), y.at(1))
			to.text("small mid", x.at(v), skillFoot+18, fmt.Sprintf("%.0f\u00a0%%", 100*v))
		}
		for _, v := range y.ticks(5) {
			to.line("grid", x.at(0), y.at(v), x.at(1), y.at(v))
			to.text("small end", skillLeft-6, y.at(v)+4, fmt.Sprintf("%.0f\u00a0%%", 100*v))
		}
		to.line("ideal", x.at(0), y.at(0), x.at(1), y.at(1))
		most := 1
		for _, b := range bins {
			most = max(most, b.Count)
		}
		for _, b := range bins {
			m, spread := b.MeanProbability, 2*b.StandardError
			to.line("whisker", x.at(m), y.at(max(m-spread, 0)), x.at(m), y.at(min(m+spread, 1)))
		}
		for i, b := range bins {
			to.dot("seen", x.at(b.MeanProbability), y.at(b.Frequency), 4+8*math.Sqrt(float64(b.Count)/float64(most)), said[i])
		}
		to.text("small mid", (skillLeft+s.width-skillRight)/2, skillFoot+40, l.Axis)
		wrapped(to, l.Foot, skillFoot+62, s)
	}
	return p
}

// Visits draws what was collected against what was foretold for each visit.
func Visits(visits []verify.SapVisit, l *SkillLabels, s Size) Picture {
	p := skillPicture(l.Title, s, len(visits))
	p.description = l.Foot
	if l.Foot == "" {
		p.height = skillFoot + 52 // below the axis nothing is said
	}
	highest := 1.0
	for _, v := range visits {
		highest = max(highest, l.Volume(v.ObservedL), l.Volume(v.P90))
	}
	x := scale{-0.5, float64(max(len(visits), 1)) - 0.5, skillLeft, s.width - skillRight}
	y := scale{0, highest, skillFoot, skillTop}
	p.draw = func(to surface) {
		to.text("head", 8, 22, l.Title)
		wrapped(to, l.Line, 42, s)
		for _, v := range y.ticks(5) {
			to.line("grid", skillLeft, y.at(v), s.width-skillRight, y.at(v))
			to.text("small end", skillLeft-6, y.at(v)+4, signed(l.Number, fmt.Sprintf("%g", v)))
		}
		to.text("small end", skillLeft-6, skillTop-10, l.Unit)
		half := min(0.35*(x.at(1)-x.at(0)), visitHalf)
		fit := s.fewer(mostVisitLabels)
		every := (len(visits) + fit - 1) / fit
		for i, v := range visits {
			at := x.at(float64(i))
			top, foot := y.at(l.Volume(v.P90)), y.at(l.Volume(v.P10))
			to.rect("band", at-half, top, 2*half, max(foot-top, 1))
			to.line("told", at-half, y.at(l.Volume(v.P50)), at+half, y.at(l.Volume(v.P50)))
			to.dot("seen", at, y.at(l.Volume(v.ObservedL)), 4.5, l.Visit(v))
			if i%every == 0 {
				to.text("small mid", at, y.at(0)+18, l.Date(v.Date))
			}
		}
		to.line("axis", skillLeft, y.at(0), s.width-skillRight, y.at(0))
		to.text("small mid", (skillLeft+s.width-skillRight)/2, skillFoot+40, l.Axis)
		wrapped(to, l.Foot, skillFoot+62, s)
	}
	return p
}

// wrapped writes a sentence in as many lines as it needs.
func wrapped(to surface, words string, y float64, s Size) {
	const letter = 7.9 // pixels of a usual one at this size
	fit := int((s.width - 16) / letter)
	line := ""
	for word := range strings.FieldsSeq(words) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > fit {
			to.text("small", 8, y, line)
			y, line = y+17, ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	to.text("small", 8, y, line)
}

// EnglishReliability are the words of the backtest's picture.
func EnglishReliability(title, event string) *SkillLabels {
	return &SkillLabels{Title: title, Line: "On the dashed line, what is said to happen 7 times in 10 happens 7 times in 10.",
		Axis: "how likely we said: " + event,
		Foot: "Dots: how often it happened, larger for more cases. Bars: where dots may fall by chance.",
		Bin: func(b verify.Bin) string {
			return fmt.Sprintf("said %.0f %%, happened %.0f %% of %d times", 100*b.MeanProbability, 100*b.Frequency, b.Count)
		}}
}

// EnglishVisits are the words of the backtest's picture, in litres.
func EnglishVisits(title string, visits []verify.SapVisit) *SkillLabels {
	inside := 0
	for _, v := range visits {
		if v.P10 <= v.ObservedL && v.ObservedL <= v.P90 {
			inside++
		}
	}
	return &SkillLabels{Title: title, Line: "Bar: four outcomes in five, and their middle. Dot: what was collected.",
		Axis: "date of the visit (month-day)", Unit: "L",
		Foot:   fmt.Sprintf("%d of %d visits fell within their bar; four in five should.", inside, len(visits)),
		Volume: func(l float64) float64 { return l },
		Visit: func(v verify.SapVisit) string {
			return fmt.Sprintf("%s: collected %.0f L, foretold %.0f L (%.0f to %.0f)", v.Date, v.ObservedL, v.P50, v.P10, v.P90)
		},
		Date: func(date string) string { return strings.TrimPrefix(date, date[:min(len("2013-"), len(date))]) }}
}
