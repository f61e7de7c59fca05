package forecast

import (
	"math"

	"thawline/forecast/boil"
	"thawline/forecast/weather"
)

func bushOf(site *Site) Bush {
	b := Bush{Name: site.Name, Zone: site.Zone.String(), Taps: site.Taps()}
	for _, g := range site.Groups {
		b.Groups = append(b.Groups, GroupName{g.ID, g.Name, g.Taps})
	}
	return b
}

func sourceOf(in *Inputs, e *weather.Ensemble, c *calendar) Source {
	spread := "estimated"
	if e.FromSource {
		spread = "members"
	}
	return Source{
		Name: in.Bulletin.Source, IssuedAt: in.Bulletin.IssuedAt.UTC(),
		AgeHours: round(max(in.Now.Sub(in.Bulletin.IssuedAt).Hours(), 0), 2),
		Members:  len(e.Futures), Spread: spread, Kept: in.Kept, PastHours: e.Past.Hours(),
		Passed: in.Passed, Notes: append(append([]string{}, in.Bulletin.Notes...), e.Notes...), CoversDays: len(c.dates),
	}
}

// boilDays gives the boiling points of the days whose air pressure is known,
// from the mean pressure between ten and six.
func boilDays(days []Day, e *weather.Ensemble, c *calendar) []BoilDay {
	sum, count := make([]float64, len(days)), make([]float64, len(days))
	for h, d := range c.futureDay {
		p := e.Futures[0].At(weather.SurfacePressureHPa, h)
		if hour := e.Futures[0].Time(h).In(c.zone).Hour(); d >= 0 && !math.IsNaN(p) && hour >= 10 && hour < 18 {
			sum[d] += p
			count[d]++
		}
	}
	out := []BoilDay{}
	for d := range days {
		if count[d] == 0 {
			continue
		}
		p := sum[d] / count[d]
		out = append(out, BoilDay{Date: days[d].Date, SapL: days[d].VolumeL, PressureHPa: round(p, 1),
			BoilingPointC: round(boil.WaterBoilsC(p), 2), DrawOffC: round(boil.DrawOffC(p), 2)})
	}
	return out
}

// cautions picks what is dangerous about the coming day: wind that brings limbs
// down, ice underfoot, cold, heavy pails, hot pans.
func cautions(o *Outlook, e *weather.Ensemble, c *calendar) []Caution {
	const (
		limbsFallMS = 11  // mean wind, a strong breeze (common practice)
		bitterC     = -18 // 0 °F
		heavyL      = 100
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
