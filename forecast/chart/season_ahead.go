package chart

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// SeasonView is a season as it came and may come, beside others of the place.
type SeasonView struct {
	Year   int
	Season *forecast.Season // of which there is sap
	Others []SeasonLine
	Heats  []HeatLine
}

// HeatLine is the warmth of one other spring at the end of each day from 1 February.
type HeatLine struct {
	Year int
	Sums []float64
}

// SeasonWords are the words of its picture, in the reader's units.
type SeasonWords struct {
	Sap, Today, Good, GoodEnds, Off, OffFrom, Buds, BudsOpen, Heat, HeatNow, Turns string
	HeatFactor                                                                     float64 // of kelvin days
	Gave                                                                           func(year int, litres float64) string
}

// SeasonStyle gives the marks of its picture their look, beside Style.
const SeasonStyle = `
svg.picture{--fan:#d5e7e2;--mid:#5e9c92;--ember:#a32f0c;--straw:#f6e3b0;--tag:#fff}
@media (prefers-color-scheme:dark){svg.picture{--fan:#1e3a35;--mid:#3e8f82;--ember:#ff9b6e;--straw:#7a5f1e;--tag:#14201c}}
@media print{svg.picture{--fan:#dadada;--mid:#8a8a8a;--ember:#000;--straw:#f4f4f4;--tag:#fff}}
svg.picture .came{fill:var(--told)}svg.picture .likely{fill:var(--mid)}svg.picture .turning{fill:var(--ember)}svg.picture .bud{fill:var(--ink)}
svg.picture .box{fill:var(--paper);stroke:var(--ink);stroke-width:2}
svg.picture .fade{fill:var(--fan)}svg.picture .rim{stroke:var(--told);stroke-width:1;fill:none}
svg.picture .heat{fill:var(--straw);stroke:var(--ink);stroke-width:1}svg.picture .warm{stroke:var(--ink);stroke-width:3;fill:none}
svg.picture .level{stroke:var(--ink);stroke-width:1.5;stroke-dasharray:3 4;fill:none}
svg.picture .year1{stroke:var(--other);stroke-width:1.5;fill:none}svg.picture .year2{stroke:var(--other);stroke-width:1.5;stroke-dasharray:8 4;fill:none}svg.picture .year3{stroke:var(--other);stroke-width:1.5;stroke-dasharray:2 4;fill:none}
svg.picture .nowline{stroke:var(--ember);stroke-width:3;fill:none}svg.picture .nowtag{fill:var(--ember)}svg.picture text.ontag{fill:var(--tag);stroke:none;font-weight:700}
svg.picture text.strong{font-weight:700}
`

// The parts of the picture from above, CSS pixels.
const (
	aheadTop, aheadFoot   = 62, 322
	barsFrom, barRow      = 384, 66
	barHeight             = 24
	heatTop, heatFoot     = 596, 700
	aheadHeight           = 728
	mostOtherYears        = 3
	lastStep              = 119 // 31 May
	aheadNameDesk         = 205
	aheadNamePhone        = 44
	thinnest              = 0.04
	heatPicture, barCount = 1.25, 3
)

// aheadScene is what the parts of the picture share.
type aheadScene struct {
	v     *SeasonView
	w     *SeasonWords
	l     *Labels
	s     Size
	x     scale
	first int // step of the sap's first day
}

func stepOf(date string) int {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return 0
	}
	return seasonStep(t)
}

// SeasonAhead draws the sap of a season so far and to come beside other years, how long it
// is likely good, buds, and the heat sum beside other springs. What is to come fades where
// its end is not known.
func SeasonAhead(v *SeasonView, w *SeasonWords, l *Labels, s Size) Picture {
	from, to := v.span()
	sap := v.Season.Sap
	a := &aheadScene{v: v, w: w, l: l, s: s, first: stepOf(sap.From)}
	today := a.first + sap.Today
	left, right := 58.0, s.width-aheadNameDesk
	if s.narrow {
		left, right = 54, s.width-aheadNamePhone // for five figures
	}
	a.x = scale{float64(from), float64(to), left, right}
	p := Picture{width: s.width, height: aheadHeight, title: l.Title, description: w.Gave(v.Year, sap.TotalL.P50) + "; " + w.GoodEnds +
		"; " + w.HeatNow}
	p.frame = frame{left, right, aheadTop, aheadFoot, to - from, min(max(today-from, 0), to-from-1)}
	p.draw = func(to surface) {
		at := a.x.at(float64(today))
		to.line("nowline", at, aheadTop-18, at, heatFoot) // beneath words, so that it strikes none through
		a.sums(to)
		a.bars(to)
		a.heat(to)
		wide := 12 + 8*float64(len([]rune(w.Today)))
		to.rect("nowtag", at-wide/2, aheadTop-30, wide, 22)
		to.text("mid ontag", at, aheadTop-14, w.Today)
	}
	return p
}

