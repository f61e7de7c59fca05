package season

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

// Buds predicts when the leaf buds of one species open: once warmth, which counts for
// more as the days grow longer, has reached the level of the place.
type Buds struct {
	Species     string
	LatitudeDeg float64
	Level       float64 // of budCount on the day on which they open
	Years       []int   // learnt from; none where the level is the species' usual one
	MeanDOY     float64 // of the years learnt from
	PlainLevel  float64 // of plain degree days above 0 °C from 15 March, to compare with

	levelLogSD float64 // of what is believed of the place's level
	yearSDDays float64 // of a spring at one place
}

// The one way to count that is kept: forcing weighted by a power of the day's length
// (photothermal units are published with 5, 7 and 9; between 5 and 6 all errors are within
// a tenth of a day). With years left out it errs by 3.1 days at Harvard Forest (1990 to
// 1996), 1.8 at Hubbard Brook (the mean of eight plots, 1989 to 2002) and 3.9 at 25 sites
// of cameras with four springs or more; the blend of all published ways by 3.2, 2.0 and
// 4.7, plain degree days from 15 March by 3.9, 2.0 and 5.1, the mean date by 5.5, 6.6 and
// 7.3 (verify.TestBudsEarnTheirPlace, TestBudsAtHubbardBrook, TestBudSkill).
const budDayPower = 5.5

func budCount() count { return daylight(budDayPower) }

// plainCount is what anyone can count: degree days above 0 °C from 15 March.
func plainCount() count { return easedHeat(74, 0, 0) }

const (
	fewestBudYears = 3
	// Springs of one place stray by so much from what its level says (cameras: 3.7 days,
	// Harvard Forest 2.9, plots of Hubbard Brook 3.1), by so much in the log of the level,
	// and places from each other by twice that (36 sites of cameras by the air of a grid).
	budYearSDDays = 3.3
	budYearLogSD  = 0.15
	budPlaceLogSD = 0.3
	budYearWeight = 4.0 // springs, of which the error of a usual place counts
)

// springsSeen are the years of which the buds of a species, and of the others of a list,
// were seen, and the winters before them that are known until June.
func springsSeen(species string, seen []BudYear, d *weather.Daily, latitudeDeg float64) (own []BudYear, bySpecies map[string][]BudYear,
	winters map[int]winter, err error) {
	species = strings.ToLower(strings.TrimSpace(species))
	winters, bySpecies = map[int]winter{}, map[string][]BudYear{}
	days := daysOfWinter(latitudeDeg)
	for _, y := range seen {
		if math.IsNaN(y.LeafDOY) {
			continue
		}
		if _, known := winters[y.Year]; !known {
			winters[y.Year] = winterBefore(y.Year, d, days)
		}
		if w := winters[y.Year]; w.reach >= shortestDays {
			bySpecies[y.Species] = append(bySpecies[y.Species], y)
		}
	}
	if own = bySpecies[species]; len(own) < fewestBudYears {
		return nil, nil, nil, fmt.Errorf(
			"%d years of %s have both a bud date and temperatures from November on, and at least %d are needed; give longer files, or check the spelling of the species",
			len(own), species, fewestBudYears)
	}
	return own, bySpecies, winters, nil
}

// LearnBuds learns from the years in which species was seen and the weather of
// whose winter is known. Gaps in the temperatures must have been filled; years with one
// left are passed over.
func LearnBuds(species string, seen []BudYear, d *weather.Daily, latitudeDeg float64) (*Buds, error) {
	own, _, winters, err := springsSeen(species, seen, d, latitudeDeg)
	if err != nil {
		return nil, err
	}
	n := float64(len(own))
	b := &Buds{Species: own[0].Species, LatitudeDeg: latitudeDeg}
	progress, plain := map[int][]float64{}, map[int][]float64{}
	way, simple := budCount(), plainCount()
	for _, y := range own {
		b.Years = append(b.Years, y.Year)
		b.MeanDOY += y.LeafDOY / n
		w := winters[y.Year]
		progress[y.Year], plain[y.Year] = way.run(&w), simple.run(&w)
	}
	b.Level, b.PlainLevel = level(own, progress), level(own, plain)
	squares := 0.0
	for i, y := range own {
		miss := dayOf(progress[y.Year], level(slices.Concat(own[:i], own[i+1:]), progress)) - y.LeafDOY
		squares += miss * miss
	}
	b.yearSDDays = math.Sqrt((squares + budYearWeight*budYearSDDays*budYearSDDays) / (n + budYearWeight))
	b.levelLogSD = budYearLogSD / math.Sqrt(n)
	return b, nil
}

// Noted is the level at which buds of the place opened on a day of a spring; ok is false
// where too little of the spring is known.
func (b *Buds) Noted(opened time.Time, s *Spring, elevationM float64) (level float64, ok bool) {
	if !s.knownFromMarch(opened.Year()) {
		return 0, false
	}
	usual := usualDays(opened, b.LatitudeDeg, elevationM)
	d := s.course(opened, 0, 1, nil, &usual)
	w, way := winterBefore(opened.Year(), &d, daysOfWinter(b.LatitudeDeg)), budCount()
	level = at(way.run(&w), float64(opened.YearDay()))
	return level, level > 0
}

