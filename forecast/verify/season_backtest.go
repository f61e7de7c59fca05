package verify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// SeasonResult is how well the end of good sap was predicted in years whose own end the
// model had not seen, and the last run by the weather beside it.
type SeasonResult struct {
	Place       string        `json:"place"`
	N           int           `json:"n"` // years times dates of asking
	RMSEDays    float64       `json:"rmse_days"`
	BiasDays    float64       `json:"bias_days"` // positive: predicted too late; of uncensored ends, as are the error and the coverage
	CRPSDays    float64       `json:"crps_days"`
	Coverage80  float64       `json:"coverage80"`
	Asked       []SeasonAsked `json:"asked"`
	Years       []SeasonYear  `json:"years"`
	OverSaid    []OverSaid    `json:"over_said"`
	LastRun     LastRunScore  `json:"last_run"`
	NoMoreRuns  NoMoreRuns    `json:"no_more_runs"`
	Notes       []string      `json:"notes"`
	errors      []float64
	withinRange int
}

// SeasonAsked is what could be said on one date, beside what is simple.
type SeasonAsked struct {
	KnownTo      string   `json:"known_to"` // month and day
	CRPSDays     float64  `json:"crps_days"`
	RMSEDays     float64  `json:"rmse_days"`
	BaselineDays float64  `json:"baseline_crps_days"`  // the mean date and a plain heat sum, half and half, dressed with their left-out errors
	MeanDateDays float64  `json:"mean_date_crps_days"` // the mean date alone, dressed
	OfBaseline   float64  `json:"of_baseline"`         // the model's CRPS as a share of it
	OfBaseline90 Interval `json:"of_baseline_interval90"`
	OfMeanDate   float64  `json:"of_mean_date"`
	OfMeanDate90 Interval `json:"of_mean_date_interval90"`
}

// SeasonYear is one year predicted on one date.
type SeasonYear struct {
	Year     int    `json:"year"`
	End      string `json:"end"`
	Censored bool   `json:"censored"`
	KnownTo  string `json:"known_to"`
	P10      string `json:"p10"`
	P50      string `json:"p50"`
	P90      string `json:"p90"`
}

// OverSaid is how many days after an uncensored end good sap is called over, the weather
// known to the day.
type OverSaid struct {
	Year int `json:"year"`
	Days int `json:"days"`
}

// LastRunScore is how well the last day that could run by its weather was predicted, over
// all years of the weather and dates of asking.
type LastRunScore struct {
	N          int     `json:"n"`
	Coverage80 float64 `json:"coverage80"`
	Width80    float64 `json:"width80_days"` // in the mean
	Widest80   float64 `json:"widest80_days"`
	CRPSDays   float64 `json:"crps_days"`
	InThePast  int     `json:"p10_in_the_past"`
}

// NoMoreRuns is how it goes when "no more runs" is first said.
type NoMoreRuns struct {
	Springs   int     `json:"springs"`
	RunSoon   int     `json:"run_within_5_days"`
	RunLater  float64 `json:"run_later"` // share of springs, as are the next three
	Within14  float64 `json:"said_within_14_days"`
	Within20  float64 `json:"said_within_20_days"`
	TakenBack float64 `json:"taken_back"`
}

// SeasonOptions says what to backtest.
type SeasonOptions struct {
	Place                   string      // part of its name; empty takes the one with the most seasons within the weather
	KnownTo                 []time.Time // of which month and day count
	AheadDays               int         // how far the weather is known beyond the day of asking
	LatitudeDeg, ElevationM float64
	Progress                func(done, of int)
}

// seasonBacktest holds the seasons of one place.
type seasonBacktest struct {
	weather *weather.Daily
	ends    []season.Ended // one a year
	o       *SeasonOptions
}

