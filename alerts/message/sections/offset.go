package sections

import (
	"math"
	"strings"

	"thawline/forecast"
	"thawline/forecast/units"
)

// offset says how much warmer the bush is than the forecast's air, and what told, once
// something has.
func (p *page) offset(o *forecast.BushOffset) {
	var told []string
	for _, by := range []struct {
		key string
		n   int
	}{{"offset_visits", o.Visits}, {"offset_lows", o.Lows}, {"offset_highs", o.Highs}, {"offset_words", o.Words}} {
		if by.n > 0 {
			told = append(told, p.w.Plural(by.key, by.n))
		}
	}
	switch {
	case len(told) > 0:
	case o.EarlierSeasons > 0:
		told = append(told, p.w.Plural("offset_earlier", o.EarlierSeasons))
	default:
		return
	}
	from := strings.Join(told, ", ")
	size, unit := 1.0, "°C"
	if p.system == units.US {
		size, unit = 1.8, "°F"
	}
	written := func(k float64) string {
		if size > 1 {
			return p.decimals(k*size, 0)
		}
		return p.decimals(math.Round(2*k)/2, 1)
	}
	mid := o.WarmerK.P50
	values := map[string]any{"From": from, "Unit": unit, "By": written(math.Abs(mid)),
		"Sure": written(max((o.WarmerK.P90-o.WarmerK.P10)/2, 0.6))}
	key := "offset_colder"
	switch {
	case math.Abs(mid) < 0.28:
		key = "offset_alike"
	case mid > 0:
		key = "offset_warmer"
	}
	p.head(Yields, p.say("offset_title", nil))
	said := p.say(key, values)
	if o.DawnWarmerK != nil && math.Abs(*o.DawnWarmerK-mid) >= 0.4 && math.Abs(*o.DawnWarmerK) >= 0.5 {
		key := "offset_dawn_colder"
		if *o.DawnWarmerK > 0 {
			key = "offset_dawn_warmer"
		}
		said += " " + p.say(key, map[string]any{"By": written(math.Abs(*o.DawnWarmerK)), "Unit": unit})
	}
	p.plain(said)
}