// span is the first step that is shown and the one after the last.
func (v *SeasonView) span() (from, to int) {
	first := stepOf(v.Season.Sap.From)
	today := first + v.Season.Sap.Today
	from, to = max(min(first, today-7), 0), max(stepOf(v.Season.End.P90), stepOf(v.Season.LastRun.P50), today+14)+4
	for _, o := range v.Others {
		from = min(from, max(runsFrom(o), 0))
	}
	if b := v.Season.Buds; b != nil {
		to = max(to, stepOf(b.P90)+2)
	}
	return from, min(to, lastStep)
}

// runsFrom is the step on which the first fiftieth of a season's sap had come.
func runsFrom(line SeasonLine) int {
	most := 0.0
	for _, d := range line.Days {
		if !math.IsNaN(d.SumL) {
			most = max(most, d.SumL)
		}
	}
	for _, d := range line.Days {
		if d.SumL > most/50 {
			return seasonStep(d.Date) - 3
		}
	}
	return lastStep
}

func (a *aheadScene) sums(to surface) {
	sap := a.v.Season.Sap
	most := a.l.volume(sap.TotalL.P90)
	others := a.v.Others[:min(len(a.v.Others), mostOtherYears)]
	for _, o := range others {
		for _, d := range o.Days {
			if !math.IsNaN(d.SumL) {
				most = max(most, a.l.volume(d.SumL))
			}
		}
	}
	y := scale{0, max(most, 1) * 1.02, aheadFoot, aheadTop}
	to.text("strong", 4, 20, a.w.Sap)
	left, right := a.x.pixelFrom, a.x.pixelTo
	for _, v := range y.ticks(a.s.fewer(7)) {
		to.line("grid", left, y.at(v), right, y.at(v))
		to.text("small end", left-6, y.at(v)+5, a.l.number(fmt.Sprintf("%g", v)))
	}
	for month := time.February; month <= time.May; month++ {
		first := time.Date(2026, month, 1, 0, 0, 0, 0, time.UTC)
		at := a.x.at(float64(seasonStep(first)))
		if at < left-1 || at > right {
			continue
		}
		to.line("grid", at, aheadTop, at, heatFoot)
		to.text("small", at+3, aheadFoot+18, a.l.Date(first))
	}
	to.line("axis", left, aheadFoot, right, aheadFoot)
	a.fan(to, y)
	var ends []lineEnd
	for i, o := range others {
		var points []point
		last := 0.0
		for _, d := range o.Days {
			if step := seasonStep(d.Date); !math.IsNaN(d.SumL) && float64(step) >= a.x.from && float64(step) < a.x.to {
				points, last = append(points, point{a.x.at(float64(step) + 1), y.at(a.l.volume(d.SumL))}), d.SumL
			}
		}
		to.shape(fmt.Sprintf("year%d", i+1), points, false)
		if n := len(points); n > 0 {
			name := fmt.Sprint(o.Year)
			if !a.s.narrow {
				name = a.w.Gave(o.Year, last)
			}
			ends = append(ends, lineEnd{x: right, y: points[n-1].y, name: name})
		}
	}
	ends = append(ends, a.thisYear(to, y))
	nameEnds(to, ends)
}

// shown is how many days of the season are drawn.
func (a *aheadScene) shown() int {
	sap := a.v.Season.Sap
	n := len(sap.Good)
	for n > sap.Today+1 && (sap.Good[n-1] < thinnest || float64(a.first+n) > a.x.to) {
		n--
	}
	return n
}