// BacktestSeason predicts the end of good sap of each year of a place from its other years:
// on each date of asking with the weather until then, and so many days ahead, then the
// other years' weather. A year without its February to May is not asked. An end at which
// the sap may still have been good counts as "not before".
func BacktestSeason(ctx context.Context, days *weather.Daily, ends []season.Ended, o SeasonOptions) (SeasonResult, error) {
	r := SeasonResult{Notes: []string{}, Years: []SeasonYear{}}
	if len(o.KnownTo) == 0 {
		return r, fmt.Errorf("no date of asking: give --known-to, such as 03-15")
	}
	b := seasonBacktest{weather: days, o: &o}
	if err := b.choose(&r, ends); err != nil {
		return r, err
	}
	for i, on := range o.KnownTo {
		if err := ctx.Err(); err != nil {
			return r, fmt.Errorf("stopped after %d of %d dates: %w", i, len(o.KnownTo), err)
		}
		b.ask(&r, on)
	}
	r.N = len(r.Years)
	r.RMSEDays, r.BiasDays = rootMeanSquare(r.errors), average(r.errors)
	r.Coverage80 = float64(r.withinRange) / float64(len(r.errors))
	for _, a := range r.Asked {
		r.CRPSDays += a.CRPSDays / float64(len(r.Asked))
	}
	b.overSaid(&r)
	years := b.wholeYears()
	for i, year := range years {
		if o.Progress != nil {
			o.Progress(i, len(years))
		}
		if err := ctx.Err(); err != nil {
			return r, fmt.Errorf("stopped after %d of %d springs: %w", i, len(years), err)
		}
		b.lastRun(&r.LastRun, year)
		b.noMoreRuns(&r.NoMoreRuns, year)
	}
	r.LastRun.finish()
	r.NoMoreRuns.finish()
	return r, nil
}

// choose takes the seasons of a place that lie within the weather, the surest end of each
// year.
func (b *seasonBacktest) choose(r *SeasonResult, ends []season.Ended) error {
	count := map[string]int{}
	var places []string
	var within []season.Ended
	for _, e := range ends {
		if !slices.Contains(places, e.Place) {
			places = append(places, e.Place)
		}
		if _, ok := season.Warmth(b.weather, e.On); ok && strings.Contains(strings.ToLower(e.Place), strings.ToLower(b.o.Place)) {
			count[e.Place]++
			within = append(within, e)
		}
	}
	for _, p := range places {
		if count[p] > count[r.Place] {
			r.Place = p
		}
	}
	for _, e := range within {
		if e.Place != r.Place {
			continue
		}
		same := func(x season.Ended) bool { return x.On.Year() == e.On.Year() }
		if at := slices.IndexFunc(b.ends, same); at < 0 {
			b.ends = append(b.ends, e)
		} else if before := b.ends[at]; before.Censored && !e.Censored || before.Censored == e.Censored && e.On.After(before.On) {
			b.ends[at] = e
		}
	}
	if len(b.ends) < 3 {
		return fmt.Errorf("%d seasons within the weather, and at least 3 of one place are needed; the file has %s", len(b.ends),
			strings.Join(places, "; "))
	}
	if len(count) > 1 {
		r.Notes = append(r.Notes, fmt.Sprintf(
			"of %d places the one with the most seasons within the weather was taken, %s; name another with --place", len(count), r.Place))
	}
	slices.SortFunc(b.ends, func(x, y season.Ended) int { return x.On.Compare(y.On) })
	return nil
}

// spring is what is known at the end of a day, and so many days ahead, of that year.
func (b *seasonBacktest) spring(end time.Time, ahead int) season.Spring {
	until := end.AddDate(0, 0, ahead)
	known := weather.NewDaily(time.Date(end.Year()-1, 11, 1, 0, 0, 0, 0, time.UTC), 300)
	for i := range known.LowC {
		if date := known.Date(i); !date.After(until) {
			known.LowC[i], known.HighC[i] = b.weather.At(b.weather.Index(date))
		}
	}
	return season.Spring{Known: known, Years: b.weather}
}

// learnt is what the other years teach.
func (b *seasonBacktest) learnt(but int) season.GoodSap {
	g := season.UsualGoodSap()
	for i, e := range b.ends {
		if warmth, ok := season.Warmth(b.weather, e.On); ok && i != but {
			g.Learn(warmth, e.Censored)
		}
	}
	return g
}

func (b *seasonBacktest) courses(at time.Time, ahead int) []weather.Daily {
	s := b.spring(at, ahead)
	return s.Courses(at.AddDate(0, 0, 1), b.o.LatitudeDeg, b.o.ElevationM)
}

// on is a month and day in a year.
func on(date time.Time, year int) time.Time {
	return time.Date(year, date.Month(), date.Day(), 0, 0, 0, 0, time.UTC)
}

