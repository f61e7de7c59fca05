package verify

import (
	"fmt"
	"strings"

	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// Without says which parts of the model an ablation leaves out.
type Without struct {
	Sun, Wind   bool
	PhaseChange bool // the wood's water does not freeze: ice is told from its temperature
	Wood        bool // no tree at all: what the air does, the wood does
	PailIce     bool
}

var parts = []struct {
	name  string
	leave func(*Without)
}{
	{"sun", func(w *Without) { w.Sun = true }},
	{"wind", func(w *Without) { w.Wind = true }},
	{"phase-change", func(w *Without) { w.PhaseChange = true }},
	{"wood", func(w *Without) { w.Wood = true }},
	{"pail-ice", func(w *Without) { w.PailIce = true }},
}

// Parts names the parts that can be left out.
func Parts() []string {
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	return names
}

// Leave leaves the part of a name out.
func (w *Without) Leave(name string) error {
	for _, p := range parts {
		if p.name == name {
			p.leave(w)
			return nil
		}
	}
	return fmt.Errorf("%s is no part of the model; %s", name, units.Suggest(name, Parts(), "write one of "+strings.Join(Parts(), ", ")))
}

// from takes sun or wind out of the weather: an overcast night's sky, still
// air.
func (w Without) from(s *weather.Series) {
	if w.Sun {
		clear(s.Col(weather.ShortwaveWM2))
	}
	if w.Wind {
		clear(s.Col(weather.WindSpeedMS))
	}
}

// wood is maple whose water gives off no heat as it freezes.
func (w Without) wood(diameterM float64) trunk.Wood {
	wood := trunk.SugarMaple(diameterM)
	wood.LatentJM3 = 0
	return wood
}

// airAlone lets the wood be frozen whenever the air is below freezing.
func airAlone(s *weather.Series, wood []trunk.Hour) {
	for i := range wood {
		t := s.At(weather.TemperatureC, i)
		ice := min(max(-t, 0), 1)
		wood[i] = trunk.Hour{StemIce: ice, BranchIce: ice, WoodC: t}
	}
}
