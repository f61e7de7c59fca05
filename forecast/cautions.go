package forecast

import (
	"thawline/forecast/weather"
)

// limbsFallMS is a mean wind that brings limbs down, a strong breeze (common
// practice).
const limbsFallMS = 11

// cautions picks what is dangerous about the coming day: wind that brings limbs
// down, ice underfoot, cold, heavy pails, hot pans.
func cautions(o *Outlook, e *weather.Ensemble, c *calendar) []Caution {
	const (
		bitterC = -18 // 0 °F
		heavyL  = 100
	)
	out := []Caution{CautionEstimate}
	if len(o.Days) < 2 {
		return append(out, CautionHotPan)
	}
	tomorrow := o.Days[1]
	windy := 0.0
	for h, d := range c.futureDay {
		if d == 1 {
			windy = max(windy, e.Futures[0].At(weather.WindSpeedMS, h))
		}
	}
	if tomorrow.TemperatureC.Min < 0 && tomorrow.TemperatureC.Max > 0 {
		out = append(out, CautionIce)
	}
	if windy >= limbsFallMS {
		out = append(out, CautionWind)
	}
	if tomorrow.TemperatureC.Min <= bitterC {
		out = append(out, CautionCold)
	}
	if tomorrow.VolumeL.P50 >= heavyL {
		out = append(out, CautionLifting)
	}
	return append(out, CautionHotPan)
}