func (b *seasonBacktest) ask(r *SeasonResult, date time.Time) {
	asked := SeasonAsked{KnownTo: date.Format("01-02")}
	var errors, scores []float64
	for i, e := range b.ends {
		at := on(date, e.On.Year())
		g := b.learnt(i)
		dates := g.Ends(at, b.courses(at, b.o.AheadDays))
		dates = dates.After(at)
		end := dates.End()
		r.Years = append(r.Years, SeasonYear{e.On.Year(), e.On.Format(time.DateOnly), e.Censored, asked.KnownTo,
			end.P10.Format(time.DateOnly), end.P50.Format(time.DateOnly), end.P90.Format(time.DateOnly)})
		scores = append(scores, dayCRPS(dates.By, e))
		if e.Censored {
			continue
		}
		errors = append(errors, end.P50.Sub(e.On).Hours()/24)
		if !e.On.Before(end.P10) && !e.On.After(end.P90) {
			r.withinRange++
		}
	}
	r.errors = append(r.errors, errors...)
	baseline, meanDate := b.baselines(date)
	asked.CRPSDays, asked.RMSEDays = average(scores), rootMeanSquare(errors)
	asked.BaselineDays, asked.MeanDateDays = average(baseline), average(meanDate)
	asked.OfBaseline, asked.OfMeanDate = asked.CRPSDays/asked.BaselineDays, asked.CRPSDays/asked.MeanDateDays
	share := func(of []float64) Interval {
		return Bootstrap(len(scores), 1, 2000, 0.9, 1,
			func(cases []int) float64 { return average(pick(scores, cases)) / average(pick(of, cases)) })
	}
	asked.OfBaseline90, asked.OfMeanDate90 = share(baseline), share(meanDate)
	r.Asked = append(r.Asked, asked)
}

// baselines score, year by year, the mean date and a plain heat sum above 0 °C from 1
// February half and half, and the mean date alone, each a normal law as wide as its errors
// on the other years.
func (b *seasonBacktest) baselines(date time.Time) (half, meanDate []float64) {
	n := len(b.ends)
	predicted := [2][]float64{make([]float64, n), make([]float64, n)}
	missed := [2][]float64{make([]float64, n), make([]float64, n)}
	for i, e := range b.ends {
		var days, sums []float64
		for k, other := range b.ends {
			if k != i {
				days = append(days, float64(other.On.YearDay()))
				sums = append(sums, b.plainHeat(other.On))
			}
		}
		at := on(date, e.On.Year())
		var reached []float64
		for _, c := range b.courses(at, b.o.AheadDays) {
			reached = append(reached, reaches(&c, e.On.Year(), average(sums)))
		}
		predicted[1][i] = average(days)
		predicted[0][i] = (average(days) + average(reached)) / 2
		for k := range missed {
			missed[k][i] = predicted[k][i] - float64(e.On.YearDay())
		}
	}
	score := func(k int) (scores []float64) {
		for i, e := range b.ends {
			law := distuv.Normal{Mu: predicted[k][i], Sigma: rootMeanSquare(slices.Delete(slices.Clone(missed[k]), i, i+1))}
			scores = append(scores, dayCRPS(func(d time.Time) float64 { return law.CDF(float64(d.YearDay()) + 0.5) }, e))
		}
		return scores
	}
	return score(0), score(1)
}

func (b *seasonBacktest) plainHeat(until time.Time) float64 {
	sum := 0.0
	for i := b.weather.Index(time.Date(until.Year(), 2, 1, 0, 0, 0, 0, time.UTC)); i <= b.weather.Index(until); i++ {
		sum += plainHeatOf(b.weather.At(i))
	}
	return sum
}

func plainHeatOf(low, high float64) float64 {
	if m := (low + high) / 2; m > 0 {
		return m
	}
	return 0
}

// reaches is the day of the year on which the plain heat of a course reaches a sum.
func reaches(c *weather.Daily, year int, heat float64) float64 {
	sum := 0.0
	for i := c.Index(time.Date(year, 2, 1, 0, 0, 0, 0, time.UTC)); i < c.Days(); i++ {
		if sum += plainHeatOf(c.At(i)); sum >= heat {
			return float64(c.Date(i).YearDay())
		}
	}
	return float64(c.Date(c.Days() - 1).YearDay())
}

