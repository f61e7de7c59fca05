// Package maple knows how the maples that are tapped differ.
package maple

import (
	"fmt"
	"strings"
)

// Species is a maple, as settings and documents name it. The zero value is the one that
// most makers tap.
type Species string

// The species that settings name.
const (
	Sugar Species = "sugar maple"
	Red   Species = "red maple"
	Other Species = "other"
)

// All are the names that are allowed.
var All = []Species{Sugar, Red, Other}

// Parse reads a species as settings write it: sugar maple, sugar_maple, Sugar Maple.
func Parse(text string) (Species, error) {
	name := Species(strings.ToLower(strings.Join(strings.Fields(strings.ReplaceAll(text, "_", " ")), " ")))
	for _, s := range All {
		if s == name {
			return s, nil
		}
	}
	return "", fmt.Errorf("%s: no such species here; use one of sugar maple, red maple, other", text)
}

// Name is the species' name: of the zero value that of the sugar maple.
func (s Species) Name() Species {
	if s == "" {
		return Sugar
	}
	return s
}

// Traits are how one species differs. What has no figure in Table is the same for all.
type Traits struct {
	DensityKgM3   float64 // of dry wood in the volume of green wood
	Yield         float64 // sap of a day, for a sugar maple's
	YieldLogSD    float64 // how far bushes of it stray, as a logarithm
	Sugar         float64 // of its sap, for a sugar maple's
	SugarLogSD    float64 // how far its sap strays from that, as a logarithm
	Warmth        float64 // of a spring at which its sap turns, for a sugar maple's
	WarmthLogSD   float64 // how much wider that is known than of a place's sugar maples
	LeavesDays    float64 // its leaf buds open that much later than a sugar maple's
	FirstBudsDays float64 // and the first buds that it opens, leaves or flowers
	BudsSDDays    float64 // how far that strays
}

// Of are the traits of a species.
func Of(s Species) Traits {
	var t Traits
	for i := range Table {
		row := &Table[i]
		*row.of(&t) = row.Value(s)
	}
	return t
}

// Parameter is a row of the table: a value for each species and where it comes from.
type Parameter struct {
	Name, Unit, Source string
	sugar, red, other  float64
	of                 func(t *Traits) *float64
}

// Value is the parameter of a species.
func (p *Parameter) Value(s Species) float64 {
	switch s {
	case Red:
		return p.red
	case Other:
		return p.other
	case Sugar:
	}
	return p.sugar
}

const (
	handbook  = "Wood Handbook FPL-GTR-190 ch. 5 (green; from memory); other: silver and bigleaf maple, box elder"
	budsOfHF  = "red maple 1990 to 1996 beside sugar maple, Harvard Forest HF003 (O'Keefe)"
	turnsWhen = "red maple turns one to two weeks before sugar maple (common practice); "
)

// Table lists what differs between the species.
var Table = []Parameter{
	{"density of wood", "kg/m³", handbook, 560, 490, 460, func(t *Traits) *float64 { return &t.DensityKgM3 }},
	{"sap of a day", "of a sugar maple's", "from memory", 1, 0.9, 0.8, func(t *Traits) *float64 { return &t.Yield }},
	{"spread of yields", "logarithm", "common practice for sugar maple, else from memory", 0.4, 0.45, 0.6,
		func(t *Traits) *float64 { return &t.YieldLogSD }},
	{"sugar of sap", "of a sugar maple's", "from memory: 1.7 for 2.1 °Brix side by side", 1, 0.8, 0.7,
		func(t *Traits) *float64 { return &t.Sugar }},
	{"spread of sugar", "logarithm", "sugar maple stands of 1.6 to 2.6 °Brix (common practice), else from memory", 0.18, 0.2, 0.3,
		func(t *Traits) *float64 { return &t.SugarLogSD }},
	{"warmth when sap turns", "of a sugar maple's", turnsWhen + "from memory", 1, 0.75, 0.75,
		func(t *Traits) *float64 { return &t.Warmth }},
	{"spread of that", "logarithm", "from memory", 0, 0.15, 0.35, func(t *Traits) *float64 { return &t.WarmthLogSD }},
	{"leaf buds open", "days after a sugar maple's", budsOfHF, 0, 3.7, 0, func(t *Traits) *float64 { return &t.LeavesDays }},
	{"first buds open", "days after a sugar maple's leaves", budsOfHF + ": its flowers", 0, -15.6, -10,
		func(t *Traits) *float64 { return &t.FirstBudsDays }},
	{"spread of buds", "days", budsOfHF + "; other from memory", 0, 3, 10, func(t *Traits) *float64 { return &t.BudsSDDays }},
}
