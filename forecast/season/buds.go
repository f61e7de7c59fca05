package season

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

// Buds foretells when the leaf buds of one species open. It blends the
// candidates by how well each foretold years that it had not seen: with a
// handful of years no single one can be told from its neighbours, and the one
// that fits best is rarely the best on the next year.
type Buds struct {
	Species     string
	LatitudeDeg float64
	Years       []int // learnt from
	Counts      []LearnedCount
	MeanDOY     float64 // of the years learnt from

	plain LearnedCount // what anyone can count, to compare with
	// smallSample widens what few years teach: errors on the next year are larger
	// than those on years left out of so few.
	smallSample float64
}

// LearnedCount is one candidate, the level at which buds open by it, and its
// share in the blend.
type LearnedCount struct {
	Name, Family string
	Level        float64
	RMSEDays     float64 // on years left out in turn, all species of the file together
	FitDays      float64 // on the years it was fitted to: flatters
	Weight       float64

	count count
}

const (
	fewestBudYears = 3
	// budDatingDays is how well a mean date of a few trees watched every few
	// days is known; it keeps a lucky candidate from taking all the weight.
	budDatingDays = 1.0
)

// LearnBuds learns from the years in which species was seen and the weather of
// whose winter is known; other species of the list help to weigh the
// candidates. Gaps in the temperatures must have been filled; years with one
// left are passed over.
func LearnBuds(species string, seen []BudYear, d *weather.Daily, latitudeDeg float64) (*Buds, error) {
	species = strings.ToLower(strings.TrimSpace(species))
	winters := map[int]winter{}
	days := daysOfWinter(latitudeDeg)
	bySpecies := map[string][]BudYear{}
	for _, y := range seen {
		if math.IsNaN(y.LeafDOY) {
			continue
		}
		if _, known := winters[y.Year]; !known {
			winters[y.Year] = winterBefore(y.Year, d, days)
		}
		if winters[y.Year].reach >= shortestDays {
			bySpecies[y.Species] = append(bySpecies[y.Species], y)
		}
	}
	own := bySpecies[species]
	if len(own) < fewestBudYears {
		return nil, fmt.Errorf("%d years of %s have both a bud date and temperatures from November on, and at least %d are needed; give longer files, or check the spelling of the species",
			len(own), species, fewestBudYears)
	}
	b := &Buds{Species: species, LatitudeDeg: latitudeDeg, smallSample: smallSampleOf(len(own))}
	for _, y := range own {
		b.Years = append(b.Years, y.Year)
		b.MeanDOY += y.LeafDOY / float64(len(own))
	}

	b.plain.count = easedHeat(74, 0, 0) // from 15 March
	plain := map[int][]float64{}
	for year, w := range winters {
		plain[year] = b.plain.count.run(&w)
	}
	b.plain.Level = level(own, plain)

	total := 0.0
	candidates := counts()
	inFamily := map[string]float64{}
	for _, c := range candidates {
		inFamily[c.family]++
	}
	for _, c := range candidates {
		progress := map[int][]float64{}
		for year, w := range winters {
			progress[year] = c.run(&w)
		}
		l := LearnedCount{Name: c.name, Family: c.family, count: c, Level: level(own, progress)}
		if !(l.Level > 0) {
			continue
		}
		squares, n := 0.0, 0
		for _, s := range sortedSpecies(bySpecies) {
			years := bySpecies[s]
			if len(years) < fewestBudYears {
				continue
			}
			for i, y := range years {
				others := slices.Concat(years[:i], years[i+1:])
				miss := dayOf(progress[y.Year], level(others, progress)) - y.LeafDOY
				squares += miss * miss
				n++
			}
		}
		l.RMSEDays = math.Sqrt(squares / float64(n))
		for _, y := range own {
			miss := dayOf(progress[y.Year], l.Level) - y.LeafDOY
			l.FitDays += miss * miss / float64(len(own))
		}
		l.FitDays = math.Sqrt(l.FitDays)
		// A family's share does not grow with the steps it was cut into; within
		// and between them, the likelihood of that many years with such errors.
		l.Weight = 1 / inFamily[l.Family] * math.Pow(l.RMSEDays*l.RMSEDays+budDatingDays*budDatingDays, -float64(len(own))/2)
		total += l.Weight
		b.Counts = append(b.Counts, l)
	}
	if len(b.Counts) == 0 {
		return nil, errors.New("no candidate counts any heat before the buds opened; check the temperatures and the bud dates")
	}
	for i := range b.Counts {
		b.Counts[i].Weight /= total
	}
	return b, nil
}

func smallSampleOf(years int) float64 { return math.Sqrt(float64(years+1) / float64(years-1)) }

func sortedSpecies(by map[string][]BudYear) []string {
	var names []string
	for s := range by {
		names = append(names, s)
	}
	slices.Sort(names)
	return names
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
		p := progress[y.Year]
		whole, part := math.Modf(y.LeafDOY)
		i := min(int(whole)+firstOfYear-1, len(p)-1)
		next := min(i+1, len(p)-1)
		sum += p[i] + part*(p[next]-p[i])
	}
	return sum / float64(len(years))
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
// mixture of normal ones.
type Opening struct{ mean, sd, weight []float64 }

// Opening foretells the buds of one spring from courses that it may take, each
// a Daily that holds the days from 1 November before to the end of June; all
// are taken as equally likely.
func (b *Buds) Opening(year int, courses []weather.Daily) (Opening, error) {
	var o Opening
	days := daysOfWinter(b.LatitudeDeg)
	for i := range courses {
		w := winterBefore(year, &courses[i], days)
		if w.reach < shortestDays {
			return Opening{}, fmt.Errorf("the temperatures of the winter before the spring of %d end or have a gap after day %d of the year; they must run from 1 November to June", year, w.reach-firstOfYear)
		}
		for k := range b.Counts {
			l := &b.Counts[k]
			o.mean = append(o.mean, dayOf(l.count.run(&w), l.Level))
			o.sd = append(o.sd, b.smallSample*math.Hypot(l.RMSEDays, budDatingDays))
			o.weight = append(o.weight, l.Weight/float64(len(courses)))
		}
	}
	return o, nil
}

// BestFit is the one candidate that fits the years learnt from best, to compare
// with: it is rarely the best on another year.
func (b *Buds) BestFit() *Buds {
	best := *b
	k := 0
	for i := range b.Counts {
		if b.Counts[i].FitDays < b.Counts[k].FitDays {
			k = i
		}
	}
	best.Counts = []LearnedCount{b.Counts[k]}
	best.Counts[0].Weight = 1
	return &best
}

// PlainDOY is the day of the year that plain degree days above 0 °C from 15
// March foretell.
func (b *Buds) PlainDOY(year int, d *weather.Daily) float64 {
	w := winterBefore(year, d, daysOfWinter(b.LatitudeDeg))
	return dayOf(b.plain.count.run(&w), b.plain.Level)
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
func (o Opening) Mean() float64 {
	sum := 0.0
	for i, m := range o.mean {
		sum += o.weight[i] * m
	}
	return sum
}

// Quantile is the day of the year before which the buds open with probability
// p.
func (o Opening) Quantile(p float64) float64 {
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
func (o Opening) CDF(doy float64) float64 {
	sum := 0.0
	for i := range o.mean {
		sum += o.weight[i] * distuv.Normal{Mu: o.mean[i], Sigma: o.sd[i]}.CDF(doy)
	}
	return sum
}
