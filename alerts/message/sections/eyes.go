package sections

import (
	"math"

	"thawline/forecast"
	"thawline/forecast/units"
)

// eyes tells what bushes near by saw today, which moved today's air here.
func (p *page) eyes(e *forecast.Eyes) {
	const hardlyK = 0.3
	if e.Reports == 0 {
		return
	}
	size, unit := 1.0, "°C"
	if p.system == units.US {
		size, unit = 1.8, "°F"
	}
	values := map[string]any{"By": p.decimals(math.Abs(e.WarmerK)*size, 1), "Unit": unit}
	key := "eyes_same"
	switch {
	case e.WarmerK > hardlyK:
		key = "eyes_warmer"
	case e.WarmerK < -hardlyK:
		key = "eyes_colder"
	}
	p.item(p.w.PluralWith(key, e.Reports, values))
}
