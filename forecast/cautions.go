package forecast

import (
	"thawline/forecast/weather"
)

// limbsFallMS is a mean wind that brings limbs down, a strong breeze (common
// practice).
const limbsFallMS = 11

// cautions lists what is dangerous about this work, and about the coming day: wind that
// brings limbs down, and cold. Those that always hold are always there.
func cautions(o *Outlook, e *weather.Ensemble, c *calendar) []Caution {
	const bitterC = -18 // 0 °F
	windy, cold := 0.0, false
	if len(o.Days) > 1 {
		for h, d := range c.futureDay {
			if d == 1 {
				windy = max(windy, e.Futures[0].At(weather.WindSpeedMS, h))
			}
		}
		cold = o.Days[1].TemperatureC.Min <= bitterC
	}
	out := []Caution{CautionEstimate, CautionIce}
	if windy >= limbsFallMS {
		out = append(out, CautionWind)
	}
	if cold {
		out = append(out, CautionCold)
	}
	return append(out, CautionLimbs, CautionLifting, CautionAlone, CautionHotPan)
}
