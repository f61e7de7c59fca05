package records

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// HouseKind is what an entry about the sugarhouse says.
type HouseKind string

// The kinds of entry.
const (
	Boiled    HouseKind = "boiled"     // sap went into the pan, and syrup or sugar came of it
	SapLeft   HouseKind = "sap_left"   // so much sap lies there now, whatever was worked out
	TippedOut HouseKind = "tipped_out" // so much of the oldest sap was poured away; all that has gone bad where no figure is given
	WoodLeft  HouseKind = "wood_left"  // so much wood lies there now
	SyrupLeft HouseKind = "syrup_left" // so much syrup lies there now
)

// HouseKinds are all of them.
var HouseKinds = []HouseKind{Boiled, SapLeft, TippedOut, WoodLeft, SyrupLeft}

// HouseEntry is one line of the sugarhouse's book. Figures that were not given are NaN.
type HouseEntry struct {
	ID, Site  string
	Kind      HouseKind
	At        time.Time // of a boil: when the fire was out
	SapL      float64
	SyrupL    float64
	SugarKg   float64
	WoodCords float64 // burnt, or left
	Hours     float64 // of fire
	Note      string
	By        string // id of the person, "" where nobody is named
}

// The most that one entry may hold; beyond it a unit was mistaken (common practice).
const (
	mostSapL   = 100_000
	mostSyrupL = 5_000
	mostCords  = 200
	mostHours  = 96
)

// Check says what is wrong with an entry, nil if nothing is.
func (e *HouseEntry) Check() error {
	given := func(x float64) bool { return !math.IsNaN(x) }
	within := func(what string, x, most float64, unit string) error {
		if given(x) && (x < 0 || x > most) {
			return fmt.Errorf("%g %s of %s: between 0 and %g; check the number and its unit", x, unit, what, most)
		}
		return nil
	}
	if e.At.IsZero() {
		return fmt.Errorf("an entry of the sugarhouse without a day: say when it was")
	}
	if err := cmp.Or(within("sap", e.SapL, mostSapL, "L"), within("syrup", e.SyrupL, mostSyrupL, "L"),
		within("sugar", e.SugarKg, mostSyrupL, "kg"), within("wood", e.WoodCords, mostCords, "cords"), within("fire", e.Hours, mostHours, "hours")); err != nil {
		return err
	}
	switch e.Kind {
	case Boiled:
		if !(e.SapL > 0) {
			return fmt.Errorf("a boil without its sap: say how much went into the pan, such as 220 L")
		}
		if given(e.SyrupL) && e.SyrupL > e.SapL/4 {
			return fmt.Errorf("%g L of syrup from %g L of sap: more than a quarter; check the numbers and their units", e.SyrupL, e.SapL)
		}
	case SapLeft:
		if !given(e.SapL) {
			return fmt.Errorf("how much sap lies there? Write such as 120 L, or 0")
		}
	case WoodLeft:
		if !given(e.WoodCords) {
			return fmt.Errorf("how much wood lies there? Write such as 0.4 cord")
		}
	case SyrupLeft:
		if !given(e.SyrupL) {
			return fmt.Errorf("how much syrup lies there? Write such as 6 L, or 0")
		}
	case TippedOut:
	default:
		return fmt.Errorf("%q: no kind of entry; write one of %v", e.Kind, HouseKinds)
	}
	return nil
}

// SortHouse puts entries in the order of time, equal moments in the order of their ids.
func SortHouse(entries []HouseEntry) {
	slices.SortStableFunc(entries, func(a, b HouseEntry) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
}

// Like reports whether two entries say the same, their moments apart.
func (e *HouseEntry) Like(o *HouseEntry) bool {
	same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
	return e.Kind == o.Kind && same(e.SapL, o.SapL) && same(e.SyrupL, o.SyrupL) && same(e.SugarKg, o.SugarKg) && same(e.WoodCords, o.WoodCords) && same(e.Hours, o.Hours)
}