// Learn takes in the levels at which buds of the place opened in springs. One spring moves
// the level four fifths of the way, since springs stray less from each other than places.
func (b *Buds) Learn(levels []float64) {
	for _, level := range levels {
		place, year := b.levelLogSD*b.levelLogSD, budYearLogSD*budYearLogSD
		b.Level *= math.Exp(place / (place + year) * math.Log(level/b.Level))
		b.levelLogSD = math.Sqrt(place * year / (place + year))
	}
}

func (c *count) run(w *winter) []float64 {
	out := make([]float64, w.reach)
	c.progress(w, out)
	return out
}

// level is the mean progress on the days on which buds opened.
func level(years []BudYear, progress map[int][]float64) float64 {
	sum := 0.0
	for _, y := range years {
		sum += at(progress[y.Year], y.LeafDOY)
	}
	return sum / float64(len(years))
}

// at is the progress on a day of the year, with a fraction.
func at(progress []float64, doy float64) float64 {
	whole, part := math.Modf(doy)
	i := min(int(whole)+firstOfYear-1, len(progress)-1)
	next := min(i+1, len(progress)-1)
	return progress[i] + part*(progress[next]-progress[i])
}

// dayOf is the day of the year on which progress reaches a level, with a
// fraction; the last day where it never does.
func dayOf(progress []float64, level float64) float64 {
	before := 0.0
	for i, p := range progress {
		if p >= level {
			part := 1.0
			if p > before {
				part = (level - before) / (p - before)
			}
			return float64(i-firstOfYear) + part
		}
		before = p
	}
	return float64(len(progress) - firstOfYear)
}

// Opening is a distribution of the day of the year on which buds open: a
// mixture of normal ones, equally likely.
type Opening struct{ mean, sd []float64 }

// Opening predicts the buds of one spring from courses that it may take, each
// a Daily that holds the days from 1 November before to the end of June; all
// are taken as equally likely.
func (b *Buds) Opening(year int, courses []weather.Daily) (Opening, error) {
	var o Opening
	days, way := daysOfWinter(b.LatitudeDeg), budCount()
	for i := range courses {
		w := winterBefore(year, &courses[i], days)
		if w.reach < shortestDays {
			return Opening{}, fmt.Errorf(
				"the temperatures of the winter before the spring of %d end or have a gap after day %d of the year; they must run from 1 November to June", year, w.reach-firstOfYear)
		}
		progress := way.run(&w)
		early, late := dayOf(progress, b.Level*math.Exp(-b.levelLogSD)), dayOf(progress, b.Level*math.Exp(b.levelLogSD))
		o.mean = append(o.mean, dayOf(progress, b.Level))
		o.sd = append(o.sd, math.Hypot(b.yearSDDays, (late-early)/2))
	}
	return o, nil
}

// PlainDOY is the day of the year that plain degree days above 0 °C from 15
// March predict.
func (b *Buds) PlainDOY(year int, d *weather.Daily) float64 {
	w, simple := winterBefore(year, d, daysOfWinter(b.LatitudeDeg)), plainCount()
	return dayOf(simple.run(&w), b.PlainLevel)
}

// Courses are the temperatures until a day, followed in turn by those of each
// year learnt from but its own.
func (b *Buds) Courses(d *weather.Daily, until time.Time) []weather.Daily {
	var courses []weather.Daily
	for _, year := range b.Years {
		if year != until.Year() {
			courses = append(courses, d.ThenAsIn(year, until))
		}
	}
	return courses
}

// Mean is the expected day of the year.
func (o *Opening) Mean() float64 {
	sum := 0.0
	for _, m := range o.mean {
		sum += m / float64(len(o.mean))
	}
	return sum
}

// Quantile is the day of the year before which the buds open with probability
// p.
func (o *Opening) Quantile(p float64) float64 {
	low, high := -60.0, 300.0
	for high-low > 0.01 {
		mid := (low + high) / 2
		if o.CDF(mid) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// CDF is the probability that the buds have opened by a day of the year.
func (o *Opening) CDF(doy float64) float64 {
	sum := 0.0
	for i, m := range o.mean {
		sum += distuv.UnitNormal.CDF((doy-m)/o.sd[i]) / float64(len(o.mean))
	}
	return sum
}

// Later is the opening of buds that open so many days after these, known less well by so
// many days.
func (o Opening) Later(days, sdDays float64) Opening {
	out := Opening{}
	for i := range o.mean {
		out.mean, out.sd = append(out.mean, o.mean[i]+days), append(out.sd, math.Hypot(o.sd[i], sdDays))
	}
	return out
}

// sugarMapleLevel is the level at which leaf buds of sugar maple opened at Harvard Forest,
// central Massachusetts (42.53° N, 340 m), 1990 to 1996: LearnBuds on bud dates HF003
// (O'Keefe) and temperatures HF000 (Boose and Gould).
const sugarMapleLevel = 313.1

// What people can count by themselves: buds opened at BudSum degree days above
// SumBaseC from 1 March on at Harvard Forest.
const (
	SumBaseC = 4.0
	BudSum   = 176.0
	sumFrom  = 60
)

// SugarMaple is what is known of sugar maple at a latitude, at a place of which no bud was
// ever noted.
func SugarMaple(latitudeDeg float64) *Buds {
	return &Buds{Species: "sugar maple", LatitudeDeg: latitudeDeg, Level: sugarMapleLevel, levelLogSD: budPlaceLogSD,
		yearSDDays: budYearSDDays}
}
