package weather

import (
	"math"
	"math/rand/v2"
	"time"
)

// errorModel holds the spread of a point forecast's errors. A low and the high
// after it err almost independently for the first two days (correlation 0.1),
// so the error is anchored at each low and each high and runs smoothly between
// them; a slower part, the weather arriving early, late or not at all, grows
// with lead time. Low and high errors were fitted to the February–April part of
// the archived US forecasts for nine northern stations in 2021: standard
// deviations of 1.9, 2.0 and 2.1 K for lows 12, 24 and 36 hours ahead and 1.6,
// 1.8 and 2.0 K for highs 24, 36 and 48 hours ahead.
var errorModel = courseErrorModel{
	lowSDK: 1.75, highSDK: 1.5, localRampHours: 12,
	slowSDK: 5, slowGrowthHr: 170, slowMemoryHr: 48,
	sunLogSD: 0.35, windLogSD: 0.3, sunHighCorrelation: 0.4, // common practice
}

type courseErrorModel struct {
	lowSDK, highSDK       float64 // local error of a low and of a high
	localRampHours        float64 // leads below this err less
	slowSDK, slowGrowthHr float64 // slow part: sd = slowSDK (1 - exp(-lead/slowGrowthHr))
	slowMemoryHr          float64 // its e-folding time of correlation
	sunLogSD, windLogSD   float64 // day-to-day errors of sunshine and wind, as logarithms
	sunHighCorrelation    float64 // a sunnier day than forecast is a warmer one
}

// slowSD is the standard deviation of the slow part at a lead, K.
func (m *courseErrorModel) slowSD(leadHours float64) float64 {
	return m.slowSDK * (1 - math.Exp(-max(leadHours, 0)/m.slowGrowthHr))
}

// lacking is what members of a standard deviation of their own lack of an error's:
// that of the local part, and the share of the slow one. The members' own spread is
// taken for the slow part first, weather that comes early, late or not at all.
func lacking(localSD, slowSD, ownSD float64) (missing, slowShare float64) {
	added := Dressing{SDK: math.Hypot(localSD, slowSD)}.AddedSDK(ownSD)
	if added <= localSD || slowSD == 0 {
		return min(added, localSD), 0
	}
	return localSD, math.Sqrt(added*added-localSD*localSD) / slowSD
}

// The local solar hours at which a day is usually coldest and warmest.
const (
	LowSolarHour  = 5.5
	HighSolarHour = 14.5
)

// ErrorMembers turns one forecast into count futures by adding errors such as
// forecasts of that lead time usually have. The first is the forecast itself,
// the others come in pairs of opposite errors, so that their mean stays true to
// it. Only temperature, dew point, humidity, sunshine and wind differ.
func ErrorMembers(control *Series, place Place, now time.Time, count int, seed uint64) []Series {
	return errorMembers(control, clearSkies(Suns(control, place)), place, now, count, seed)
}

func errorMembers(control *Series, clearWM2 []float64, place Place, now time.Time, count int, seed uint64) []Series {
	rng := rand.New(rand.NewPCG(seed, 0x7361702d72756e73))
	out := make([]Series, 0, count)
	out = append(out, control.Slice(0, control.Hours()))
	for _, errs := range drawErrors(control, place, now, rng, nil, count/2) {
		for _, sign := range []float64{1, -1} {
			if len(out) < count {
				out = append(out, errs.apply(control, clearWM2, sign))
			}
		}
	}
	return out
}

// courseError is one draw: kelvin by hour, and the logarithms of the factors on
// sunshine and wind by hour.
type courseError struct{ temperatureK, sunLog, windLog []float64 }

