package gain

import (
	"context"
	"runtime"
	"sync"

	"thawline/forecast"
)

// Result is what a maker gains over all seasons.
type Result struct {
	Seasons []SeasonResult `json:"seasons"`
	// Mean values at walks on a third of the days, of seasons in which there is something to
	// gain; null where there is none.
	Recorded *float64 `json:"value_recorded"`
	Twins    *float64 `json:"value_twins"`
	// The same with what plans take for usual: price of a trip and accepted risk.
	RecordedUsual *float64 `json:"value_recorded_default"`
	TwinsUsual    *float64 `json:"value_twins_default"`
	Nothing       []string `json:"nothing_to_gain"`
	// Of what the records carried in, the share that the ageing model calls spoilt.
	CarriedInSpoilt float64  `json:"carried_in_spoilt"`
	Overflow        Overflow `json:"overflow"`
	Draws           int      `json:"draws"`
}

// SeasonResult is one season's. Litres and walks are means of the draws.
type SeasonResult struct {
	Name     string  `json:"name"`
	Recorded bool    `json:"recorded"`
	Days     int     `json:"days"`
	SapL     float64 `json:"sap_l"`
	Curves   Curves  `json:"curves"`
	// Value is the part of what perfect foresight saves that the plan does, with walks on a
	// third of the days; null where habit and foresight differ by less than a hundredth of the
	// sap.
	Value        *float64 `json:"value"`
	UsualValue   *float64 `json:"value_default"`
	Usual        Point    `json:"default"`
	WorseAtThird float64  `json:"worse_at_third"` // of the sap, than the best habit; negative where better
	WorseAtHalf  float64  `json:"worse_at_half"`
	WalksSaved   float64  `json:"walks_saved"` // for the loss of habit at a third of the days
	Overflow     Overflow `json:"overflow"`

	carriedL, carriedSpoiltL float64
}

// Curves are losses by walks. Habits and ours are points; perfect has one for each
// number of walks.
type Curves struct {
	Habits  []Point `json:"habits"`
	Ours    []Point `json:"ours"`
	Perfect []Point `json:"perfect"`
}

// Options says how much to try.
type Options struct {
	Draws     int // of the sap that may have run
	Forecasts int // for each evening, which the draws take in turn
	Progress  func(done, of int)
}

// prices are those of a trip that are tried, litres a tap, with no bound on the risk.
var prices = []float64{0.1, 0.25, 0.45, 0.7, 1.1, 1.8, 3}

// anyRisk lets the price alone decide.
const anyRisk = 1

// leastGain is the share of the sap below which there is nothing to gain.
const leastGain = 0.01

// Run lives through the seasons, and through a richer twin of each that has records.
// Seasons without records are drawn from what handbooks say, and count as twins.
func Run(ctx context.Context, seasons []Season, o Options) (Result, error) {
	r := Result{Draws: o.Draws, Nothing: []string{}, Seasons: []SeasonResult{}}
	all := WithTwins(seasons)
	var intervals []interval
	var carried, spoilt float64
	for k := range all {
		if o.Progress != nil {
			o.Progress(k, len(all))
		}
		s, err := ready(&all[k])
		if err != nil {
			return r, err
		}
		one, warned, err := s.run(ctx, &o)
		if err != nil {
			return r, err
		}
		intervals = append(intervals, warned...)
		carried, spoilt = carried+one.carriedL, spoilt+one.carriedSpoiltL
		r.Seasons = append(r.Seasons, one)
		if one.Value == nil {
			r.Nothing = append(r.Nothing, one.Name)
		}
	}
	r.CarriedInSpoilt = spoilt / max(carried, 1)
	r.Recorded, r.RecordedUsual = r.mean(true)
	r.Twins, r.TwinsUsual = r.mean(false)
	r.Overflow = score(intervals, warnFrom, func(c *chance) float64 { return c.p })
	r.Overflow.withWords(intervals)
	return r, nil
}

// WithTwins adds what half as much sap again would be, to seasons with records.
func WithTwins(seasons []Season) []Season {
	const half = 1.5
	var all, twins []Season
	for _, s := range seasons {
		s.Richer = 1
		all = append(all, s)
		if len(s.Visits) > 0 {
			s.Name, s.Richer = s.Name+", half as much again", half
			twins = append(twins, s)
		}
	}
	return append(all, twins...)
}

func (s *season) recorded() bool { return len(s.Visits) > 0 && s.Richer == 1 }

func (r *Result) mean(recorded bool) (third, usual *float64) {
	var a, b, n float64
	for i := range r.Seasons {
		if one := &r.Seasons[i]; one.Recorded == recorded && one.Value != nil {
			a, b, n = a+*one.Value, b+*one.UsualValue, n+1
		}
	}
	if n == 0 {
		return nil, nil
	}
	a, b = a/n, b/n
	return &a, &b
}

