package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// SeasonLine is what one season gave up to each day.
type SeasonLine struct {
	Year  int
	Days  []SeasonDay // in order
	Bold  bool        // the season that is looked at
	Ahead int         // days from this one on are still to come; len(Days) for none
}

// SeasonDay is a day and the litres up to its end; NaN where they are not known.
type SeasonDay struct {
	Date time.Time
	SumL float64
}

const (
	seasonHeight, seasonTop, seasonFoot = 420, 64, 372
	seasonRight                         = 48
)

// seasonStep is the day of a season that a date falls on, counted from 1
// February.
func seasonStep(t time.Time) int {
	first := time.Date(t.Year(), time.February, 1, 0, 0, 0, 0, time.UTC)
	return int(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Sub(first).Hours() / 24)
}

// seasonSteps are 1 February to 15 May: sap outside of it is seldom made into
// syrup (common practice).
const seasonSteps = 104

// SeasonSum draws the sap of a season as it adds up, beside other seasons.
func SeasonSum(lines []SeasonLine, l *Labels, s Size) Picture {
	left := 58.0
	if s.narrow {
		left = 44
	}
	right := s.width - seasonRight
	most := 1.0
	for _, line := range lines {
		for _, d := range line.Days {
			if !math.IsNaN(d.SumL) {
				most = max(most, l.volume(d.SumL))
			}
		}
	}
	x, y := scale{0, seasonSteps, left, right}, scale{0, most, seasonFoot, seasonTop}
	p := Picture{width: s.width, height: seasonHeight, title: l.Title, frame: frame{left, right, seasonTop, seasonFoot, seasonSteps, 0}}
	var told []string
	for _, line := range lines {
		for _, d := range slices.Backward(line.Days) {
			if !math.IsNaN(d.SumL) { // the last that is known
				told = append(told, fmt.Sprintf("%d: %s", line.Year, l.said(d.SumL)))
				break
			}
		}
		if line.Bold && line.Ahead > 0 && line.Ahead <= len(line.Days) {
			p.frame.now = min(max(seasonStep(line.Days[line.Ahead-1].Date), 0), seasonSteps-1)
		}
	}
	p.description = strings.Join(told, "; ")
	p.draw = func(to surface) {
		to.text("head", 8, 22, l.Title)
		to.text("small", 8, seasonTop-10, l.DayFlow)
		for _, v := range y.ticks(s.fewer(6)) {
			to.line("grid", left, y.at(v), right, y.at(v))
			to.text("small end", left-6, y.at(v)+4, l.number(fmt.Sprintf("%g", v)))
		}
		for month := time.February; month <= time.May; month++ {
			first := time.Date(2026, month, 1, 0, 0, 0, 0, time.UTC)
			at := x.at(float64(seasonStep(first)))
			to.line("grid", at, seasonTop, at, seasonFoot)
			to.text("small", at+3, seasonFoot+18, l.Date(first))
		}
		to.line("axis", left, seasonFoot, right, seasonFoot)
		ends := drawSeasons(to, lines, x, y, l)
		nameEnds(to, ends)
	}
	return p
}

type lineEnd struct {
	x, y  float64
	name  string
	class string // "" for small
}

func drawSeasons(to surface, lines []SeasonLine, x, y scale, l *Labels) []lineEnd {
	var ends []lineEnd
	ordered := slices.Clone(lines)
	slices.SortStableFunc(ordered, func(a, b SeasonLine) int { // the bold one lies on top
		return map[bool]int{false: 0, true: 1}[a.Bold] - map[bool]int{false: 0, true: 1}[b.Bold]
	})
	for _, one := range ordered {
		class := "other"
		if one.Bold {
			class = "bold"
		}
		var points, ahead []point
		for i, d := range one.Days {
			step := seasonStep(d.Date)
			if math.IsNaN(d.SumL) || step < 0 || step >= seasonSteps {
				continue
			}
			at := point{x.at(float64(step) + 0.5), y.at(l.volume(d.SumL))}
			if i >= one.Ahead {
				if len(ahead) == 0 && len(points) > 0 {
					ahead = append(ahead, points[len(points)-1])
				}
				ahead = append(ahead, at)
				continue
			}
			points = append(points, at)
		}
		to.shape(class, points, false)
		to.shape("ahead", ahead, false)
		if all := append(points, ahead...); len(all) > 0 {
			last := all[len(all)-1]
			ends = append(ends, lineEnd{x: last.x, y: last.y, name: fmt.Sprint(one.Year)})
		}
	}
	return ends
}

// nameEnds writes the years beside the ends of their lines, none over another.
func nameEnds(to surface, ends []lineEnd) {
	slices.SortFunc(ends, func(a, b lineEnd) int { return int(math.Round(a.y - b.y)) })
	for i := range ends {
		for j := range i {
			if math.Abs(ends[j].x-ends[i].x) < 40 && ends[i].y < ends[j].y+15 {
				ends[i].y = ends[j].y + 15
			}
		}
		to.text(cmp.Or(ends[i].class, "small"), ends[i].x+4, ends[i].y+4, ends[i].name)
	}
}

// SeasonRows are the figures of SeasonSum: a row for each of its days, a column
// for each year.
func SeasonRows(lines []SeasonLine, l *Labels) [][]string {
	head := []string{l.When}
	values := make([]map[int]float64, len(lines))
	for k, line := range lines {
		head = append(head, fmt.Sprint(line.Year))
		values[k] = map[int]float64{}
		for _, d := range line.Days {
			values[k][seasonStep(d.Date)] = d.SumL
		}
	}
	rows := [][]string{head}
	for step := range seasonSteps {
		row := []string{l.Date(time.Date(2026, time.February, 1+step, 0, 0, 0, 0, time.UTC))}
		for k := range lines {
			v, known := values[k][step]
			if !known || math.IsNaN(v) {
				row = append(row, "")
				continue
			}
			row = append(row, l.said(v))
		}
		rows = append(rows, row)
	}
	return rows
}
