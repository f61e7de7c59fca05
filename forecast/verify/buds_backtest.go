package verify

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// BudResult is how well the opening of leaf buds was foretold in years that the
// model had not seen, from the temperatures of those years.
type BudResult struct {
	Species         string      `json:"species"`
	NTest           int         `json:"n_test"`
	NTrain          int         `json:"n_train"`
	RMSEDays        float64     `json:"rmse_days"`
	ClimatologyRMSE float64     `json:"climatology_rmse_days"` // of the mean date of the years learnt from
	PlainRMSE       float64     `json:"plain_rmse_days"`       // of degree days above 0 °C from 15 March
	BlendRMSE       float64     `json:"blend_rmse_days"`       // of all published ways to count, weighed by what they did
	BestFitRMSE     float64     `json:"best_fit_rmse_days"`    // of the candidate that fits best, alone
	Coverage80      float64     `json:"coverage80"`
	Model           string      `json:"model"`
	InSample        bool        `json:"in_sample"` // years were scored that the model had learnt from
	LeaveOneOut     bool        `json:"leave_one_out"`
	Years           []BudYear   `json:"years"`
	Families        []BudFamily `json:"families"`
	Asked           []BudAsked  `json:"asked"`
	FilledDays      int         `json:"filled_days"` // of the temperature file
	Notes           []string    `json:"notes"`
}

// BudYear is one year foretold.
type BudYear struct {
	Year         int     `json:"year"`
	ObservedDOY  float64 `json:"observed_doy"`
	PredictedDOY float64 `json:"predicted_doy"`
	P10          float64 `json:"p10"`
	P90          float64 `json:"p90"`
}

// BudFamily is a family of published ways to count: how its best member did on years left
// out in turn of those learnt from, and its share in the blend that the model is compared
// with.
type BudFamily struct {
	Family    string  `json:"family"`
	RMSEDays  float64 `json:"left_out_rmse_days"`
	FitDays   float64 `json:"fit_rmse_days"`
	Weight    float64 `json:"weight"`
	BestCount string  `json:"best"`
}

// BudAsked is what could be said on a day of spring, with the weather until
// then and each of the other years' weather after it.
type BudAsked struct {
	On         string  `json:"on"` // month and day
	RMSEDays   float64 `json:"rmse_days"`
	Width80    float64 `json:"width80_days"`
	Coverage80 float64 `json:"coverage80"`
}

// BudOptions says what to backtest.
type BudOptions struct {
	Species     string
	TrainUntil  int // last year to learn from; 0 leaves each year out in turn
	LatitudeDeg float64
	Progress    func(done, of int) // may be nil
}

// askedOn are the days of the sugar season on which the question is put.
var askedOn = []struct{ month, day int }{{3, 15}, {4, 1}, {4, 10}}

// budModel names the way to count that is kept.
const budModel = "warmth weighted by the length of the day (to the power 5.5), to a level"

// BacktestBuds learns from the years up to TrainUntil and predicts the ones
// after it. The temperatures' gaps are filled by the rule of
// weather.Daily.FillGaps, and longer ones by the mean of the same dates in other
// years, which is noted where it touches a spring.
func BacktestBuds(ctx context.Context, temperatures *weather.Daily, seen []season.BudYear, o BudOptions) (BudResult, error) {
	o.Species = strings.ToLower(strings.TrimSpace(o.Species))
	r := BudResult{Species: o.Species, LeaveOneOut: o.TrainUntil == 0, Notes: []string{}, Years: []BudYear{}}
	d, filled, notes := springsOf(temperatures, seen)
	r.FilledDays, r.Notes = filled, notes
	train, test := o.split(seen)
	if len(test) == 0 {
		return r, fmt.Errorf("no year after %d has a bud date of %s; species in the file: %s", o.TrainUntil, o.Species,
			strings.Join(speciesOf(seen), ", "))
	}
	all, err := season.LearnBuds(o.Species, train, d, o.LatitudeDeg)
	if err != nil {
		return r, err
	}
	blend, err := season.LearnBlend(o.Species, train, d, o.LatitudeDeg)
	if err != nil {
		return r, err
	}
	r.NTrain, r.Model = len(all.Years), budModel
	r.Families = families(blend)

	asked := make([]askedScore, len(askedOn))
	var miss, climatology, plain, blended, fitted float64
	covered := 0
	for i, y := range test {
		if err := ctx.Err(); err != nil {
			return r, fmt.Errorf("stopped after %d of %d years: %w", i, len(test), err)
		}
		if o.Progress != nil {
			o.Progress(i, len(test))
		}
		learnt, mixed := all, blend
		if r.LeaveOneOut {
			others := slices.DeleteFunc(slices.Clone(train), func(x season.BudYear) bool { return x.Year == y.Year })
			if learnt, err = season.LearnBuds(o.Species, others, d, o.LatitudeDeg); err != nil {
				return r, err
			}
			if mixed, err = season.LearnBlend(o.Species, others, d, o.LatitudeDeg); err != nil {
				return r, err
			}
		}
		opening, err := learnt.Opening(y.Year, []weather.Daily{*d})
		if err != nil {
			r.Notes = append(r.Notes, fmt.Sprintf("%d passed over: %v", y.Year, err))
			continue
		}
		year := BudYear{y.Year, y.LeafDOY, opening.Mean(), opening.Quantile(0.1), opening.Quantile(0.9)}
		r.Years = append(r.Years, year)
		miss += square(year.PredictedDOY - y.LeafDOY)
		climatology += square(learnt.MeanDOY - y.LeafDOY)
		plain += square(learnt.PlainDOY(y.Year, d) - y.LeafDOY)
		blended += square(mixed.DOY(y.Year, d) - y.LeafDOY)
		fitted += square(mixed.BestFit().DOY(y.Year, d) - y.LeafDOY)
		if year.P10 <= y.LeafDOY && y.LeafDOY <= year.P90 {
			covered++
		}
		for k, on := range askedOn {
			courses := learnt.Courses(d, time.Date(y.Year, time.Month(on.month), on.day, 0, 0, 0, 0, time.UTC))
			if opening, err := learnt.Opening(y.Year, courses); err == nil && len(courses) > 0 {
				asked[k].add(opening, y.LeafDOY)
			}
		}
	}
	n := float64(len(r.Years))
	if n == 0 {
		return r, fmt.Errorf("no year to test on has temperatures from 1 November to June: %s", strings.Join(r.Notes, "; "))
	}
	r.NTest = len(r.Years)
	r.RMSEDays, r.ClimatologyRMSE, r.PlainRMSE = math.Sqrt(miss/n), math.Sqrt(climatology/n), math.Sqrt(plain/n)
	r.BlendRMSE, r.BestFitRMSE = math.Sqrt(blended/n), math.Sqrt(fitted/n)
	r.Coverage80 = float64(covered) / n
	for k, on := range askedOn {
		r.Asked = append(r.Asked, asked[k].result(time.Month(on.month).String()[:3]+fmt.Sprintf(" %d", on.day)))
	}
	return r, nil
}

