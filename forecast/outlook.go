package forecast

import (
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// Outlook is what is to be expected at one site: the one document that texts,
// pages, charts and alerts are made from. Volumes in litres, temperatures in
// °C, probabilities and scores for local calendar days.
type Outlook struct {
	Site        string           `json:"site"` // its id
	Bush        Bush             `json:"bush"`
	IssuedAt    time.Time        `json:"issued_at"` // the moment that counts as now, local
	Source      Source           `json:"source"`
	Days        []Day            `json:"days"`
	Work        Work             `json:"work"`
	Warnings    Official         `json:"warnings"`
	Stock       Stock            `json:"stock"`
	Boil        []BoilDay        `json:"boil"`
	House       HouseNow         `json:"house"`
	Sugar       []boil.SugarSpan `json:"sugar"`    // of days on which there is syrup
	Teaching    []TeachingDay    `json:"teaching"` // the best first
	Classes     []ClassPlan      `json:"classes"`  // visits that are booked, in their order
	Yields      []Yield          `json:"yields"`
	Offset      BushOffset       `json:"offset"`
	Eyes        Eyes             `json:"eyes"` // what bushes near by told of today
	Seen        *Nearby          `json:"-"`    // what was seen here today, for bushes near by; null where nothing was
	Earlier     Earlier          `json:"earlier"`
	Hours       Hours            `json:"hours"`
	Season      Season           `json:"season"`
	Cautions    []Caution        `json:"cautions"`
	Attribution []weather.Credit `json:"attribution"`
}

// Bush names the site.
type Bush struct {
	Name   string      `json:"name"`
	Zone   string      `json:"zone"`
	Taps   int         `json:"taps"`
	Groups []GroupName `json:"groups"`
	// People are those who may go on rounds.
	People []PersonName `json:"people"`
}

// PersonName is a person's id, as elsewhere in the document, and what people call them.
type PersonName struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// PersonName is what people call somebody, the id where no name is known.
func (b *Bush) PersonName(id string) string {
	for _, p := range b.People {
		if p.ID == id && p.Name != "" {
			return p.Name
		}
	}
	return id
}

// GroupName is a group's id, as elsewhere in the document, and what people call
// it.
type GroupName struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Taps int    `json:"taps"`
	// CapacityL is what its containers hold together, 0 if that is not known.
	CapacityL float64 `json:"capacity_l"`
	// Pulled is true once its taps are pulled: nothing else in the document is about it.
	Pulled bool `json:"pulled"`
	// Untapped is true while nobody has said that its taps are in, where somebody has said so of
	// other groups: nobody is sent there, and its sap is not counted.
	Untapped bool `json:"untapped"`
}

// CapacityL is what the containers of a group hold, 0 if that is not known.
func (b *Bush) CapacityL(id string) float64 {
	for i := range b.Groups {
		if b.Groups[i].ID == id {
			return b.Groups[i].CapacityL
		}
	}
	return 0
}

// GroupName is what people call a group, its id if it has no name.
func (b *Bush) GroupName(id string) string {
	for i := range b.Groups {
		if b.Groups[i].ID == id && b.Groups[i].Name != "" {
			return b.Groups[i].Name
		}
	}
	return id
}

// Source says whose weather this is and how old it is.
type Source struct {
	Name       string           `json:"name"`
	IssuedAt   time.Time        `json:"issued_at"`
	AgeHours   float64          `json:"age_hours"`
	Members    int              `json:"members"`        // futures reckoned with
	Spread     string           `json:"spread"`         // "members" of the service, or "estimated" from usual errors
	Kept       bool             `json:"kept,omitempty"` // no service answered: the last good forecast
	PastHours  int              `json:"past_hours"`
	PassedOver []PassedOver     `json:"passed_over,omitempty"`
	Remarks    []weather.Remark `json:"remarks,omitempty"`
	CoversDays int              `json:"covers_days"`
	// SeesDays is how many days ahead forecasts at this place tell more than a third of
	// what the usual spring leaves open.
	SeesDays int `json:"sees_days"`
}

// PassedOver is a service that gave nothing that can be used.
type PassedOver struct {
	Service string `json:"service"`
	Kind    string `json:"kind"`   // "unreachable", "refused", "busy", "unreadable", "outdated" or "outside"
	Detail  string `json:"detail"` // what happened, and the remedy, in English
}