// drawErrors draws as many errors, each for a pair of members of opposite sign, that,
// added to members whose standard deviation by hour is own, K, give at least the
// spread of forecasts' errors; nil for members that are all alike. Each low and the
// high after it lie evenly over what may come, and each hour has the spread that it
// should: fifty independent draws would cost 0.01 of the Brier skill.
func drawErrors(control *Series, place Place, now time.Time, rng *rand.Rand, own []float64, pairs int) []courseError {
	m := &errorModel
	n := control.Hours()
	solarHour := math.Mod(control.Start().Sub(control.Start().Truncate(24*time.Hour)).Hours()+place.LongitudeDeg/15+48, 24)
	lead0 := control.Start().Sub(now).Hours()
	slowSD := make([]float64, n)
	for i := range slowSD {
		slowSD[i] = m.slowSD(float64(i) + lead0)
	}
	type anchor struct{ hour, localSDK, slowShare float64 }
	var anchors []anchor // a low, a high, and so on
	for day := -1; float64(day)*24-solarHour < float64(n)+24; day++ {
		for k, at := range []float64{LowSolarHour, HighSolarHour} {
			h := float64(day)*24 - solarHour + at
			local := math.Sqrt(min(max((h+lead0)/m.localRampHours, 0), 1)) * []float64{m.lowSDK, m.highSDK}[k]
			missing, slowShare := local, 1.0
			if own != nil {
				missing, slowShare = lacking(local, m.slowSD(h+lead0), own[min(max(int(math.Round(h)), 0), n-1)])
			}
			anchors = append(anchors, anchor{h, missing, slowShare})
		}
	}

	z := drawNormals(len(anchors)/2, n, pairs, m.slowMemoryHr, rng)
	alone := math.Sqrt(1 - m.sunHighCorrelation*m.sunHighCorrelation)
	meant := make([]float64, n) // variances
	between := make([]leg, n)   // where an hour lies between its anchors
	for a, i := 0, 0; i < n; i++ {
		h := float64(i)
		for a+2 < len(anchors) && anchors[a+1].hour <= h {
			a++
		}
		from, to := anchors[a], anchors[a+1]
		l := leg{a, 1 - math.Cos(math.Pi*(h-from.hour)/(to.hour-from.hour)), min(int((h+solarHour)/24)+1, len(z.sun)-1)}
		slow := slowSD[i] * l.between(from.slowShare, to.slowShare)
		toNext := l.between(0, 1)
		meant[i] = square((1-toNext)*from.localSDK) + square(toNext*to.localSDK) + square(slow)
		between[i], slowSD[i] = l, slow
	}
	out := make([]courseError, pairs)
	for p := range out {
		e := courseError{make([]float64, n), make([]float64, n), make([]float64, n)}
		errK := func(a int) float64 { return anchors[a].localSDK * z.local[a%2][a/2][p] }
		for i, l := range between {
			e.temperatureK[i] = l.between(errK(l.anchor), errK(l.anchor+1)) + z.slow[p][i]*slowSD[i]
			e.sunLog[i] = m.sunLogSD * (m.sunHighCorrelation*z.local[1][l.day][p] + alone*z.sun[l.day][p])
			e.windLog[i] = m.windLogSD * z.wind[p][i]
		}
		out[p] = e
	}
	if pairs >= fewestEven {
		spreadAs(out, meant)
	}
	return out
}

// leg is where an hour lies on the way from one anchor to the next: the anchor, twice the
// share of a half cosine, and the day.
type leg struct {
	anchor int
	risen  float64
	day    int
}

// between leads from a to b, as HalfCosine does.
func (l leg) between(a, b float64) float64 { return a + (b-a)*l.risen/2 }

// spreadAs scales errors of temperature so that, with their opposites and one nought,
// they have the variance of each hour.
func spreadAs(errs []courseError, variance []float64) {
	for i := range variance {
		sum := 0.0
		for p := range errs {
			sum += square(errs[p].temperatureK[i])
		}
		if sum > 0 {
			by := math.Sqrt(variance[i] * (float64(len(errs)) + 0.5) / sum)
			for p := range errs {
				errs[p].temperatureK[i] *= by
			}
		}
	}
}

// unmoved are the columns that members share with their control: nothing writes to them.
var unmoved = [...]Variable{CloudCoverPct, PrecipitationMM, SnowDepthM}

// apply adds the errors, with either sign; sunshine stays below that of a clear
// sky. Humidity is told by the dew point alone.
func (e courseError) apply(control *Series, clearWM2 []float64, sign float64) Series {
	moved := *control
	moved.cols[RelativeHumidityPct] = nil
	for _, v := range unmoved {
		moved.cols[v] = nil
	}
	s := moved.Slice(0, control.Hours())
	for _, v := range unmoved {
		s.cols[v] = control.cols[v]
	}
	temperature, dew := s.Col(TemperatureC), s.Col(DewPointC)
	sun, wind := s.Col(ShortwaveWM2), s.Col(WindSpeedMS)
	brighter, log := 1.0, 0.0 // the same through a day
	for i := range temperature {
		temperature[i] += sign * e.temperatureK[i]
		if !math.IsNaN(dew[i]) {
			dew[i] = min(dew[i]+sign*e.temperatureK[i]/2, temperature[i])
		}
		if sun[i] > 0 {
			if l := sign * e.sunLog[i]; l != log {
				brighter, log = math.Exp(l), l
			}
			sun[i] = min(sun[i]*brighter, max(sun[i], clearWM2[i]))
		}
		wind[i] *= math.Exp(sign * e.windLog[i])
	}
	return s
}
