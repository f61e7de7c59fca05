package weather

import (
	"math"
	"time"
)

// Hourly draws the course of temperature: from each low, at the first whole hour from
// half past five by the sun on, up to the high of the same day nine hours later, and down
// to the next low, so that each low and high is the air of an hour. Sunshine is what a day
// with that range of temperature usually has.
//
// The morning is half a cosine and half a quarter of a sine, the evening that of a body
// that cools: on the hill of 2015 (CC0, Baumer et al.) hours lie 2.2 K from what was
// measured (root mean square), half cosines all the way 2.5, since evenings fall faster at
// first; and from the same flow they give as much sap as the hours that were measured,
// where half cosines gave a tenth more. Lows of days from midnight to midnight are often
// those of the last hours before a colder night, 0.6 of them where the next low is lower by
// up to 2 K; raised to what the evening before suggests they gave more sap, not less, and
// ranked visits worse.
func (d *Daily) Hourly(place Place) Series {
	s := NewSeries(d.First, 24*d.Days())
	d.hourly(&s, place, clearSkies(Suns(&s, place)))
	return s
}

// HourlyAlike draws courses of the same days side by side, from one moment to another,
// with all that a stem needs, and the suns above them: each as Hourly and Complete would,
// but the sun is worked out once.
func HourlyAlike(courses []Daily, place Place, from, to time.Time) (air []Series, suns []Sun) {
	var clearWM2 []float64
	for k := range courses {
		d := &courses[k]
		s := NewSeries(d.First, 24*d.Days())
		if suns == nil {
			suns = Suns(&s, place)
			clearWM2 = clearSkies(suns)
		}
		d.hourly(&s, place, clearWM2)
		air = append(air, s)
	}
	if len(air) == 0 {
		return nil, nil
	}
	first := max(air[0].Index(from), 0)
	suns, clearWM2 = suns[first:], clearWM2[first:]
	for k := range air {
		air[k].cut(from, to)
		air[k].FillGaps()
		air[k].complete(place, clearWM2)
	}
	return air, suns[:air[0].Hours()]
}

// clearWM2 is the sunshine of a clear sky, by hour.
func (d *Daily) hourly(s *Series, place Place, clearWM2 []float64) {
	col, sun, cloud := s.Col(TemperatureC), s.Col(ShortwaveWM2), s.Col(CloudCoverPct)
	shift := -place.LongitudeDeg / 15 // UTC hour of midnight by the sun
	ranges := make([]float64, d.Days())
	for i := range ranges {
		ranges[i] = d.HighC[i] - d.LowC[i]
	}
	clear := clearShares(ranges)
	clouds := make([]float64, len(clear)) // as complete would tell them from the sunshine
	for i, share := range clear {
		clouds[i] = cloudPctOf(share)
	}
	const rise = HighSolarHour - LowSolarHour
	dawn := math.Ceil(LowSolarHour + shift)
	var shares [24]float64 // of the way from low to high, and then to the next low, by hour since dawn
	for h := range shares {
		if since := float64(h); since < rise {
			shares[h] = (HalfCosine(0, 1, since/rise) + math.Sin(math.Pi/2*(since/rise))) / 2
		} else {
			shares[h] = math.Expm1((rise - since) / coolingHours)
		}
	}
	wholeFall := math.Expm1((rise - 24) / coolingHours)
	for i := range col {
		day := int(math.Floor((float64(i) - dawn) / 24))
		since := i - int(dawn) - 24*day
		low, high := d.At(day)
		if float64(since) < rise {
			col[i] = low + (high-low)*shares[since]
		} else {
			next, _ := d.At(day + 1)
			col[i] = high + (next-high)*shares[since]/wholeFall
		}
		sun[i] = math.NaN()
		if day := int(math.Floor((float64(i) - shift) / 24)); day >= 0 && day < len(clear) {
			sun[i] = clear[day] * clearWM2[i]
			if clearWM2[i] >= tellingWM2 {
				cloud[i] = clouds[day]
			}
		}
	}
}

// coolingHours is the e-folding time of an evening: of 8 to 30 hours 14 to 20 lie nearest
// to the evenings of the hill.
const coolingHours = 20

// HalfCosine leads smoothly from a to b as share goes from 0 to 1.
func HalfCosine(a, b, share float64) float64 {
	return a + (b-a)*(1-math.Cos(math.Pi*share))/2
}

// clearShares are the shares of a clear sky's sunshine that days with such ranges of
// temperature, K, usually have: 1 - exp(-B range^2.4) with B from the mean range
// (Bristow and Campbell 1984, from memory), whose 0.7 of what comes from space is
// 0.98 of the clear sky of ClearSkyShortwaveWM2 in March at 42 to 46 degrees. NaN
// where the range is.
func clearShares(rangesK []float64) []float64 {
	mean, known := 0.0, 0.0
	for _, r := range rangesK {
		if !math.IsNaN(r) {
			mean += r
			known++
		}
	}
	b := 0.036 * math.Exp(-0.154*mean/known)
	out := make([]float64, len(rangesK))
	for i, r := range rangesK {
		out[i] = 0.98 * -math.Expm1(-b*math.Pow(max(r, 0), 2.4))
	}
	return out
}

// usualCloud is the cover, %, that lets through what days with such ranges of
// temperature usually have, by hour; the usual cover of the season where a day's range
// is not known.
func (s *Series) usualCloud(place Place) []float64 {
	const enough = 20 // hours of a day
	shift := -place.LongitudeDeg / 15
	dayOf := func(i int) int {
		return int(math.Floor((float64(i) + float64(s.start.Hour()) + 0.5 - shift + 24) / 24))
	}
	days := dayOf(s.hours) + 1
	low, high, count := make([]float64, days), make([]float64, days), make([]int, days)
	for i, t := range s.Col(TemperatureC) {
		if math.IsNaN(t) {
			continue
		}
		k := dayOf(i)
		if count[k] == 0 {
			low[k], high[k] = t, t
		}
		low[k], high[k] = min(low[k], t), max(high[k], t)
		count[k]++
	}
	ranges := make([]float64, days)
	for k := range ranges {
		ranges[k] = high[k] - low[k]
		if count[k] < enough {
			ranges[k] = math.NaN()
		}
	}
	byDay := clearShares(ranges)
	for k, share := range byDay {
		if byDay[k] = assumedCloudPct; !math.IsNaN(share) {
			byDay[k] = cloudPctOf(share)
		}
	}
	out := make([]float64, s.hours)
	for i := range out {
		out[i] = byDay[dayOf(i)]
	}
	return out
}
