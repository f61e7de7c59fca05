package season

import (
	"errors"
	"math"
	"slices"

	"thawline/forecast/weather"
)

// Blend predicts when the leaf buds of one species open by many published ways to count,
// each weighed by how well it predicted years that it had not seen. It is what Buds is
// compared with: on no set of springs at hand has it been closer.
type Blend struct {
	Counts      []LearnedCount
	latitudeDeg float64
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

// budDatingDays is how well a mean date of a few trees watched every few
// days is known; it keeps a lucky candidate from taking all the weight.
const budDatingDays = 1.0

// LearnBlend is LearnBuds for the blend; other species of the list help to weigh the
// candidates.
func LearnBlend(species string, seen []BudYear, d *weather.Daily, latitudeDeg float64) (*Blend, error) {
	own, bySpecies, winters, err := springsSeen(species, seen, d, latitudeDeg)
	if err != nil {
		return nil, err
	}
	b := &Blend{latitudeDeg: latitudeDeg}
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

func sortedSpecies(by map[string][]BudYear) []string {
	var names []string
	for s := range by {
		names = append(names, s)
	}
	slices.Sort(names)
	return names
}

// DOY is the day of the year that the blend predicts for a spring whose temperatures are
// known.
func (b *Blend) DOY(year int, d *weather.Daily) float64 {
	w := winterBefore(year, d, daysOfWinter(b.latitudeDeg))
	doy := 0.0
	for i := range b.Counts {
		doy += b.Counts[i].Weight * dayOf(b.Counts[i].count.run(&w), b.Counts[i].Level)
	}
	return doy
}

// BestFit is the one candidate that fits the years learnt from best: it is rarely the best
// on another year.
func (b *Blend) BestFit() *Blend {
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
