package forecast

// GroupSeason is what a season still has in store for one group, and what to do about its
// taps. Volumes are of all its taps, of good sap alone.
type GroupSeason struct {
	Group   string    `json:"group"`
	Species string    `json:"species"`
	End     SeasonEnd `json:"end"` // of its good sap
	Buds    *BudDates `json:"buds"`
	// OffChance is how likely its sap has turned by tonight.
	OffChance float64 `json:"off_chance"`
	// HoleDays are those since its taps were bored, and HoleLeft the share of a fresh hole's
	// flow that is left; null while nobody has bored.
	HoleDays *int     `json:"hole_days"`
	HoleLeft *float64 `json:"hole_left"`
	// ToComeL is what comes from now on; of a group that is not tapped, if it were now.
	ToComeL Range `json:"to_come_l"`
	Brix    Range `json:"brix"` // of that, °Brix; measured lately, or usual for its maples
	// Taps says whether to leave them in; empty while there are none.
	Taps PullAdvice `json:"taps"`
	// TapWeeks are what boring in a coming week would give; none once it is tapped.
	TapWeeks []TapWeek `json:"tap_weeks"`
	// TapOn is the day of those that gives most; null once it is tapped.
	TapOn *string `json:"tap_on"`
}

// PullAdvice is what to do about taps that are in.
type PullAdvice string

// What it may say.
const (
	LeaveIn  PullAdvice = "leave"
	PullSoon PullAdvice = "pull_soon" // less than two run days are likely to come
	PullNow  PullAdvice = "pull"      // the sap has likely turned, or hardly any comes
)

// TapWeek is what taps give that are bored on a day, until the sap turns, litres.
type TapWeek struct {
	On      string `json:"on"` // local date
	SeasonL Range  `json:"season_l"`
	// GainL is what boring today gives more; it may be below nothing. In the mean it is
	// EarlyL, the runs before that day, less LaterL, which a fresher hole gives more after.
	GainL  Range   `json:"gain_l"`
	EarlyL float64 `json:"early_l"`
	LaterL float64 `json:"later_l"`
}

// SeasonSap is the sap of a season, of all taps, as it came and is likely to come until it
// turns: worked out from the weather and what visits taught.
type SeasonSap struct {
	// Whole is false where the weather since the taps were bored is not all known: what came
	// before From is missing.
	Whole   bool   `json:"whole"`
	From    string `json:"from"` // local date of the first of Days
	Today   int    `json:"today"`
	SoFarL  Range  `json:"so_far_l"`
	ToComeL Range  `json:"to_come_l"`
	TotalL  Range  `json:"total_l"`
	// Days hold the sum up to the end of each day, litres, and Good how likely sap is still
	// good on it.
	Days DayRange  `json:"days"`
	Good []float64 `json:"good"`
}

// DayRange holds one value a day for the tenth, the half and nine tenths.
type DayRange struct {
	P10 []float64 `json:"p10"`
	P50 []float64 `json:"p50"`
	P90 []float64 `json:"p90"`
}

// Warmth is the sum of what days lie above a temperature, kelvin days: sap turns at about
// the same each year.
type Warmth struct {
	AboveC  float64  `json:"above_c"`
	From    string   `json:"from"` // local date of the first of Days
	Today   int      `json:"today"`
	SoFar   float64  `json:"so_far"`
	TurnsAt Range    `json:"turns_at"`
	Days    DayRange `json:"days"`
	// Ended are the seasons of this place that taught when sap turns.
	Ended []WarmthEnd `json:"ended"`
}

// WarmthEnd is the warmth on the last day of a season's sap.
type WarmthEnd struct {
	On     string  `json:"on"` // local date
	Warmth float64 `json:"warmth"`
	Pulled bool    `json:"pulled"` // while it may still have been good
}
