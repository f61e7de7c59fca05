package rounds

import "time"

// Span is a stretch of time: from a moment until just before another.
type Span struct{ From, To time.Time }

// PlanRequest is everything that a plan of rounds depends on.
type PlanRequest struct {
	Start  time.Time // of the first hour of flows and air; a full hour
	Now    time.Time // no round starts before it, pinned ones aside
	Groups []TapGroup
	// AirC holds the air of each member, °C by the hour. Draw d of a group goes with
	// member d*len(AirC)/draws.
	AirC      [][]float64
	Helpers   []Helper
	Daylight  []Span // rounds lie inside, pinned ones aside
	Forbidden []Span // nobody goes
	Pins      []Pin
	Costs     RoundCosts
	Store     Store
	// AcceptedRisk is the chance that a group may run over before its next visit;
	// 0 for one in ten.
	AcceptedRisk float64
}

// TapGroup is taps that are alike and gathered together, and how they fill.
type TapGroup struct {
	ID   string
	Load // Start is not used
	// Minutes are what one person needs to empty the group, carrying to the
	// sugarhouse not counted. Two need half, but for a shared tank.
	Minutes float64
}

// Helper is somebody who gathers.
type Helper struct {
	ID   string // "" where nobody is named
	Free []Span
	Away []Span // of the hours in Free, those in which this helper can't
}

// Pin is a round that somebody has said they make. It stands whatever it is worth.
type Pin struct {
	Start  time.Time
	Who    []string
	Groups []string // none: the plan chooses, as far as hours allow
	Told   bool     // nobody has said so: an earlier plan sends them
}

// RoundCosts says what rounds cost and carry. The zero value stands for what is usual.
type RoundCosts struct {
	CarryL      float64 // of sap in one trip to the sugarhouse; 0 if one trip carries all
	TripWorthL  float64 // a trip must save that much sap
	WalkWorthL  float64 // a tap: less than that is not worth walking to
	TripMinutes float64 // to the bush, to the sugarhouse and back
	MaxAge      float64 // share of its life at which sap is spoilt; 0 if it never is
}

// Trip is what a trip must save, litres.
func (c *RoundCosts) Trip() float64 {
	if c.TripWorthL == 0 {
		return usualTripWorthL
	}
	return c.TripWorthL
}

// Store is the sugarhouse's tank, into which the sap of all rounds goes.
type Store struct {
	CapacityL float64   // 0 if nobody has said: then it never fills
	HeldL     float64   // now
	BoiledL   []float64 // by hour from the plan's start: what the pan can take out
}

// Plan is the rounds of the coming days: who goes when to which groups.
type Plan struct {
	Rounds []Round // by start
	Trips  int
	// LossL is expected to run over, burst or spoil with these rounds, LossWithoutL
	// if nobody goes at all.
	LossL, LossWithoutL float64
	Groups              []GroupRisk // in the order of the request
	ShortOf             []Shortage  // by day, where the accepted risk can't be kept
	// LateHours are the tap-hours at more than the accepted risk, by how much it is beyond
	// that; 0 where the accepted risk is kept.
	LateHours float64
	// Proven says that no other plan has fewer LateHours, or as many and a lower CostL.
	Proven bool
	// CostL is what is minimised after the risk: the loss, trips and walks by what they
	// must save, and a little for ice that visits leave.
	CostL float64
}

// Round is one helper, or two together, with some of the groups.
type Round struct {
	Start, End time.Time
	Who        []string
	Groups     []GroupLoad
	Trips      int
	Minutes    int
	Pinned     bool
	Pin        int // of the request's, from 1; 0 where nobody asked for it
}

// GroupLoad is one group on a round.
type GroupLoad struct {
	Group string
	Share float64 // of its taps: groups that are too large for anybody's hours are split
	// What there is to gather, litres: four draws in five lie between LowL and HighL.
	LowL, MidL, HighL, MeanL float64
	TipOut                   bool      // it is spoilt by then
	AgeUsed                  float64   // share of its life that the oldest of it has used up by then
	RunsOver                 float64   // chance that the group does so before this visit
	Latest                   time.Time // start at which the visit still does as much
	SavesL                   float64   // expected loss without this visit, less that with it
	Why                      Why
}

// Why a group is gathered.
type Why string

// The reasons to gather.
const (
	WhyOverflow Why = "overflow"
	WhyAge      Why = "age"
	WhyFreeze   Why = "freeze"
	WhyPinned   Why = "pinned"
)

// GroupRisk is what a group has to expect under a plan.
type GroupRisk struct {
	Group    string
	RunsOver float64 // the largest chance that it does so before a visit, or before the plan ends
	LossL    float64
}

// Shortage says that on a day somebody's accepted risk can't be kept, and for want
// of what.
type Shortage struct {
	What      Want
	On        time.Time // start of the hour in which the first group should have been visited
	NeededL   float64   // to be carried in on that day
	PossibleL float64   // of that, what the plan's rounds carry
	Groups    []string
}

// Want is what a shortage is of.
type Want string

// What can be short.
const (
	WantHands    Want = "hands"
	WantCarrying Want = "carrying"
	WantDaylight Want = "daylight"
	WantPan      Want = "pan"
	WantTank     Want = "tank"
)

const (
	usualAcceptedRisk = 0.1
	usualTripWorthL   = 25   // as much sap as makes a good pint of syrup
	usualTripMinutes  = 20   // common practice
	usualWalkWorthL   = 0.1  // a tap (common practice)
	overRiskL         = 1e4  // a tap-hour: the accepted risk comes before any litres
	leftIceL          = 0.02 // a litre of ice that a visit leaves: who can wait goes after the thaw (common practice)
	startEvery        = 60   // minutes
	mostStarts        = 60   // of a plan; beyond them not every hour is tried
	mostParts         = 6    // into which a group is split
	tiny              = 1e-9 // of a cost
)
