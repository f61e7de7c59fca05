package config

import (
	"strings"
	"testing"

	"thawline/forecast/boil"
)

// Several pans are read in their order, each with what is its own; one pan is as it was.
func TestPansInARow(t *testing.T) {
	file := write(t, but("    groups:", `    boiling:
      finishing_area: 2 sqft
      finishing_fuel: gas
      pot: 15 L
      one_watches: 2
      pans:
        - {id: back, kind: flue, area: 8 sqft, depth: 2 in}
        - {id: front, area: 6 sqft, fuel: gas, hold_back: 1 in, rate: 20 L/h}
    groups:`))
	c, err := Load(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := c.Sites[0].Boiling
	if len(b.Row) != 2 || b.Row[0].ID != "back" || b.Row[0].Kind != boil.Flue || b.Row[0].Fuel != boil.Wood || b.Row[0].DepthM < 0.05 ||
		b.Row[1].Fuel != boil.Gas || b.Row[1].Rate() != 20 || b.Row[1].HoldBackM < 0.025 {
		t.Errorf("%+v", b.Row)
	}
	if last := b.Finishing(); last.Fuel != boil.Gas || b.Pans() != 3 || b.Watchers() != 2 || b.SyrupInPotL() != 5 {
		t.Errorf("%+v", b)
	}
	for want, pans := range map[string]string{
		"the area of the pan is missing": "{id: back}",
		"not below the depth":            "{id: back, area: 8 sqft, depth: 1 in, hold_back: 2 in}",
		"has this id already":            "{id: back, area: 8 sqft}, {id: back, area: 8 sqft}",
		"no pan boils that deep":         "{id: back, area: 8 sqft, depth: 80 in}",
	} {
		if _, err := Load(write(t, but("    groups:", "    boiling: {pans: ["+pans+"]}\n    groups:")), nil); err == nil ||
			!strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", pans, err, want)
		}
	}
}
