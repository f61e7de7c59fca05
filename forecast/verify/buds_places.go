package verify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// BudPlace is one place with the days on which buds opened there.
type BudPlace struct {
	Name        string
	LatitudeDeg float64
	Days        *weather.Daily
	Seen        []season.BudYear
}

// BudPlacesResult is how well buds are predicted at places and in years that nothing was
// learnt from, the temperatures known.
type BudPlacesResult struct {
	Places   int         `json:"places"`
	Springs  int         `json:"springs"`
	OwnYears BudOwnYears `json:"own_years"`
	// At a place that nothing was learnt of, and once one of its springs was noted.
	Unknown BudElsewhere `json:"unknown_place"`
	Noted   BudElsewhere `json:"one_year_noted"`
	Notes   []string     `json:"notes"`
}

// BudOwnYears are errors of years predicted from the other years of the same place, of
// places with four or more.
type BudOwnYears struct {
	Places       int     `json:"places"`
	Springs      int     `json:"springs"`
	RMSEDays     float64 `json:"rmse_days"`
	BlendDays    float64 `json:"blend_rmse_days"`
	PlainDays    float64 `json:"plain_rmse_days"`
	MeanDateDays float64 `json:"climatology_rmse_days"`
	Worse        int     `json:"places_worse_than_mean_date"`
	BlendWorse   int     `json:"places_blend_worse_than_mean_date"`
}

// BudElsewhere are errors at places left out, over all springs and of the middle place.
type BudElsewhere struct {
	RMSEDays   float64 `json:"rmse_days"`
	MedianDays float64 `json:"median_of_places_rmse_days"`
}

const fewestOwnYears = 4

// BacktestBudPlaces leaves out years of places, then places. A spring without its weather
// from November to May is passed over.
func BacktestBudPlaces(ctx context.Context, places []BudPlace, progress func(done, of int)) (BudPlacesResult, error) {
	r := BudPlacesResult{Notes: []string{}}
	known := make([]budPlace, 0, len(places))
	for i := range places {
		p, filled := asBudPlace(&places[i])
		if filled > 0 {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %d days made up from other years", p.Name, filled))
		}
		if len(p.Seen) > 0 {
			known = append(known, p)
			r.Springs += len(p.Seen)
		}
	}
	if r.Places = len(known); r.Places < 3 {
		return r, fmt.Errorf("%d places have a bud date and temperatures from November to June, and at least 3 are needed", r.Places)
	}
	for i := range known {
		if err := ctx.Err(); err != nil {
			return r, fmt.Errorf("stopped after %d of %d places: %w", i, len(known), err)
		}
		if progress != nil {
			progress(i, len(known))
		}
		if err := r.OwnYears.add(&known[i]); err != nil {
			return r, err
		}
	}
	for _, d := range []*float64{&r.OwnYears.RMSEDays, &r.OwnYears.BlendDays, &r.OwnYears.PlainDays, &r.OwnYears.MeanDateDays} {
		*d = math.Sqrt(*d / float64(r.OwnYears.Springs))
	}
	unknown, noted := elsewhere{}, elsewhere{}
	for i := range known {
		if err := leaveOut(known, i, &unknown, &noted); err != nil {
			return r, err
		}
	}
	r.Unknown, r.Noted = unknown.result(), noted.result()
	return r, nil
}

// budPlace is one whose gaps are filled, with the level of each spring.
type budPlace struct {
	BudPlace
	days   weather.Daily
	levels []float64
}

func asBudPlace(from *BudPlace) (p budPlace, filled int) {
	p.BudPlace = *from
	d, filled, _ := springsOf(from.Days, from.Seen)
	p.days, p.Seen = *d, nil
	usual := season.SugarMaple(p.LatitudeDeg)
	for _, y := range from.Seen {
		if _, err := usual.Opening(y.Year, []weather.Daily{p.days}); err != nil {
			continue
		}
		if level, ok := usual.Noted(dayIn(y.Year, y.LeafDOY), &season.Spring{Known: p.days}, math.NaN()); ok {
			p.Seen, p.levels = append(p.Seen, y), append(p.levels, level)
		}
	}
	return p, filled
}

func dayIn(year int, doy float64) time.Time {
	return time.Date(year, 1, int(math.Round(doy)), 0, 0, 0, 0, time.UTC)
}

// add predicts each year of a place from its others.
func (o *BudOwnYears) add(p *budPlace) error {
	if len(p.Seen) < fewestOwnYears {
		return nil
	}
	var model, blend, meanDate float64
	for i, y := range p.Seen {
		others := slices.Concat(p.Seen[:i], p.Seen[i+1:])
		b, err := season.LearnBuds("", others, &p.days, p.LatitudeDeg)
		if err != nil {
			return err
		}
		mixed, err := season.LearnBlend("", others, &p.days, p.LatitudeDeg)
		if err != nil {
			return err
		}
		opening, err := b.Opening(y.Year, []weather.Daily{p.days})
		if err != nil {
			return err
		}
		model += square(opening.Mean() - y.LeafDOY)
		blend += square(mixed.DOY(y.Year, &p.days) - y.LeafDOY)
		meanDate += square(b.MeanDOY - y.LeafDOY)
		o.PlainDays += square(b.PlainDOY(y.Year, &p.days) - y.LeafDOY)
	}
	o.Places, o.Springs = o.Places+1, o.Springs+len(p.Seen)
	o.RMSEDays, o.BlendDays, o.MeanDateDays = o.RMSEDays+model, o.BlendDays+blend, o.MeanDateDays+meanDate
	if model > meanDate {
		o.Worse++
	}
	if blend > meanDate {
		o.BlendWorse++
	}
	return nil
}

// leaveOut predicts the springs of a place by the usual level of the others, and each after
// one of its others was noted.
func leaveOut(places []budPlace, but int, unknown, noted *elsewhere) error {
	logs, p := 0.0, &places[but]
	for i := range places {
		of := 0.0
		for _, level := range places[i].levels {
			of += math.Log(level) / float64(len(places[i].levels))
		}
		if i != but {
			logs += of / float64(len(places)-1)
		}
	}
	miss := func(y *season.BudYear, levels []float64) (float64, error) {
		b := season.SugarMaple(p.LatitudeDeg)
		b.Level = math.Exp(logs)
		b.Learn(levels)
		opening, err := b.Opening(y.Year, []weather.Daily{p.days})
		return opening.Mean() - y.LeafDOY, err
	}
	var plain, once []float64
	for i := range p.Seen {
		m, err := miss(&p.Seen[i], nil)
		if err != nil {
			return err
		}
		plain = append(plain, m)
		for k := range p.levels {
			if k == i {
				continue
			}
			if m, err = miss(&p.Seen[i], p.levels[k:k+1]); err != nil {
				return err
			}
			once = append(once, m)
		}
	}
	unknown.add(plain)
	noted.add(once)
	return nil
}

type elsewhere struct{ all, places []float64 }

func (e *elsewhere) add(misses []float64) {
	if len(misses) > 0 {
		e.all, e.places = append(e.all, misses...), append(e.places, rootMeanSquare(misses))
	}
}

func (e *elsewhere) result() BudElsewhere {
	slices.Sort(e.places)
	n := len(e.places)
	if n == 0 {
		return BudElsewhere{}
	}
	return BudElsewhere{rootMeanSquare(e.all), (e.places[n/2] + e.places[(n-1)/2]) / 2}
}
