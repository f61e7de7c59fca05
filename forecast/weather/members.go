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
	return errorMembers(control, Suns(control, place), place, now, count, seed)
}

func errorMembers(control *Series, suns []Sun, place Place, now time.Time, count int, seed uint64) []Series {
	rng := rand.New(rand.NewPCG(seed, 0x7361702d72756e73))
	out := make([]Series, 0, count)
	out = append(out, control.Slice(0, control.Hours()))
	clear := make([]float64, control.Hours())
	for i := range clear {
		clear[i] = ClearSkyShortwaveWM2(suns[i].ElevationDeg)
	}
	for len(out) < count {
		errs := drawErrors(control, place, now, rng, nil)
		for _, sign := range []float64{1, -1} {
			if len(out) < count {
				out = append(out, errs.apply(control, clear, sign))
			}
		}
	}
	return out
}

// courseError is one draw: kelvin by hour, and the logarithms of the factors on
// sunshine and wind by hour.
type courseError struct{ temperatureK, sunLog, windLog []float64 }

// drawErrors draws errors that, added to members whose standard deviation by hour is
// own, K, give at least the spread of forecasts' errors; nil for members that are all
// alike.
func drawErrors(control *Series, place Place, now time.Time, rng *rand.Rand, own []float64) courseError {
	m := &errorModel
	n := control.Hours()
	e := courseError{make([]float64, n), make([]float64, n), make([]float64, n)}

	solarHour := math.Mod(control.Start().Sub(control.Start().Truncate(24*time.Hour)).Hours()+place.LongitudeDeg/15+48, 24)
	type anchor struct{ hour, errK, slowShare float64 }
	lead0 := control.Start().Sub(now).Hours()
	var anchors []anchor
	var sunLogs []float64
	for day := -1; float64(day)*24-solarHour < float64(n)+24; day++ {
		for k, at := range []float64{LowSolarHour, HighSolarHour} {
			h := float64(day)*24 - solarHour + at
			z := rng.NormFloat64()
			local := math.Sqrt(min(max((h+lead0)/m.localRampHours, 0), 1)) * []float64{m.lowSDK, m.highSDK}[k]
			missing, slowShare := local, 1.0
			if own != nil {
				missing, slowShare = lacking(local, m.slowSD(h+lead0), own[min(max(int(math.Round(h)), 0), n-1)])
			}
			anchors = append(anchors, anchor{h, z * missing, slowShare})
			if k == 1 {
				alone := rng.NormFloat64()
				sunLogs = append(sunLogs, m.sunLogSD*(m.sunHighCorrelation*z+math.Sqrt(1-m.sunHighCorrelation*m.sunHighCorrelation)*alone))
			}
		}
	}

	slow := rng.NormFloat64()
	keep := math.Exp(-1 / m.slowMemoryHr)
	fresh := math.Sqrt(1 - keep*keep)
	windLog := rng.NormFloat64()
	a := 0
	for i := range n {
		h := float64(i)
		for a+2 < len(anchors) && anchors[a+1].hour <= h {
			a++
		}
		from, to := anchors[a], anchors[a+1]
		share := (h - from.hour) / (to.hour - from.hour)
		e.temperatureK[i] = HalfCosine(from.errK, to.errK, share) + slow*m.slowSD(h+lead0)*HalfCosine(from.slowShare, to.slowShare, share)
		e.sunLog[i] = sunLogs[min(int((h+solarHour)/24)+1, len(sunLogs)-1)]
		e.windLog[i] = m.windLogSD * windLog
		slow = keep*slow + fresh*rng.NormFloat64()
		windLog = keep*windLog + fresh*rng.NormFloat64()
	}
	return e
}

// apply adds the errors, with either sign; sunshine stays below that of a clear
// sky.
func (e courseError) apply(control *Series, clearWM2 []float64, sign float64) Series {
	s := control.Slice(0, control.Hours())
	temperature, dew, humidity := s.Col(TemperatureC), s.Col(DewPointC), s.Col(RelativeHumidityPct)
	sun, wind := s.Col(ShortwaveWM2), s.Col(WindSpeedMS)
	brighter, log := 1.0, 0.0 // the same through a day
	for i := range temperature {
		temperature[i] += sign * e.temperatureK[i]
		if !math.IsNaN(dew[i]) {
			dew[i] = min(dew[i]+sign*e.temperatureK[i]/2, temperature[i])
			humidity[i] = RelativeHumidityFrom(temperature[i], dew[i])
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