// split parts the years to learn from and those to predict.
func (o *BudOptions) split(seen []season.BudYear) (train, test []season.BudYear) {
	for _, y := range seen {
		if o.TrainUntil == 0 || y.Year <= o.TrainUntil {
			train = append(train, y)
		}
		if (o.TrainUntil == 0 || y.Year > o.TrainUntil) && y.Species == o.Species && !math.IsNaN(y.LeafDOY) {
			test = append(test, y)
		}
	}
	return train, test
}

// springsOf fills the temperatures for every winter of a list of years.
func springsOf(temperatures *weather.Daily, seen []season.BudYear) (d *weather.Daily, filled int, notes []string) {
	notes = []string{}
	first, last := 9999, 0
	for _, y := range seen {
		first, last = min(first, y.Year), max(last, y.Year)
	}
	// Winters that the file does not touch at all stay unknown.
	from := time.Date(max(first-1, temperatures.First.Year()-1), 11, 1, 0, 0, 0, 0, time.UTC)
	to := time.Date(min(last, temperatures.Date(temperatures.Days()-1).Year()), 6, 30, 0, 0, 0, 0, time.UTC)
	whole := temperatures.Spanning(from, to)
	filled = whole.FillGaps()
	spring := map[int]int{}
	for _, i := range whole.FillFromOtherYears() {
		filled++
		if m := whole.Date(i).Month(); m >= 3 && m <= 5 {
			spring[whole.Date(i).Year()]++
		}
	}
	for year := first; year <= last; year++ {
		if n := spring[year]; n > 0 {
			notes = append(notes, fmt.Sprintf("%d: %d days of March to May are made up from other years", year, n))
		}
	}
	return &whole, filled, notes
}

type askedScore struct{ n, squares, width, covered float64 }

func (a *askedScore) add(o season.Opening, observed float64) {
	low, high := o.Quantile(0.1), o.Quantile(0.9)
	a.n++
	a.squares += square(o.Mean() - observed)
	a.width += high - low
	if low <= observed && observed <= high {
		a.covered++
	}
}

func (a *askedScore) result(on string) BudAsked {
	return BudAsked{on, math.Sqrt(a.squares / a.n), a.width / a.n, a.covered / a.n}
}

func families(b *season.Blend) []BudFamily {
	by := map[string]*BudFamily{}
	for _, c := range b.Counts {
		f := by[c.Family]
		if f == nil {
			f = &BudFamily{Family: c.Family, RMSEDays: math.Inf(1)}
			by[c.Family] = f
		}
		f.Weight += c.Weight
		if c.RMSEDays < f.RMSEDays {
			f.RMSEDays, f.FitDays, f.BestCount = c.RMSEDays, c.FitDays, c.Name
		}
	}
	var out []BudFamily
	for _, f := range by {
		out = append(out, *f)
	}
	slices.SortFunc(out, func(a, b BudFamily) int {
		return cmp.Or(cmp.Compare(b.Weight, a.Weight), cmp.Compare(a.Family, b.Family))
	})
	return out
}

func speciesOf(seen []season.BudYear) []string {
	var names []string
	for _, y := range seen {
		if !slices.Contains(names, y.Species) {
			names = append(names, y.Species)
		}
	}
	slices.Sort(names)
	return names
}

func square(x float64) float64 { return x * x }