func (p PassedOver) String() string { return p.Service + ": " + p.Detail }

// Class sorts a day by its median volume.
type Class string

// The classes, by share of a strong day.
const (
	Still     Class = "still"      // under a trickle
	Trickle   Class = "trickle"    // under a run
	Run       Class = "run"        // RunDayL and more
	StrongRun Class = "strong run" // seven tenths of a strong day and more
)

// Range is a volume or a date with its tenth, half and nine tenths.
type Range struct {
	P10 float64 `json:"p10"`
	P50 float64 `json:"p50"`
	P90 float64 `json:"p90"`
}

// Window is when the taps run, local; null where a run is unlikely.
type Window struct {
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
}

// MinMax is a day's lowest and highest hourly temperature, medians of the
// members.
type MinMax struct {
	Min float64 `json:"min"`
	Max float64 `json:"max"`
}

// Day is one local calendar day. Hours that the weather does not cover are left
// out of it, and Hours says how many it has; the rest of today is forecast, its
// first part worked out from the weather that was.
type Day struct {
	Date           string  `json:"date"`
	RunProbability float64 `json:"run_probability"`
	FlowScore      int     `json:"flow_score"`
	Class          Class   `json:"class"`
	Window         *Window `json:"window"`
	VolumeL        Range   `json:"volume_l"`
	TemperatureC   MinMax  `json:"temperature_c"`
	Hours          int     `json:"hours"`
	// The chances of a big run, one of the best quarter of run days, on the day, and on
	// the day or the next: when it comes is known later than that it comes.
	BigProbability       float64 `json:"big_probability"`
	BigOrNextProbability float64 `json:"big_or_next_probability"`
	// RunByProbability is the chance that sap runs on some day from tomorrow to this one, 0 of
	// today: days that are each unlikely may well bring a run between them.
	RunByProbability float64 `json:"run_by_probability"`
	// Why says of a warm day without a likely run what holds the sap back, "" for others.
	Why WhyStill `json:"why"`
}

// WhyStill is why no sap runs on a warm day.
type WhyStill string

// The reasons.
const (
	StillFrozen WhyStill = "frozen"   // the wood has not thawed
	NoFrost     WhyStill = "no_frost" // no freeze has charged it lately
)

// RoundGroup is one group on a round and the sap to be expected there.
type RoundGroup struct {
	Group   string  `json:"group"`
	Share   float64 `json:"share"`    // of its taps: a large group may be parted among rounds
	VolumeL float64 `json:"volume_l"` // to carry in; 0 where it is tipped out
	LowL    float64 `json:"low_l"`    // what is carried in with a chance of nine in ten
	HighL   float64 `json:"high_l"`   // and of one in ten
	TipOut  bool    `json:"tip_out"`  // what hangs there has gone bad
	AgeUsed float64 `json:"age_used"` // share of its life that the oldest sap has used up by then
}

// BoilDay is what a day means for the fire: what is boiled of the stock and of the rounds
// to come, and what stays.
type BoilDay struct {
	Date       string     `json:"date"`
	Start      *time.Time `json:"start"` // of the fire; null without
	End        *time.Time `json:"end"`
	SapL       float64    `json:"sap_l"` // to boil
	SyrupL     float64    `json:"syrup_l"`
	LeftL      float64    `json:"left_l"`      // good sap that stays in the sugarhouse in the evening
	KeepsUntil *time.Time `json:"keeps_until"` // the first of what stays; null where nothing does
	// KeepsLonger is true where all of what stays keeps beyond the known weather: KeepsUntil is
	// where that ends. BoilBy is when the first of what is boiled goes bad, null where it keeps longer.
	KeepsLonger   bool        `json:"keeps_longer"`
	BoilBy        *time.Time  `json:"boil_by"`
	SpoiltL       float64     `json:"spoilt_l"`    // has gone bad in the sugarhouse by the evening: tip it out
	HoursGiven    bool        `json:"hours_given"` // somebody has said when they boil; else it is eight to eight
	TooLittle     bool        `json:"too_little"`  // for the pan: it waits for more, or is finished in a smaller one
	GatheredL     float64     `json:"gathered_l"`  // by the rounds of the day
	NoRoomForL    float64     `json:"no_room_for_l"`
	Batch         *boil.Batch `json:"batch"` // what the fire comes to; null without
	PressureHPa   float64     `json:"pressure_hpa"`
	PressureKnown bool        `json:"pressure_known"` // forecast; else what is usual at the height
	HeightKnown   bool        `json:"height_known"`   // else at the sea: then only hours and wood can be told
	BoilingPointC float64     `json:"boiling_point_c"`
	DrawOffC      float64     `json:"draw_off_c"`
	Brix          float64     `json:"brix"`
	BrixMeasured  bool        `json:"brix_measured"`
	ByHour        []BoilHour  `json:"by_hour,omitempty"`
}

