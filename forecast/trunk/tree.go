package trunk

import (
	"slices"

	"thawline/forecast/weather"
)

// Tree is a stem and its branches under one exposure, ready to be run through
// any number of weathers.
type Tree struct {
	grid         *Grid
	exposure     Exposure
	stemTable    *convection
	branchTable  *convection
	place        weather.Place
	stem, branch []Bark // working space, by hour

	decks []*deck // and for members, of each goroutine
}

// NewTree prepares a tree of the given stem diameter in m.
func NewTree(diameterM float64, e Exposure, place weather.Place) *Tree {
	return NewTreeOf(SugarMaple(diameterM), e, place)
}

// NewTreeOf prepares a tree of other wood.
func NewTreeOf(w Wood, e Exposure, place weather.Place) *Tree {
	return &Tree{
		grid: NewGrid(w), exposure: e, place: place,
		stemTable: newConvection(2 * w.RadiusM), branchTable: newConvection(2 * BranchRadiusM),
	}
}

// Coarse is the same tree followed in one step an hour instead of two: near enough for days
// of which only the usual weather is known. Its states are those of the tree.
func (t *Tree) Coarse() *Tree {
	c := *t
	c.grid, c.stem, c.branch, c.decks = newGrid(t.grid.wood, rings, ringGrowth, 1), nil, nil, nil
	return &c
}

// State is how far a tree is frozen at one moment.
type State struct {
	stem   Stem
	branch Branch
}

// Rest returns a tree at an even temperature in °C.
func (t *Tree) Rest(temperatureC float64) State {
	return State{t.grid.NewStem(temperatureC), t.grid.wood.NewBranch(temperatureC)}
}

// Clone is the same state, to be moved on its own.
func (s *State) Clone() State { return State{slices.Clone(s.stem), s.branch} }

// Hour is the wood at the end of an hour: shares of the freezable water that
// are ice, in the tapped wood and in the branches, and the wood's temperature
// at half a taphole's depth.
type Hour struct {
	StemIce, BranchIce float64
	WoodC              float64
}

// Run moves the state through every hour of the weather, which must have no
// gap in temperature, sunshine, cloud and wind, and writes one Hour for each to
// out. A Tree holds working space: use one per goroutine.
func (t *Tree) Run(s *State, w *weather.Series, suns []weather.Sun, out []Hour) {
	n := w.Hours()
	if cap(t.stem) < n {
		t.stem, t.branch = make([]Bark, n), make([]Bark, n)
	}
	stem, branch := t.stem[:n], t.branch[:n]
	Barks(stem, branch, t.exposure, w, 0, t.exposure.beams(suns), t.stemTable, t.branchTable)
	for i := range n {
		t.grid.Hour(s.stem, stem[i])
		t.grid.wood.HourOfBranch(&s.branch, branch[i])
		out[i] = Hour{
			StemIce:   t.grid.IceFraction(s.stem),
			BranchIce: t.grid.wood.BranchIceFraction(&s.branch),
			WoodC:     t.grid.wood.temperature(s.stem[t.grid.half]),
		}
	}
}