// points are the ends of days of the season.
func (a *aheadScene) points(sums []float64, y scale, from, to int) (out []point) {
	for d := from; d < to; d++ {
		out = append(out, point{a.x.at(float64(a.first + d + 1)), y.at(a.l.volume(sums[d]))})
	}
	return out
}

// fan draws the range of this year's sap: a band that thins out as the season may end.
func (a *aheadScene) fan(to surface, y scale) {
	sap, shown := a.v.Season.Sap, a.shown()
	low, high := a.points(sap.Days.P10, y, 0, shown), a.points(sap.Days.P90, y, 0, shown)
	sure := 1
	for sure < len(low) && (sure <= sap.Today || sap.Good[sure] >= solid) {
		sure++
	}
	to.shape("fade", append(slices.Clone(high[:sure]), reversed(low[:sure])...), true)
	for d := sure; d < len(low); d++ {
		middle, half := (low[d-1].x+low[d].x)/2, sap.Good[d]*(low[d].x-low[d-1].x)/2
		top, foot := (high[d-1].y+high[d].y)/2, (low[d-1].y+low[d].y)/2
		to.rect("fade", middle-half, top, 2*half, foot-top)
	}
	to.shape("rim", low, false)
	to.shape("rim", high, false)
}

// thisYear draws this year's sap: solid as it came, dashed as it is likely to come.
func (a *aheadScene) thisYear(to surface, y scale) lineEnd {
	sap, shown := a.v.Season.Sap, a.shown()
	now := point{a.x.at(float64(a.first + sap.Today)), y.at(a.l.volume(sap.SoFarL.P50))}
	to.shape("bold", append(a.points(sap.Days.P50, y, 0, max(sap.Today-1, 0)), now), false)
	middle := append([]point{now}, a.points(sap.Days.P50, y, sap.Today, shown)...)
	to.shape("ahead", middle, false)
	name := fmt.Sprint(a.v.Year)
	if !a.s.narrow {
		name = a.w.Gave(a.v.Year, sap.TotalL.P50)
	}
	return lineEnd{x: a.x.pixelTo, y: middle[len(middle)-1].y, name: name, class: "strong"}
}

// solid is how likely sap is good on days whose band does not thin out.
const solid = 0.95

func reversed(points []point) []point {
	out := slices.Clone(points)
	slices.Reverse(out)
	return out
}

// bars are until when sap is good, from when it may taste off, and when buds open.
func (a *aheadScene) bars(to surface) {
	sap := a.v.Season.Sap
	row := func(n int) float64 { return barsFrom + float64(n*barRow) }
	name := func(n int, name, said string) {
		to.text("strong", 4, row(n)-6, name)
		if a.s.narrow {
			to.text("end", a.s.width-4, row(n)+barHeight+16, said)
			return
		}
		to.text("", a.x.pixelTo+6, row(n)+17, said)
	}
	name(0, a.w.Good, a.w.GoodEnds)
	name(1, a.w.Off, a.w.OffFrom)
	day := a.x.at(1) - a.x.at(0)
	piece := func(class string, n, d int, share float64) {
		step := float64(a.first + d)
		if share < thinnest || step < a.x.from || step >= a.x.to {
			return
		}
		to.rect(class, a.x.at(step)+day*(1-share)/2, row(n), day*share, barHeight)
	}
	whole := func(class string, from, until int) {
		if left, right := a.x.at(max(float64(a.first+from), a.x.from)), a.x.at(min(float64(a.first+until), a.x.to)); right > left {
			to.rect(class, left, row(0), right-left, barHeight)
		}
	}
	sure := sap.Today
	for sure < len(sap.Good) && sap.Good[sure] >= solid {
		sure++
	}
	whole("came", 0, sap.Today)
	whole("likely", sap.Today, sure)
	for d := sap.Today; d < len(sap.Good); d++ {
		if d >= sure {
			piece("likely", 0, d, sap.Good[d])
		}
		piece("turning", 1, d, 1-sap.Good[d])
	}
	if b := a.v.Season.Buds; b != nil {
		name(2, a.w.Buds, a.w.BudsOpen)
		from, end := float64(stepOf(b.P10)), min(float64(stepOf(b.P90)), a.x.to)
		if from < end {
			to.rect("box", a.x.at(from), row(2), a.x.at(end)-a.x.at(from), barHeight)
		}
	}
}