// HouseNow is what the sugarhouse boils in.
type HouseNow struct {
	Pans      []PanNow `json:"pans"`
	HoldBackL float64  `json:"hold_back_l"` // in all of a row of pans, until the fire is out; 0 for one pan
	Watchers  int      `json:"watchers"`    // people that the pans need; 0 where nobody has said what one can watch
	SyrupLost float64  `json:"syrup_lost"`  // share that stays in pan and filter, as boils in the book show it
}

// PanNow is a pan as measurements and the book's boils have it.
type PanNow struct {
	ID        string  `json:"id"` // "" of the only one, "finishing" of one that stands apart
	RateLH    float64 `json:"rate_l_per_h"`
	Learnt    bool    `json:"learnt"` // measured, or learnt from fires; else by its area
	Fires     int     `json:"fires"`  // of the book, that taught it
	HoldsL    float64 `json:"holds_l"`
	HoldBackL float64 `json:"hold_back_l"` // until the fire is out
}

// BoilHour is the draw-off point of an hour of today or tomorrow.
type BoilHour struct {
	Time          time.Time `json:"time"`
	BoilingPointC float64   `json:"boiling_point_c"`
	DrawOffC      float64   `json:"draw_off_c"`
}

// TeachingDay is how good a day is to bring learners, 0 to 100: a run to see,
// a boil on, weather that can be borne, in daylight, and hours to stir sugar.
type TeachingDay struct {
	Date           string       `json:"date"`
	Score          int          `json:"score"`
	RunProbability float64      `json:"run_probability"`
	Boil           bool         `json:"boil"`
	FeelsC         float64      `json:"feels_c"`
	Rain           bool         `json:"rain"`
	Sugar          boil.Dryness `json:"sugar"` // of the day's span, damp where it has none
}

// Yield is what is held of a group's yield, and how records have moved it.
type Yield struct {
	Group  string `json:"group"`
	Visits int    `json:"visits"` // of this season, learnt from
	// EarlierSeasons are those that the belief before this season's records comes from.
	EarlierSeasons int         `json:"earlier_seasons,omitempty"`
	Steps          []YieldStep `json:"steps"`
}

// BushOffset is how much warmer the bush is than the forecast's air, in K, as visits, its
// own thermometer, words about dripping and earlier seasons tell; without them from -1.3
// to 1.3. Everything else in the document is
// of the bush's own air.
type BushOffset struct {
	WarmerK        Range `json:"warmer_k"`
	Visits         int   `json:"visits"` // of this season, learnt from
	EarlierSeasons int   `json:"earlier_seasons,omitempty"`
	Lows           int   `json:"lows,omitempty"`  // of its thermometer, this season
	Highs          int   `json:"highs,omitempty"` // of its thermometer, this season
	Words          int   `json:"words,omitempty"` // that it dripped, or did not
	// At the lows of ordinary nights, and at the highs; null where no thermometer tells.
	DawnWarmerK *float64 `json:"dawn_warmer_k,omitempty"`
	DayWarmerK  *float64 `json:"day_warmer_k,omitempty"`
}

// Earlier is what was made of the seasons before this one.
type Earlier struct {
	BySums  int `json:"by_sums"`  // of which only the sums were known
	LeftOut int `json:"left_out"` // with too few records
}

// YieldStep is the belief after so many visits to all groups together: litres a
// tap in a usual season.
type YieldStep struct {
	After      int   `json:"after_visits"`
	SeasonLTap Range `json:"season_l_per_tap"`
}

