package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// sugarScore counts days with syrup: their spans of dry air, those that were dry in each
// hour, the dry hours, and those of them that lay in a span.
type sugarScore struct {
	days, spans, kept, dryHours, covered int
	mostCovered                          int     // by one span a day that knows the weather
	chances                              float64 // of the spans, summed
}

func (s *sugarScore) shares() (kept, covered, most float64) {
	hours := float64(s.dryHours)
	return float64(s.kept) / float64(s.spans), float64(s.covered) / hours, float64(s.mostCovered) / hours
}

// day counts one day: dry by hour from boil.StirFrom on, and its span, nil for none.
func (s *sugarScore) day(dry []bool, span *boil.SugarSpan) {
	s.days++
	kept, longest, run := true, 0, 0
	for i, is := range dry {
		inside := false
		if span != nil {
			hour := boil.StirFrom + i
			inside = hour >= span.From.Hour() && hour < span.To.Hour()
		}
		run++
		if !is {
			run = 0
		}
		if longest = max(longest, run); is {
			s.dryHours++
		}
		if is && inside {
			s.covered++
		}
		kept = kept && (is || !inside)
	}
	if longest >= boil.LeastSpan {
		s.mostCovered += longest
	}
	if span != nil {
		s.spans++
		s.chances += span.Chance
		if kept {
			s.kept++
		}
	}
}

// The weather of 2015 on a hill in Massachusetts (CC0, Baumer et al., R package
// macleish), the only season at hand with measured humidity; 50 pails that are gathered
// at five. Spans of dry air of outlooks made from forecasts that err as made members do,
// and as dew points do beside, against the air that came. An hour in a span of fair air
// counts as not covered.
func TestSugarSpansAgainstTheWeather(t *testing.T) {
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	truth, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	const evening, morning = 19, 7
	for name, c := range map[string]struct {
		hour, ahead   int     // of the local clock; days to the span
		kept, covered float64 // as the guide tells
	}{
		"the evening before": {evening, 1, 0.92, 0.86},
		"on the morning":     {morning, 0, 0.96, 0.89},
	} {
		t.Run(name, func(t *testing.T) {
			var s sugarScore
			for seed := range uint64(3) {
				replaySugar(t, &truth, &s, c.hour, c.ahead, 1000*seed)
			}
			kept, covered, most := s.shares()
			said := s.chances / float64(s.spans)
			t.Logf("%d days with syrup, %d spans: dry in each hour %.3f, said %.3f; of the dry hours %.3f lie in one, %.3f if the weather were known", s.days, s.spans, kept, said, covered, most)
			if kept < 0.8 || covered < 2.0/3 || kept < said-0.05 {
				t.Error("spans are not what they promise")
			}
			if math.Abs(kept-c.kept) > 0.05 || math.Abs(covered-c.covered) > 0.03 || math.Abs(most-0.99) > 0.01 {
				t.Errorf("no longer what the guide tells: %.2f and %.2f", c.kept, c.covered)
			}
		})
	}
}

// replaySugar adds a season to a score: the spans of the day that lies so many days
// after each outlook, made at an hour of the day.
func replaySugar(t *testing.T, truth *weather.Series, s *sugarScore, hour, ahead int, seed uint64) {
	t.Helper()
	site := bush(t)
	site.Place = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	site.Groups = []Group{{ID: "pails", Taps: replayTaps, Method: "pail", ContainerL: 15,
		Tapped: time.Date(2015, 3, 1, 8, 0, 0, 0, site.Zone)}}
	whole, flow, from := usualFlow(truth, &site)
	var visits []records.Visit
	sap, gathered := 0.0, 0.0
	for i := from; whole.Time(i).Before(time.Date(2015, 4, 20, 0, 0, 0, 0, site.Zone)); i++ {
		sap += replayTaps * replayYield * flow[i]
		at := whole.Time(i + 1).In(site.Zone)
		if at.Hour() == 17 {
			visits = append(visits, records.Visit{Group: "pails", CollectedAt: at, Taps: replayTaps, VolumeL: sap, BrixPct: math.NaN()})
			gathered += sap
			sap = 0
		}
		if at.Hour() != hour {
			continue
		}
		now := at.Add(-time.Minute)
		course := forecastOf(truth, site.Place, now, seed+uint64(i))
		dewErrors(&course, now, 7919+seed+uint64(i))
		o, err := Make(Inputs{Site: site,
			Bulletin: weather.Bulletin{Source: "file", IssuedAt: now, Course: course, ElevationM: math.NaN()}, Visits: visits, Now: now,
			Seed: seed + uint64(i)})
		if err != nil {
			t.Fatal(err)
		}
		y, m, d := now.Date()
		date := time.Date(y, m, d+ahead, 0, 0, 0, 0, site.Zone)
		var span *boil.SugarSpan
		for k := range o.Sugar {
			if o.Sugar[k].Date == date.Format(time.DateOnly) && o.Sugar[k].Grade == boil.Dry {
				span = &o.Sugar[k]
			}
		}
		if gathered < 45 { // for a litre of syrup
			boils := slices.ContainsFunc(o.Boil, func(b BoilDay) bool { return b.Batch != nil })
			if gathered == 0 && !boils && len(o.Sugar) > 0 {
				t.Errorf("%s: spans without syrup", now)
			}
			continue
		}
		var dry []bool
		for h := boil.StirFrom; h < boil.StirTo; h++ {
			w := whole.Index(time.Date(y, m, d+ahead, h, 0, 0, 0, site.Zone))
			dry = append(dry, weather.RelativeHumidityFrom(whole.At(weather.TemperatureC, w), whole.At(weather.DewPointC, w)) < 50)
		}
		s.day(dry, span)
	}
}

// dewErrors adds errors to the dew points after now, such as forecasts have.
func dewErrors(s *weather.Series, now time.Time, seed uint64) {
	from := s.Index(now) + 1
	errorsK := weather.DewErrors(2, s.Hours()-from, seed)[1]
	dew, humidity := s.Col(weather.DewPointC), s.Col(weather.RelativeHumidityPct)
	for k, errK := range errorsK {
		i := from + k
		air := s.At(weather.TemperatureC, i)
		dew[i] = min(dew[i]+errK, air)
		humidity[i] = weather.RelativeHumidityFrom(air, dew[i])
	}
}