// dayCRPS is the continuous ranked probability score in days of a belief of an end; for a
// censored one only what was held of the days before counts.
func dayCRPS(by func(date time.Time) float64, e season.Ended) float64 {
	sum := 0.0
	for d := on(time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC), e.On.Year()); d.YearDay() <= 180; d = d.AddDate(0, 0, 1) {
		p := by(d)
		switch {
		case d.Before(e.On):
			sum += p * p
		case !e.Censored:
			sum += (1 - p) * (1 - p)
		}
	}
	return sum
}

// overSaid asks from day to day after each uncensored end.
func (b *seasonBacktest) overSaid(r *SeasonResult) {
	r.OverSaid = []OverSaid{}
	for i, e := range b.ends {
		if e.Censored {
			continue
		}
		g := b.learnt(i)
		for at := on(time.Date(1, 2, 1, 0, 0, 0, 0, time.UTC), e.On.Year()); at.YearDay() < 170; at = at.AddDate(0, 0, 1) {
			dates := g.Ends(at, b.courses(at, 0))
			if dates.By(at) >= season.OverAt {
				r.OverSaid = append(r.OverSaid, OverSaid{e.On.Year(), int(at.Sub(e.On).Hours() / 24)})
				break
			}
		}
	}
}

// wholeYears are those whose weather is known from February to May.
func (b *seasonBacktest) wholeYears() (years []int) {
	for y := b.weather.First.Year(); y <= b.weather.Date(b.weather.Days()-1).Year(); y++ {
		if _, ok := season.Warmth(b.weather, time.Date(y, 5, 31, 0, 0, 0, 0, time.UTC)); ok {
			years = append(years, y)
		}
	}
	return years
}

// lastRunOf is the last day of a year's own weather that could run, before 5 May.
func (b *seasonBacktest) lastRunOf(year int) time.Time {
	end := time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC)
	s := b.spring(end, 0)
	dates := season.LastRuns(end, s.Courses(end, b.o.LatitudeDeg, b.o.ElevationM)[:1])
	return on(dates.Quantile(0.5), year)
}

func (b *seasonBacktest) lastRun(s *LastRunScore, year int) {
	truth := season.Ended{On: b.lastRunOf(year)}
	for _, date := range b.o.KnownTo {
		at := on(date, year)
		if !truth.On.After(at) {
			continue // nothing to predict
		}
		dates := season.LastRuns(at, b.courses(at, b.o.AheadDays))
		end := dates.End()
		s.N++
		if !truth.On.Before(on(end.P10, year)) && !truth.On.After(on(end.P90, year)) {
			s.Coverage80++
		}
		if on(end.P10, year).Before(at) {
			s.InThePast++
		}
		width := end.P90.Sub(end.P10).Hours() / 24
		s.Width80 += width
		s.Widest80 = max(s.Widest80, width)
		s.CRPSDays += dayCRPS(dates.By, truth)
	}
}

func (s *LastRunScore) finish() {
	s.Coverage80 /= float64(s.N)
	s.Width80 /= float64(s.N)
	s.CRPSDays /= float64(s.N)
}

// noMoreRuns asks from day to day, with five days ahead known.
func (b *seasonBacktest) noMoreRuns(s *NoMoreRuns, year int) {
	const ahead = 5
	last := b.lastRunOf(year)
	var first time.Time
	back := false
	for at := time.Date(year, 3, 1, 0, 0, 0, 0, time.UTC); at.Month() < time.June; at = at.AddDate(0, 0, 1) {
		dates := season.LastRuns(at, b.courses(at, ahead))
		switch said := season.NoMoreRuns(&dates, at); {
		case said && first.IsZero():
			first = at
		case !said && !first.IsZero():
			back = true
		}
	}
	s.Springs++
	late := first.Sub(last).Hours() / 24
	if -late > 0 && -late <= ahead {
		s.RunSoon++
	}
	for _, c := range []struct {
		share *float64
		is    bool
	}{{&s.RunLater, late < 0}, {&s.Within14, late <= 14}, {&s.Within20, late <= 20}, {&s.TakenBack, back}} {
		if c.is {
			*c.share++
		}
	}
}

func (s *NoMoreRuns) finish() {
	for _, share := range []*float64{&s.RunLater, &s.Within14, &s.Within20, &s.TakenBack} {
		*share /= float64(s.Springs)
	}
}

func average(x []float64) float64 { return stat.Mean(x, nil) }

func rootMeanSquare(x []float64) float64 { return floats.Norm(x, 2) / math.Sqrt(float64(len(x))) }