// Season is where in the season the site stands.
type Season struct {
	Stage season.Stage `json:"stage"`
	// Tapped is true once a group is known to be tapped, by the settings, by a
	// visit or by a record of its taps.
	Tapped bool `json:"tapped"`
	// RunDays are expected in the next ten; WorthTapping is true where they are enough to
	// tap for and no group is tapped.
	RunDays      int       `json:"run_days"`
	WorthTapping bool      `json:"worth_tapping"`
	End          SeasonEnd `json:"end"`      // of good sap, when makers stop
	LastRun      SeasonEnd `json:"last_run"` // by the weather alone, weeks later
	// Closed is null until the taps of all groups are pulled.
	Closed *Closed `json:"closed"`
	// Buds and DegreeDays are null where this spring is not known from 1 March on.
	Buds       *BudDates   `json:"buds"`
	DegreeDays *DegreeDays `json:"degree_days"`
	// Groups tell of each group what is still to come; those that are pulled are left out.
	Groups []GroupSeason `json:"groups"`
	// Sap is that of all taps, this season: null out of season, and once it is over. Warmth is what
	// makes it turn; null where this spring is not known from February on.
	Sap    *SeasonSap `json:"sap"`
	Warmth *Warmth    `json:"warmth"`
	// Taste is null outside February to May.
	Taste *Taste `json:"taste"`
	// Signs are those that were noted this spring or in earlier ones.
	Signs []SeasonSign `json:"signs"`
}

// Taste is how likely sap is to taste off, which it does before buds open.
type Taste struct {
	OffBy  []OffBy `json:"off_by"` // today, and days to come
	Source string  `json:"source"` // CommonPractice: that the warmth at which makers stopped is that of the taste
	// Said is how sap tasted when somebody last wrote it down, sweet or off, on a local date;
	// "" where nobody did.
	Said   records.ObservationKind `json:"said"`
	SaidOn string                  `json:"said_on"`
}

// OffBy is the chance that sap tastes off by the end of a local date.
type OffBy struct {
	Date   string  `json:"date"`
	Chance float64 `json:"chance"`
}

// CommonPractice is the source of what makers say without a measurement.
const CommonPractice = "common practice"

// SeasonSign is a sign that people on the land go by.
type SeasonSign struct {
	Sign    string `json:"sign"`
	Springs int    `json:"springs"` // before this one, in which it was noted
	Seen    string `json:"seen"`    // local date in this spring, "" where it was not
	// By how many days it came before the first sap and before the end of good sap; null
	// where no earlier spring tells.
	BeforeRunDays *float64 `json:"before_run_days"`
	BeforeEndDays *float64 `json:"before_end_days"`
	MovesEndDays  float64  `json:"moves_end_days"` // 0 until it has earned it
}

// Closed is what a season gave, by the records, once all taps are pulled.
type Closed struct {
	On     string  `json:"on"` // local date of the last pull
	Visits int     `json:"visits"`
	SapL   float64 `json:"sap_l"`
	// SyrupL is what that comes to, by the sugar that was measured; null where less than
	// half of the sap was.
	SyrupL *float64 `json:"syrup_l"`
}

// BudDates are when leaf buds are likely to open.
type BudDates struct {
	Species string `json:"species"`
	SeasonEnd
	First        string `json:"first"`         // when its first buds likely open, flowers or leaves
	Noted        string `json:"noted"`         // local date on which somebody saw them open this spring, "" before
	NotedSprings int    `json:"noted_springs"` // before this one, from which the place was learnt
}

// DegreeDays let people compare the spring with their own trees.
type DegreeDays struct {
	AboveC     float64 `json:"above_c"`
	From       string  `json:"from"`
	SoFar      float64 `json:"so_far"`
	BudsOpenAt float64 `json:"buds_open_at"` // where they were learnt
}

// SeasonEnd holds local dates.
type SeasonEnd struct {
	P10 string `json:"p10"`
	P50 string `json:"p50"`
	P90 string `json:"p90"`
}

// Caution names something that hurts people at this work; words are found for
// it where it is shown.
type Caution string

// The cautions.
const (
	CautionEstimate Caution = "estimate" // a forecast is an estimate
	CautionHotPan   Caution = "hot_pan"
	CautionIce      Caution = "ice"
	CautionWind     Caution = "wind"
	CautionCold     Caution = "cold"
	CautionLifting  Caution = "lifting"
	CautionLimbs    Caution = "limbs" // fall on any day
	CautionAlone    Caution = "alone"
)
