package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// crew is what a way of going round came to over a season.
type crew struct {
	trips int
	lossL float64
	held  [5]float64 // by fifth of the taps, litres each
	used  float64    // share of its life that the oldest sap has used up
}

// unlike are the shares of the mean that fifths of the taps give, as the plan
// assumes (common practice).
var unlike = [5]float64{0.56, 0.76, 0.95, 1.19, 1.54}

const (
	replayTaps  = 50
	replayPailL = 7.5
	replayYield = 2.2
)

func (c *crew) hour(flowL, airC float64) {
	for k := range c.held {
		c.held[k] += flowL * unlike[k]
		if over := c.held[k] - replayPailL; over > 0 {
			c.lossL += over * replayTaps / 5
			c.held[k] = replayPailL
		}
	}
	if c.held[2] > 0.1 {
		c.used += rounds.LifePerHour(airC, rounds.PailHygiene)
	}
}

func (c *crew) gather() (litres float64) {
	for k := range c.held {
		litres += c.held[k] * replayTaps / 5
		c.held[k] = 0
	}
	if c.used >= 1 { // gathered, and poured away
		c.lossL += litres
	}
	c.used = 0
	c.trips++
	return litres
}

// The weather of 2015 on a hill in Massachusetts (CC0, Baumer et al., R package
// macleish), 50 pails of 7.5 L that give half as much again as the usual tap:
// the plan, made anew each morning from forecasts with the errors that
// forecasts have, against going every day at five and going when pails are full.
func TestPlanAgainstHabits(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	truth, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	site := bush(t)
	site.Place = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	site.Groups = []Group{{ID: "pails", Taps: replayTaps, Method: "pail", ContainerL: replayPailL,
		Tapped: time.Date(2015, 3, 1, 8, 0, 0, 0, zone)}}

	whole, flow, from := usualFlow(&truth, &site)

	season := func(gathers func(c *crew, at time.Time) bool) crew {
		var c crew
		for i := from; whole.Time(i).Before(time.Date(2015, 4, 20, 0, 0, 0, 0, zone)); i++ {
			c.hour(replayYield*flow[i], whole.At(weather.TemperatureC, i))
			if at := whole.Time(i + 1).In(zone); gathers(&c, at) {
				c.gather()
			}
		}
		return c
	}
	daily := season(func(_ *crew, at time.Time) bool { return at.Hour() == 17 })
	full := season(func(c *crew, at time.Time) bool { return at.Hour() == 17 && c.held[4] >= replayPailL })

	plan := func() crew {
		planned := crew{}
		var visits []records.Visit
		next := map[time.Time]bool{}
		for i := from; whole.Time(i).Before(time.Date(2015, 4, 20, 0, 0, 0, 0, zone)); i++ {
			planned.hour(replayYield*flow[i], whole.At(weather.TemperatureC, i))
			at := whole.Time(i + 1).In(zone)
			if at.Hour() == 7 || at.Hour() == 13 {
				now := at.Add(-time.Minute)
				course := forecastOf(&truth, site.Place, now, uint64(i))
				o, err := Make(Inputs{Site: site,
					Bulletin: weather.Bulletin{Source: "file", IssuedAt: now, Course: course, ElevationM: math.NaN()}, Visits: visits,
					Now: now, Seed: uint64(i)})
				if err != nil {
					t.Fatal(err)
				}
				clear(next)
				for i := range o.Work.Rounds {
					next[o.Work.Rounds[i].Start.UTC()] = true
				}
			}
			if next[at.UTC()] {
				litres := planned.gather()
				visits = append(visits, records.Visit{Group: "pails", CollectedAt: at, Taps: replayTaps, VolumeL: litres,
					BrixPct: math.NaN()})
			}
		}
		return planned
	}
	usual := plan()
	// Who goes when pails are full has to walk out every evening to see it.
	t.Logf("                 walks   gathered   litres run over or spoilt")
	t.Logf("every day at 5   %5d   %8d   %8.1f", daily.trips, daily.trips, daily.lossL)
	t.Logf("when full        %5d   %8d   %8.1f", daily.trips, full.trips, full.lossL)
	t.Logf("the plan         %5d   %8d   %8.1f", usual.trips, usual.trips, usual.lossL)
	near := func(x, want float64) bool { return math.Abs(x-want) <= 0.1*want }
	// By chance one storm passes with nothing lost or with some 20 L.
	if usual.trips > 30 || usual.lossL > 25 || daily.trips != 50 || daily.lossL > 4 || !near(full.lossL, 231) {
		t.Error("walks and losses are no longer those that the guide tells")
	}
}

// forecastOf is the truth until now, and after it a forecast that errs as
// forecasts do.
func forecastOf(truth *weather.Series, place weather.Place, now time.Time, seed uint64) weather.Series {
	split := truth.Index(now) + 1
	ahead := truth.Slice(split, split+240)
	ahead.FillGaps()
	ahead.Complete(place)
	past := truth.Slice(0, split)
	erring := weather.ErrorMembers(&ahead, place, now, 2, seed)[1]
	return past.Overlay(&erring)
}

// usualFlow is what a usual tap gave in truth, litres an hour on the hours of the
// weather with its gaps filled, bored when the first group was.
func usualFlow(truth *weather.Series, site *Site) (whole weather.Series, flow []float64, from int) {
	whole = truth.Slice(0, truth.Hours())
	whole.FillGaps()
	whole.Complete(site.Place)
	tree := trunk.NewTree(site.TreeDiameterM, site.Exposure, site.Place)
	state := tree.Rest(-5)
	wood := make([]trunk.Hour, whole.Hours())
	tree.Run(&state, &whole, weather.Suns(&whole, site.Place), wood)
	flow = make([]float64, len(wood))
	from = whole.Index(site.Groups[0].Tapped)
	var tap sap.State
	sap.Usual.Run(&tap, wood[from:], 0, flow[from:])
	return whole, flow, from
}
