package rounds

import (
	"math"
	"time"
)

// Sap keeps like milk: a week at 38 °F (3.3 °C) in clean vessels (extension
// rule, from memory). Warmth shortens that by the square-root law of the growth
// of cold-loving microbes, with growth from -10 °C: (1 + T/10)² times as fast as
// at 0 °C (Ratkowsky 1982; Olley and Ratkowsky's relative rate, from memory). That makes
// 3.1 days at 10 °C. Makers speak of about two (common practice), for which growth would
// begin at -5 °C; but that calls a sixth of what was carried in and boiled in four
// recorded seasons spoilt, and this a hundredth (thawline backtest work).
const (
	// LongestHours is how long the rule speaks of.
	LongestHours     = 7 * 24
	keepsHoursAtZero = 7 * 24 * (1 + 0.333) * (1 + 0.333)
)

// Below FrozenC sap turns to ice, which stops its ageing; ice that is colder takes longer
// to melt, down to ColdestC (common practice: frozen sap keeps).
const (
	FrozenC  = -1.0
	ColdestC = -3.0
)

// AgeRate is how fast sap spoils at a temperature in °C, against 0 °C; sap that
// is frozen does not.
func AgeRate(c float64) float64 {
	if c < FrozenC {
		return 0
	}
	r := 1 + 0.1*max(c, 0)
	return r * r
}

// LifePerHour is the share of the life of sap that an hour takes. hygiene is 1
// for clean vessels and less for others.
func LifePerHour(c, hygiene float64) float64 {
	return AgeRate(c) / (keepsHoursAtZero * hygiene)
}

// PailHygiene and TankHygiene are how well sap keeps in pails under lids and in a clean
// covered tank (common practice: the same care for both). Makers in Wisconsin carried in and
// boiled sap of 2015 and 2020 of which half as long a life in pails would call half to two
// thirds spoilt; so it calls none of that, and of four recorded seasons a hundredth (thawline
// backtest work).
const (
	PailHygiene = 1.0
	TankHygiene = 1.0
)

// BoilBy is when sap that had used up a share of its life at a moment is
// spoilt: at the latest when it has stood unfrozen for a week, however cold it is, since
// that is as far as the rule goes. The temperatures are those of the hours from then on,
// °C; beyond them the last day's mean goes on, above freezing. A tank follows the air with
// a lag of lagHours.
func BoilBy(from time.Time, used float64, airC []float64, lagHours, hygiene float64) time.Time {
	if len(airC) == 0 {
		return from
	}
	sapC := max(airC[0], ColdestC)
	step := 1 - math.Exp(-1/max(lagHours, 1))
	sum, n, unfrozen := 0.0, 0.0, 0
	for h := 0; ; h++ {
		air := max(sum/max(n, 1), 0)
		if h < len(airC) {
			air = airC[h]
			if h >= len(airC)-24 {
				sum, n = sum+air, n+1
			}
		}
		sapC += step * (max(air, ColdestC) - sapC)
		hour := LifePerHour(sapC, hygiene)
		if hour > 0 {
			unfrozen++
		}
		if used += hour; used >= 1 || unfrozen >= LongestHours {
			return from.Add(time.Duration(h+1) * time.Hour)
		}
	}
}

// spoiltCounts is how many times as many microbes sap has when it has gone bad as when
// it ran clean: from some thousand to some ten million in a millilitre (from memory).
const spoiltCounts = 1e4

// MixedAge is the share of its life that a mixture has used up. Numbers of microbes add
// up, and each share of life multiplies them by as much, so that a little old sap ages
// much fresh sap less than its own age, and more than its share of the litres. Litres
// and shares belong together; without any litres it is 0.
func MixedAge(litres, used []float64) float64 {
	sum, counts := 0.0, 0.0
	for i, l := range litres {
		sum += l
		counts += l * math.Pow(spoiltCounts, used[i])
	}
	if sum <= 0 {
		return 0
	}
	return max(math.Log(counts/sum)/math.Log(spoiltCounts), 0)
}