// heat is the warmth of this spring beside others, and where seasons here ended.
func (a *aheadScene) heat(to surface) {
	w := a.v.Season.Warmth
	to.text("strong", 4, heatTop-14, a.w.Heat)
	if w == nil {
		return
	}
	y := scale{0, heatPicture * w.TurnsAt.P90, heatFoot, heatTop}
	first := stepOf(w.From)
	points := func(sums []float64, from int) (out []point) {
		for d := from; d < len(sums); d++ {
			if step := float64(first + d + 1); step >= a.x.from && step <= a.x.to {
				out = append(out, point{a.x.at(step), y.at(min(sums[d], y.to))})
			}
			if sums[d] > y.to {
				break
			}
		}
		return out
	}
	to.line("axis", a.x.pixelFrom, heatFoot, a.x.pixelTo, heatFoot)
	fast, slow := points(w.Days.P90, w.Today), points(w.Days.P10, w.Today)
	if len(fast) > 0 && len(slow) > 0 {
		to.shape("heat", append(fast, reversed(slow)...), true)
	}
	for i, h := range a.v.Heats[:min(len(a.v.Heats), mostOtherYears)] {
		to.shape(fmt.Sprintf("year%d", i+1), points(h.Sums, 0), false)
	}
	to.shape("warm", points(w.Days.P50[:min(w.Today, len(w.Days.P50))], 0), false)
	to.line("level", a.x.pixelFrom, y.at(w.TurnsAt.P50), a.x.pixelTo, y.at(w.TurnsAt.P50))
	if a.s.narrow { // above the line it would lie under where seasons ended
		to.text("end", a.s.width-4, heatFoot+18, a.w.Turns)
	} else {
		to.text("", a.x.pixelTo+6, y.at(w.TurnsAt.P50)+5, a.w.Turns)
	}
	for _, e := range w.Ended {
		if step := float64(stepOf(e.On) + 1); step >= a.x.from && step <= a.x.to && e.Warmth <= y.to {
			to.dot("seen", a.x.at(step), y.at(e.Warmth), 5, e.On)
		}
	}
	const room = 100                         // for the words left of today
	says := max(y.at(w.SoFar)-12, heatTop+8) // below the name of the picture
	switch now := a.x.at(float64(first + w.Today)); {
	case now < a.x.pixelFrom || w.SoFar < 1: // there is none to speak of
	case now < room:
		to.text("strong", now+8, says, a.w.HeatNow)
	default:
		to.text("strong end", now-8, says, a.w.HeatNow)
	}
}

// SeasonAheadRows are the figures of SeasonAhead: a row a day, with the sum of this year
// and its range, how likely sap is good, the heat sum, and other years.
func SeasonAheadRows(v *SeasonView, w *SeasonWords, l *Labels, heads []string) [][]string {
	head := slices.Clone(heads)
	others := make([]map[int]float64, len(v.Others))
	for k, o := range v.Others {
		head, others[k] = append(head, fmt.Sprint(o.Year)), map[int]float64{}
		for _, d := range o.Days {
			others[k][seasonStep(d.Date)] = d.SumL
		}
	}
	sap, warmth := v.Season.Sap, v.Season.Warmth
	rows := [][]string{head}
	first := stepOf(sap.From)
	for from, to := v.span(); from < to; from++ {
		row := []string{l.Date(time.Date(v.Year, time.February, 1+from, 0, 0, 0, 0, time.UTC)), "", "", "", "", ""}
		if d := from - first; d >= 0 && d < len(sap.Good) {
			row[1], row[2], row[3], row[4] = l.said(sap.Days.P50[d]), l.said(sap.Days.P10[d]), l.said(sap.Days.P90[d]),
				units.Chance(sap.Good[d])
		}
		if warmth != nil {
			if i := from - stepOf(warmth.From); i >= 0 && i < len(warmth.Days.P50) {
				row[5] = fmt.Sprintf("%.0f", w.HeatFactor*warmth.Days.P50[i])
			}
		}
		for k := range others {
			said := ""
			if sum, known := others[k][from]; known && !math.IsNaN(sum) {
				said = l.said(sum)
			}
			row = append(row, said)
		}
		rows = append(rows, row)
	}
	return rows
}
