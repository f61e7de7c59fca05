package alerts

import (
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
)

// Kind is what a decision is about.
type Kind string

// The kinds.
const (
	Evening     Kind = "evening"      // tomorrow's run, every evening that it matters
	Change      Kind = "change"       // what was said of a run is no longer so
	NewRound    Kind = "new_round"    // a round that the plan has gained since the evening
	RoundOff    Kind = "round_off"    // what an evening sent people to is emptied already
	Overflow    Kind = "overflow"     // containers run over soon
	HardFreeze  Kind = "hard_freeze"  // full containers before a hard freeze
	BoilBy      Kind = "boil_by"      // sap that will not keep
	SeasonOpens Kind = "season_opens" // the first stretch worth tapping for
	EndNear     Kind = "end_near"     // buds within about ten days of turning the sap
	TasteIt     Kind = "taste_it"     // whether sap still tastes sweet, once
	EndHere     Kind = "end_here"
	Closed      Kind = "closed"    // all taps are pulled: thanks and figures
	DrySugar    Kind = "dry_sugar" // hours dry enough to stir sugar
	Learners    Kind = "learners"  // a day to bring learners
	Danger      Kind = "danger"    // wind or bitter cold for those in the bush
	// OfficialWarning is one of what is severe, into which a round falls.
	OfficialWarning Kind = "official_warning"
	NoForecast      Kind = "no_forecast"
	StaleFeed       Kind = "stale_feed" // to those who keep the machine
	ItWorks         Kind = "it_works"   // after the first evening of a bush
	QuietWeek       Kind = "quiet_week" // no run in sight
	Escalation      Kind = "escalation" // an urgent message that nobody has seen or got, to the keepers
	Reply           Kind = "reply"      // the answer to what somebody wrote
	Rescued         Kind = "rescued"    // the records were damaged, and a copy is in their place; to the keepers
	Question        Kind = "question"   // whether a warning came true, the evening after
)

// Thresholds are the bounds of the rules.
type Thresholds struct {
	RunProbability      float64 // from which an evening text is sent
	CalledOff           float64 // below which a run that was announced is called off
	MuchMore            float64 // factor of the median volume that is a material change
	Earlier             time.Duration
	OverflowProbability float64
	OverflowWithin      time.Duration
	FreezeC             float64
	FullShare           float64 // of a container, too full for a hard freeze
	BoilWithin          time.Duration
	EndWithin           time.Duration
	TeachingScore       int
	StaleAfter          time.Duration

	LookingAhead, GetReady Step // of big runs
	// What the settings say themselves: people's answers do not move it.
	RunChosen, OverflowChosen bool
}

// Usual are the thresholds where settings say nothing. A third of a chance is
// worth a text to someone who must plan the day; the bound for calling off lies
// well below it, so that a wobbling forecast does not chatter. A crew is told to get ready
// from a chance of one in five on: big runs that nobody got ready for cost more than
// splitting wood early. One that was called off is not told again until the evening before
// it, so that this waits until hardly any chance is left.
var Usual = Thresholds{
	RunProbability: 0.3, CalledOff: 0.1, MuchMore: 2, Earlier: 4 * time.Hour, OverflowProbability: 0.5, OverflowWithin: 30 * time.Hour,
	FreezeC: -8, FullShare: 0.7, BoilWithin: 24 * time.Hour, EndWithin: 10 * 24 * time.Hour, TeachingScore: 80, StaleAfter: 24 * time.Hour,
	LookingAhead: Step{LookingAhead, 3, 7, 0.6, 0.1}, GetReady: Step{GetReady, 2, 3, 0.25, 0.05},
}

// AnnounceFrom sets the chance from which a run is announced, and the one at which it
// is called off at most a third of that.
func (t *Thresholds) AnnounceFrom(chance float64) {
	t.RunProbability, t.CalledOff = chance, min(t.CalledOff, chance/3)
}

// Decision is one thing to tell. Key names it for good: the same key is never
// told twice.
type Decision struct {
	Kind   Kind      `json:"kind"`
	Site   string    `json:"site"`
	Key    string    `json:"key"`
	Until  time.Time `json:"until"`  // no use after it
	Urgent bool      `json:"urgent"` // may break quiet hours, where a person allows it
	Facts  Facts     `json:"facts"`
	// Why lists the inputs and thresholds that led to it, for people who ask.
	Why []string `json:"why"`
}

// Facts are what the words of a decision are made from.
type Facts struct {
	Date       string    `json:"date,omitempty"`  // of the run or day that it is about
	Group      string    `json:"group,omitempty"` // its name
	GroupID    string    `json:"group_id,omitempty"`
	At         time.Time `json:"at,omitzero"`
	VolumeL    float64   `json:"volume_l,omitempty"`
	Chance     float64   `json:"chance,omitempty"`
	LowC       *float64  `json:"low_c,omitempty"` // nil where a rule knows none: no text says 0° for it
	Score      int       `json:"score,omitempty"`
	What       string    `json:"what,omitempty"` // of a change: "called_off", "more", "earlier", "seen"; of a big run: "called_off", "moved"; of a new round: "moved"; of danger: the caution
	AgeHours   float64   `json:"age_hours,omitempty"`
	From, To   string    `json:",omitempty"`
	Window     time.Time `json:"window,omitzero"`
	Ends       time.Time `json:"ends,omitzero"` // of the hours that begin at At
	Percentage float64   `json:"percentage,omitempty"`
	Days       int       `json:"days,omitempty"`      // how far the forecast sees
	Due        time.Time `json:"due,omitzero"`        // of an overflow: when it is expected
	Announced  bool      `json:"announced,omitempty"` // of an evening: it says that sap will run
	Warning    string    `json:"warning,omitempty"`   // of a question: the key of what it asks about; of an official one: its id
	// Event and Issuer are an official warning's, in its issuer's words.
	Event  weather.Quoted `json:"event,omitempty"`
	Issuer weather.Quoted `json:"issuer,omitempty"`
	Rounds []NamedRound   `json:"rounds,omitempty"` // of an evening text: those that it names; of a new round: all that people know of then
	New    []NamedRound   `json:"new,omitempty"`    // of those, the ones that it tells of
	// Work is what people know of the work once a new round is told.
	Work *forecast.Announced `json:"work,omitempty"`
	Taps int                 `json:"taps,omitempty"` // that were in
	// OfGroups is how many groups had taps in, where a decision is about one of them.
	OfGroups int `json:"of_groups,omitempty"`
	// Untapped: nobody had said that they are in; nobody is asked what became of it.
	Untapped bool         `json:"untapped,omitempty"`
	Visits   int          `json:"visits,omitempty"`
	SyrupL   float64      `json:"syrup_l,omitempty"`
	Class    *ClassFacts  `json:"class,omitempty"`  // of a visit that is booked
	Bushes   *BushesFacts `json:"bushes,omitempty"` // of an overview
}

// Memory is what was said before.
type Memory interface {
	// Last is the newest decision of a kind for a site with a key that begins so,
	// and when it was made. An error means that nobody knows whether there is one.
	Last(site string, kind Kind, keyBegins string) (Decision, time.Time, bool, error)
}

// Moment says at what kind of moment the rules are asked.
type Moment struct {
	Now time.Time
	// Evening is true at the site's evening hour, First at the first one of all.
	Evening, First bool
}
