package gain

import (
	"math"
	"slices"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/verify"
	"thawline/forecast/weather"
)

// Overflow is how good warnings are that pails will run over, by episode: from one visit
// to the next. Visits are every third day whatever was warned of, and nobody looks.
type Overflow struct {
	Threshold float64      `json:"threshold"`
	Episodes  int          `json:"episodes"` // in which pails ran over, of all draws
	Hits      float64      `json:"hits"`     // of these, warned of before
	False     float64      `json:"false"`    // of the warnings, those without one
	NoticeH   float64      `json:"notice_h"` // the middle of the hits, hours
	DaylightH float64      `json:"daylight_h"`
	Bins      []verify.Bin `json:"reliability"`
	// At the threshold that warns of three episodes in four: false warnings, and with one
	// word each evening of how full the pails are.
	Hits75      float64 `json:"hits_75"`
	False75     float64 `json:"false_75"`
	WordHits75  float64 `json:"hits_75_with_a_word"`
	WordFalse75 float64 `json:"false_75_with_a_word"`
}

const (
	warnFrom    = 0.4 // chance from which is warned: fixed before anything was counted
	warnHours   = 48
	everyDays   = 3
	best        = 1.54 // of the mean, what the best fifth of taps gives
	wordQuarter = 0.25 // of a pail: so fine is a word
)

// interval is from one visit to the next.
type interval struct {
	overAt   int // hour in which pails begin to run over, -1
	evenings []chance
}

// chance is what one evening said of the hours to come.
type chance struct {
	hour        int
	p, withWord float64
	came        bool // in those hours
	noticeH     float64
	daylightH   float64
}

// warned lives through a draw with visits every third day.
func (s *season) warned(t truth, evenings []evening) ([]interval, error) {
	var stops []int
	for k, h := range s.hoursAt(habitHour) {
		if k%everyDays == 0 {
			stops = append(stops, h)
		}
	}
	stops = append(stops, s.to)
	var out []interval
	var visits []records.Visit
	pails := s.hang(t)
	for _, stop := range stops {
		one, since, left := interval{overAt: -1}, pails.hour, pails.pail.IceL
		for h := since; h <= stop && one.overAt < 0; h++ {
			if (left+t[h]-t[since])*best >= s.ContainerL {
				one.overAt = h
			}
		}
		for k := range evenings {
			e := &evenings[k]
			if e.hour < since || e.hour >= stop || one.overAt >= 0 && e.hour >= one.overAt {
				continue
			}
			until := min(stop, e.hour+warnHours)
			standing, err := e.prospect.With(visits, s.site.Gathering)
			if err != nil {
				return nil, err
			}
			load := standing.Loads(max(until-e.hour-1, 1))[0]
			c := chance{hour: e.hour, p: load.Overflows().Probability, came: one.overAt >= 0 && one.overAt <= until}
			s.tellWord(&load, left+t[e.hour+1]-t[since])
			c.withWord = load.Overflows().Probability
			if c.came {
				c.noticeH, c.daylightH = float64(one.overAt-e.hour), s.lightBetween(e.hour, one.overAt)
			}
			one.evenings = append(one.evenings, c)
		}
		out = append(out, one)
		if stop < s.to {
			visits = append(visits, pails.visit(stop))
		}
	}
	return out, nil
}

// tellWord makes the draws agree with a word: empty, a quarter, half, three quarters, full.
func (s *season) tellWord(load *rounds.Load, gaveL float64) {
	one := rounds.Fill{Taps: 1, ContainerL: s.ContainerL}
	load.Tell(math.Round(one.Held(gaveL)/s.ContainerL/wordQuarter)*wordQuarter, make([]float64, len(load.HeldL)))
}

// score counts at a threshold.
func score(all []interval, threshold float64, p func(*chance) float64) Overflow {
	o := Overflow{Threshold: threshold}
	var notice, daylight []float64
	hits, wrong := 0.0, 0.0
	for i := range all {
		one := &all[i]
		if one.overAt >= 0 {
			o.Episodes++
		}
		for k := range one.evenings {
			c := &one.evenings[k]
			if p(c) < threshold {
				continue
			}
			if one.overAt < 0 {
				wrong++
				break
			}
			if c.came { // an earlier one spoke of other days
				hits++
				notice, daylight = append(notice, c.noticeH), append(daylight, c.daylightH)
				break
			}
		}
	}
	o.Hits, o.False = hits/max(float64(o.Episodes), 1), wrong/max(hits+wrong, 1)
	o.NoticeH, o.DaylightH = median(notice), median(daylight)
	return o
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[len(x)/2]
}

// lightBetween counts the hours between two that are light enough to go.
func (s *season) lightBetween(from, to int) float64 {
	const lowSunDeg = -2
	n := 0.0
	for h := from; h < to; h++ {
		if weather.SunAt(s.weather.Time(h), s.Place.LatitudeDeg, s.Place.LongitudeDeg).ElevationDeg > lowSunDeg {
			n++
		}
	}
	return n
}

// withWords completes a score by what one word is worth.
func (o *Overflow) withWords(all []interval) {
	var p, came []float64
	for i := range all {
		for _, c := range all[i].evenings {
			p = append(p, c.p)
			x := 0.0
			if c.came {
				x = 1
			}
			came = append(came, x)
		}
	}
	o.Bins = verify.Reliability(p, came)
	o.Hits75, o.False75 = atHits(all, func(c *chance) float64 { return c.p })
	o.WordHits75, o.WordFalse75 = atHits(all, func(c *chance) float64 { return c.withWord })
}

// atHits finds the highest threshold that warns of three episodes in four.
func atHits(all []interval, p func(*chance) float64) (hits, wrong float64) {
	const steps, enough = 100, 0.75
	for k := steps - 1; k > 0; k-- {
		if o := score(all, float64(k)/steps, p); o.Hits >= enough {
			return o.Hits, o.False
		}
	}
	return 0, 0
}
