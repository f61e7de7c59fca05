package forecast

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// thermometerSDK is how sure a thermometer makes of the air at the taps, however long it
// hangs: trees stand around it, not on it.
const thermometerSDK = 0.5

// besides are the lows and highs of the bush's thermometer beside those of the weather at
// its place. sky has cloud and wind, where they are known.
func besides(in *Inputs, past, sky *weather.Series) []weather.Beside {
	var days []weather.Beside
	for i := range in.Observed {
		o := &in.Observed[i]
		if !in.sees(o) || !o.Kind.Read() {
			continue
		}
		from, to, err := o.Kind.Window(o.Day, in.Site.Zone)
		if err != nil || o.Kind == records.High && o.At.Before(to.Add(-stillRising)) && o.At.After(from.Add(-stillRising)) {
			continue
		}
		low, high, known := past.Extremes(from, to)
		if known < to.Sub(from).Hours()/2 {
			continue
		}
		if o.Kind == records.High {
			days = append(days, weather.Beside{At: from.Add(usualHigh), High: true, ErrorK: o.TemperatureC - high})
			continue
		}
		days = append(days, weather.Beside{At: to.Add(-usualLow), ErrorK: o.TemperatureC - low, Clear: sky.ClearCalm(from, to)})
	}
	return days
}

// When a low comes before the end of its window and a high after the beginning of its own;
// and until so long before its end a high that is read on its day may still rise.
const (
	usualLow    = 5 * time.Hour
	usualHigh   = 6 * time.Hour
	stillRising = 6 * time.Hour
)

// sees reports whether an observation is of this bush, and not of times to come.
func (in *Inputs) sees(o *records.Observation) bool {
	return (o.Site == "" || o.Site == in.Site.ID) && !o.At.After(in.Now)
}

// takeOwn has the weather at the bush as its thermometer tells: lows and highs apart, and
// what is held of the offset of the whole day.
func takeOwn(in *Inputs, e *weather.Ensemble, sky *weather.Series) weather.Own {
	read, know := besides(in, &e.Past, sky), in.knowledge()
	own := weather.LearnOwn(know.OffsetK, know.OffsetSDK, read)
	if own.Lows+own.Highs > 0 {
		e.Lean(&own, read, in.Site.Place)
		in.Offset = Offset{own.WholeK(), max(own.WholeSDK, thermometerSDK)}
	}
	return own
}

// saidAgain is how long after a word the same word says nothing new of the bush.
const saidAgain = 3 * time.Hour

// word is that somebody saw taps dripping, or not, with the flow of a usual tap then along
// each strand.
type word struct {
	drips bool
	flow  []float64
	at    time.Time
}

// words are what people saw of the taps, as far as it says something new.
func words(in *Inputs, s *strands) []word {
	var out []word
	last := map[string]*records.Observation{}
	for i := range in.Observed {
		o := &in.Observed[i]
		if !in.sees(o) || !o.Kind.Drip() {
			continue
		}
		before := last[o.Group]
		if last[o.Group] = o; before != nil && before.Kind == o.Kind && o.At.Sub(before.At) < saidAgain {
			continue
		}
		if flow := s.flowAt(&in.Site, o.Group, o.At); flow != nil {
			out = append(out, word{o.Kind == records.Dripping, flow, o.At})
		}
	}
	return out
}

// hear takes in what people saw, each by the flow of its hour.
func hear(in *Inputs, s *strands, bush *volume.Bush) error {
	for _, w := range words(in, s) {
		if err := bush.Hear(w.flow, w.drips); err != nil {
			return fmt.Errorf("what was seen in %s on %s: %w", in.Site.ID, w.at.Format(time.DateOnly), err)
		}
	}
	return nil
}

// flowAt is the flow of a usual tap in the hour of a moment along each strand, litres an
// hour: of a group, or of all taps together; nil before the past begins.
func (s *strands) flowAt(site *Site, group string, at time.Time) []float64 {
	i := s.past[0].Index(at)
	if i < 0 || i >= s.past[0].Hours() {
		return nil
	}
	out, taps := make([]float64, len(s.offsets)), 0.0
	for g := range s.flow {
		if id := site.Groups[g].ID; group != "" && id != group {
			continue
		}
		n := float64(site.Groups[g].Taps)
		taps += n
		for k := range out {
			out[k] += n * s.flow[g].strands[k][i]
		}
	}
	for k := range out {
		out[k] /= math.Max(taps, 1)
	}
	return out
}