func (s *season) run(ctx context.Context, o *Options) (SeasonResult, []interval, error) {
	one := SeasonResult{Name: s.Name, Recorded: s.recorded(), Days: s.days}
	draws := make([]truth, o.Draws)
	for k := range draws {
		draws[k] = s.draw(uint64(k))
		one.SapL += s.gaveL(draws[k]) / float64(o.Draws)
	}
	one.Curves.Habits = s.habits(draws)
	one.Curves.Perfect = s.foresight(draws)
	told := make([][]evening, o.Forecasts)
	for f := range told {
		var err error
		if told[f], err = s.evenings(uint64(f + 1)); err != nil {
			return one, nil, err
		}
	}
	ways := []forecast.Gathering{{}} // the usual one
	for _, price := range prices {
		ways = append(ways, forecast.Gathering{TripWorthL: price * float64(s.Taps), AcceptedRisk: anyRisk})
	}
	warned := make([][]interval, o.Draws)
	tallies := make([][]tally, len(ways))
	for w := range tallies {
		tallies[w] = make([]tally, o.Draws)
	}
	err := parallel(ctx, o.Draws, func(k int) error {
		evenings := told[k%len(told)]
		for w := range ways {
			hours, err := s.follow(draws[k], evenings, ways[w])
			if err != nil {
				return err
			}
			tallies[w][k] = s.walk(draws[k], hours)
		}
		var err error
		warned[k], err = s.warned(draws[k], evenings)
		return err
	})
	if err != nil {
		return one, nil, err
	}
	for w := range ways {
		var p Point
		for _, t := range tallies[w] {
			p.add(t, 1/float64(o.Draws))
		}
		one.Curves.Ours = append(one.Curves.Ours, p)
	}
	one.Usual = one.Curves.Ours[0]
	s.judge(&one, draws)
	var all []interval
	for _, w := range warned {
		all = append(all, w...)
	}
	one.Overflow = score(all, warnFrom, func(c *chance) float64 { return c.p })
	one.Overflow.withWords(all)
	return one, all, nil
}

// foresight is the mean of the draws' least losses.
func (s *season) foresight(draws []truth) []Point {
	points := make([]Point, s.days+1)
	for _, t := range draws {
		least := s.perfect(t, s.days)
		for k := range points {
			at := least[min(k, len(least)-1)]
			points[k].add(tally{walks: float64(k), lossL: at.lossL}, 1/float64(len(draws)))
		}
	}
	return points
}

// judge compares the curves.
func (s *season) judge(one *SeasonResult, draws []truth) {
	habit, ours, perfect := envelope(one.Curves.Habits), envelope(one.Curves.Ours), envelope(one.Curves.Perfect)
	third, half := float64(s.days)/3, float64(s.days)/2
	value := func(walks, lossL float64) *float64 {
		h := lossAt(habit, walks)
		v := (h - lossL) / max(h-lossAt(perfect, walks), 1e-9)
		return &v
	}
	if lossAt(habit, third)-lossAt(perfect, third) >= leastGain*one.SapL {
		one.Value = value(third, lossAt(ours, third))
		one.UsualValue = value(one.Usual.Walks, one.Usual.LossL)
	}
	one.WorseAtThird = (lossAt(ours, third) - lossAt(habit, third)) / one.SapL
	one.WorseAtHalf = (lossAt(ours, half) - lossAt(habit, half)) / one.SapL
	const little = 0.001 // of the sap: as good as nothing
	same := max(lossAt(habit, third), little*one.SapL)
	one.WalksSaved = walksFor(habit, same) - walksFor(ours, same)
	if s.recorded() {
		for _, t := range draws {
			own := s.walk(t, s.own())
			one.carriedL += s.gaveL(t) - own.lossL
			one.carriedSpoiltL += own.spoiltL
		}
	}
}

// parallel does so many jobs on all cores, and stops at the first error.
func parallel(ctx context.Context, jobs int, do func(k int) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	next := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for k := range next {
				if err := do(k); err != nil {
					stop(err)
				}
			}
		})
	}
	for k := range jobs {
		if ctx.Err() != nil {
			break
		}
		next <- k
	}
	close(next)
	wait.Wait()
	return context.Cause(ctx)
}

// LossAt is what runs over with so many walks, litres: by the best habit, by the plan and
// with foresight.
func (s *SeasonResult) LossAt(walks float64) (habit, ours, perfect float64) {
	return lossAt(envelope(s.Curves.Habits), walks), lossAt(envelope(s.Curves.Ours), walks), lossAt(envelope(s.Curves.Perfect), walks)
}
