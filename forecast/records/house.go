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
	Stirred   HouseKind = "stirred"    // a batch of syrup was stirred to sugar
)

// HouseKinds are all of them.
var HouseKinds = []HouseKind{Boiled, SapLeft, TippedOut, WoodLeft, SyrupLeft, Stirred}

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
	Pan       string // of a boil: id of the one pan that it was in, "" for all of them
	Sugar     *SugarBatch
}

// SugarBatch is how a batch of sugar was made; every line of the kind stirred has one.
type SugarBatch struct {
	LeftC       float64 // by the thermometer, when it left the fire
	WaterC      float64 // where the same thermometer showed boiling water that day
	HumidityPct float64 // of the room, NaN where nobody knows
	Outcome     string  // one of SugarOutcomes
}

// SugarOutcomes are how sugar comes out: taken off too early, right, or too late.
var SugarOutcomes = []string{"caked", "poured", "lumps"}

// Published sugar stages lie between 40 and 45 °F above water; so many K above it nobody
// takes sugar off.
const leastRiseK, mostRiseK = 9.0, 38.0

// The most that one entry may hold; beyond it a unit was mistaken (common practice).
const (
	mostSapL   = 100_000
	mostSyrupL = 5_000
	mostCords  = 200
	mostHours  = 96
)

// HouseFault is why an entry of the sugarhouse can't be kept.
type HouseFault struct {
	Kind string // "moment", "much", "sap", "share", "wood", "syrup", "left", "water", "air", "outcome", "pan" or "kind"
	What string // of "much": "sap", "syrup", "sugar", "wood" or "fire"; of "kind": what was written; of "pan": those there are
}

func (f *HouseFault) Error() string {
	switch f.Kind {
	case "moment":
		return "an entry of the sugarhouse of no day, or of one to come: say when it was"
	case "much":
		return "that is too much " + f.What + ", or less than none: check the number and its unit"
	case "sap":
		return "say how much sap it was, such as 220 L"
	case "share":
		return "more than a quarter of the sap cannot be syrup: check the numbers and their units"
	case "wood":
		return "say how much wood is left, such as 0.4 cord"
	case "syrup":
		return "say how much syrup is left, such as 6 L"
	}
	if f.Kind == "pan" {
		return "no pan of that name; those there are: " + f.What
	}
	if says, known := sugarFaults[f.Kind]; known {
		return says
	}
	return fmt.Sprintf("%q: no kind of entry; write one of %v", f.What, HouseKinds)
}

var sugarFaults = map[string]string{
	"left":    "say at how many degrees the sugar left the fire: near 24 °C or 42 °F above boiling water",
	"water":   "say where the thermometer showed boiling water that day, such as 99.5 °C or 211 °F",
	"air":     "the humidity of the room is 5 to 100 per cent",
	"outcome": "say how it came out: caked, poured or lumps",
}

// Check says what is wrong with an entry at a moment: nil, or a *HouseFault.
func (e *HouseEntry) Check(now time.Time) error {
	fault := func(kind, what string) error { return &HouseFault{kind, what} }
	if e.At.Year() < firstYear || e.At.After(now.Add(time.Hour)) {
		return fault("moment", "")
	}
	for _, f := range []struct {
		what    string
		x, most float64
	}{{"sap", e.SapL, mostSapL}, {"syrup", e.SyrupL, mostSyrupL}, {"sugar", e.SugarKg, mostSyrupL}, {"wood", e.WoodCords, mostCords},
		{"fire", e.Hours, mostHours}} {
		if !math.IsNaN(f.x) && !(f.x >= 0 && f.x <= f.most) {
			return fault("much", f.what)
		}
	}
	switch kind := e.lacks(); kind {
	case "":
		return nil
	case "kind":
		return fault(kind, string(e.Kind))
	default:
		return fault(kind, "")
	}
}

// lacks is the kind of fault of an entry without what its kind asks for, "" if all is there.
func (e *HouseEntry) lacks() string {
	switch e.Kind {
	case Boiled:
		if !(e.SapL > 0) {
			return "sap"
		}
		if !math.IsNaN(e.SyrupL) && e.SyrupL > e.SapL/4 {
			return "share"
		}
	case SapLeft:
		if math.IsNaN(e.SapL) {
			return "sap"
		}
	case WoodLeft:
		if math.IsNaN(e.WoodCords) {
			return "wood"
		}
	case SyrupLeft:
		if math.IsNaN(e.SyrupL) {
			return "syrup"
		}
	case TippedOut:
	case Stirred:
		return e.Sugar.wrong()
	default:
		return "kind"
	}
	return ""
}

// wrong is the kind of fault of a batch, "" without one.
func (b *SugarBatch) wrong() string {
	switch {
	case b == nil || math.IsNaN(b.LeftC):
		return "left"
	case !(b.WaterC >= 80 && b.WaterC <= 105):
		return "water"
	case !(b.LeftC-b.WaterC >= leastRiseK && b.LeftC-b.WaterC <= mostRiseK):
		return "left"
	case !math.IsNaN(b.HumidityPct) && !(b.HumidityPct >= 5 && b.HumidityPct <= 100):
		return "air"
	case !slices.Contains(SugarOutcomes, b.Outcome):
		return "outcome"
	}
	return ""
}

// SortHouse puts entries in the order of time, equal moments in the order of their ids.
func SortHouse(entries []HouseEntry) {
	slices.SortStableFunc(entries, func(a, b HouseEntry) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
}

// Like reports whether two entries say the same, their moments apart.
func (e *HouseEntry) Like(o *HouseEntry) bool {
	same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
	if (e.Sugar == nil) != (o.Sugar == nil) || e.Pan != o.Pan {
		return false
	}
	if a, b := e.Sugar, o.Sugar; a != nil &&
		!(same(a.LeftC, b.LeftC) && same(a.WaterC, b.WaterC) && same(a.HumidityPct, b.HumidityPct) && a.Outcome == b.Outcome) {
		return false
	}
	return e.Kind == o.Kind && same(e.SapL, o.SapL) && same(e.SyrupL, o.SyrupL) && same(e.SugarKg, o.SugarKg) &&
		same(e.WoodCords, o.WoodCords) && same(e.Hours, o.Hours)
}
