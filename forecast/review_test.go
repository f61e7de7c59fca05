package forecast

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// missed is an invented season of which one evening went wrong for a cause that is known.
type missed struct {
	past PastInputs
	told Told
	by   Cause
}

const (
	missedDays = 40
	missedTaps = 100
	missedL    = 0.6 // a tap: what the cause moves the day by, at least
)

// inventedSpring is a spring's air at Madison, hour by hour.
func inventedSpring(rng *rand.Rand, start time.Time) weather.Series {
	w := weather.NewSeries(start, missedDays*24)
	slow, swing := 3*rng.NormFloat64(), 6.0
	for i := range w.Hours() {
		if i%24 == 0 {
			slow, swing = 0.7*slow+2*rng.NormFloat64(), 5+3*rng.Float64()
		}
		hour := float64(w.Time(i).Hour()) - 6 // local
		w.Col(weather.TemperatureC)[i] = -2.5 + 5*float64(i)/float64(w.Hours()) + slow - swing*math.Cos(2*math.Pi*(hour-4)/24)
	}
	return w
}

// flowIfWarmer is what a usual tap gives by the hour where the bush is so much warmer.
func flowIfWarmer(site *Site, w *weather.Series, warmerK float64) []float64 {
	course := w.Slice(0, w.Hours())
	course.Complete(site.Place)
	s := followPast(site, &weather.Ensemble{Past: course, PastSuns: weather.Suns(&course, site.Place)}, []float64{warmerK})
	return s.flow[0].strands[0]
}

// inventMiss lives through a spring in which a cause makes one evening wrong; ok is false
// where no day of it would do.
func inventMiss(t *testing.T, by Cause, seed uint64) (m missed, ok bool) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 28))
	site := bush(t)
	start := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	site.Groups = []Group{{ID: "pails", Taps: missedTaps, Method: "pail", ContainerL: 40, Tapped: start}}
	w := inventedSpring(rng, start)
	warmer, richer := 0.0, math.Exp(site.prior(0).LogMean)
	either := float64(2*rng.IntN(2) - 1)
	switch by {
	case ByPlace:
		warmer = 2.2 * either
	case ByTrees:
		richer *= math.Exp(0.9 * either)
	case ByWeather, ByHabit:
	}
	flow, usual := flowIfWarmer(&site, &w, warmer), flowIfWarmer(&site, &w, 0)
	erring := 5.5 * either
	day := 0 // on whose eve it goes wrong
	for d := range missedDays - 6 {
		h := d*24 + 17 // five in the afternoon
		gave := sumOf(flow[max(h-24, 0):h])
		moved := gave
		switch by {
		case ByWeather:
			wrong := w.Slice(0, h)
			for i := max(h-24, 0); i < h; i++ {
				wrong.Col(weather.TemperatureC)[i] += erring
			}
			if d > 9 {
				moved = gave - sumOf(flowIfWarmer(&site, &wrong, 0)[h-24:h])
			}
		case ByPlace:
			moved = gave - sumOf(usual[max(h-24, 0):h])
		case ByTrees, ByHabit:
		}
		if late := by == ByWeather || by == ByHabit; math.Abs(moved) >= missedL && (d > 9) == late && d > 1 {
			day = d
			break
		}
	}
	if day == 0 {
		return m, false
	}
	at := func(d int) time.Time { return start.Add(time.Duration(d*24+17) * time.Hour) }
	for d := 1; d < missedDays; d++ {
		gave := missedTaps * richer * sumOf(flow[d*24-7:d*24+17]) * math.Exp(0.2*rng.NormFloat64())
		if by == ByHabit && d == day {
			gave *= 0.25
		}
		m.past.Visits = append(m.past.Visits, records.Visit{Group: "pails", CollectedAt: at(d), VolumeL: gave, BrixPct: math.NaN()})
		if d > day {
			for _, kind := range []records.ObservationKind{records.Low, records.High} {
				local := at(d).In(site.Zone)
				from, to, err := kind.Window(local.Format(time.DateOnly), site.Zone)
				if err != nil {
					t.Fatal(err)
				}
				read, high, _ := w.Extremes(from, to)
				if kind == records.High {
					read = high
				}
				m.past.Observed = append(m.past.Observed,
					records.Observation{Kind: kind, Day: local.Format(time.DateOnly), At: to.Add(time.Minute),
						TemperatureC: read + warmer + 0.5*rng.NormFloat64()})
			}
		}
	}
	now := at(day - 1).Add(90 * time.Minute)
	course := w.Slice(0, day*24+48)
	if by == ByWeather {
		for i := (day-1)*24 + 19; i < course.Hours(); i++ {
			course.Col(weather.TemperatureC)[i] += erring
		}
	}
	p, err := Foresee(Inputs{Site: site, Visits: m.past.Visits[:day-1], Now: now, Seed: seed,
		Bulletin: weather.Bulletin{Source: "test", IssuedAt: now, Course: course, ElevationM: math.NaN()}})
	if err != nil {
		t.Fatal(err)
	}
	y := learnt(&p.in, p.held, p.bush, p.strands.flow, p.calendar)
	said := makeDays(&p.in.Site, &p.ensemble, p.strands.flow, p.calendar, y)[1]
	m.by, m.past.Site, m.past.Weather, m.past.From, m.past.To = by, site, w, start, w.End()
	m.told = Told{Date: said.Date, Group: "pails", SapL: said.VolumeL, CameL: m.past.Visits[day-1].VolumeL}
	return m, true
}

// The parts of a miss add up to it, and of a hundred invented misses with a known cause at
// least 85 have that cause for their largest part.
func TestReviewFindsTheCause(t *testing.T) {
	right, n := map[Cause]int{}, map[Cause]int{}
	all := 0
	for seed := uint64(1); all < 100; seed++ {
		by := Causes()[seed%4]
		one, ok := inventMiss(t, by, seed)
		if !ok || n[by] == 25 {
			continue
		}
		misses, err := Review(one.past, []Told{one.told})
		if err != nil || len(misses) != 1 {
			t.Fatalf("season %d: %d misses, %v", seed, len(misses), err)
		}
		m := &misses[0]
		sum := 0.0
		for _, c := range Causes() {
			sum += m.Parts[c]
		}
		if math.Abs(sum-(m.CameL-m.ToldL)) > 1e-9*(m.CameL+m.ToldL+1) {
			t.Errorf("season %d: parts sum to %g L of %g", seed, sum, m.CameL-m.ToldL)
		}
		all++
		n[by]++
		if m.Largest() == by {
			right[by]++
		} else {
			t.Logf("season %d: told %.0f, came %.0f: %s, not %s: %v", seed, m.ToldL, m.CameL, m.Largest(), by, m.Parts)
		}
	}
	found := 0
	for _, c := range Causes() {
		found += right[c]
		t.Logf("%s: %d of %d", c, right[c], n[c])
	}
	if found < 85 {
		t.Errorf("%d causes of 100 are found", found)
	}
}
