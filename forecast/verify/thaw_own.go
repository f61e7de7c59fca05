package verify

import (
	"math"
	"time"

	"thawline/forecast/weather"
)

// Bush is one that lies off the grid that its forecasts are for.
type Bush struct {
	OffK        float64 // how much warmer it is than its grid
	Thermometer bool    // its lows and highs of the days before are known; nights count from the tenth day on
}

// ownDays is how many days a bush's thermometer has hung before its nights are scored.
const ownDays = 10

// seen are the low and high that a bush has, °F, where its station has others. Stations
// tell whole degrees.
func (b *Bush) seen(p *Pair) (low, high float64) {
	return math.Round(p.LowSeen + 1.8*b.OffK), math.Round(p.HighSeen + 1.8*b.OffK)
}

// learn tells, for each night that counts, how far the bush's thermometer has shifted low
// and high by its evening, °F. Cases are in order of time.
func (b *Bush) learn(cases []*Pair, models map[string]*ThawModel) (counted []*Pair, shifts [][2]float64) {
	if !b.Thermometer {
		return cases, make([][2]float64, len(cases))
	}
	first, days := map[string]time.Time{}, map[string][]weather.Beside{}
	for _, p := range cases {
		if _, known := first[p.Station]; !known {
			first[p.Station] = p.Night
		}
		if p.Night.Sub(first[p.Station]) >= ownDays*24*time.Hour {
			own := weather.LearnOwn(0, weather.UnknownOwnSDK, days[p.Station])
			counted, shifts = append(counted, p), append(shifts, [2]float64{1.8 * own.LowK, 1.8 * own.HighK})
		}
		// The high of the next day is over before the evening of the next night.
		low, high := models[p.Station].means(p)
		seenLow, seenHigh := b.seen(p)
		days[p.Station] = append(days[p.Station], weather.Beside{ErrorK: (seenLow - low) / 1.8, Clear: math.NaN()},
			weather.Beside{High: true, ErrorK: (seenHigh - high) / 1.8})
	}
	return counted, shifts
}
