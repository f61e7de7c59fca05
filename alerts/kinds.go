package alerts

import (
	"slices"
	"time"

	"thawline/forecast"
)

// Audience is who hears of a kind of alert, by role.
type Audience string

// The audiences. Keepers hear everything that is sent by role.
const (
	Everybody       Audience = "everybody"         // keepers, crew and viewers: what matters for a visit too
	WhoGathers      Audience = "who gathers"       // keepers and crew
	WhoBringsOthers Audience = "who brings others" // keepers and viewers
	Keepers         Audience = "keepers"
	Addressed       Audience = "addressed" // the people that a decision names, whatever their role
)

var rolesOf = map[Audience][]string{
	Everybody: {"keeper", "crew", "viewer"}, WhoGathers: {"keeper", "crew"}, WhoBringsOthers: {"keeper", "viewer"}, Keepers: {"keeper"},
	Addressed: {},
}

// Urgency is how a kind reaches people, in the words of RFC 8030 (section 5.3), which
// tell a browser's push service whether to wake a phone that saves its battery.
type Urgency string

// The urgencies. What is High may also break quiet hours where a person allows it, and
// goes on to the keepers where nobody answers.
const (
	Low    Urgency = "low"
	Normal Urgency = "normal"
	High   Urgency = "high"
)

// InFeed is whether the Atom feed has a kind: what matters to a bush, not what was said
// to one person, nor what only those who look after the machine need.
type InFeed string

// The answers.
const (
	Published InFeed = "published"
	Private   InFeed = "private"
)

// Entry is what the calendar has for a kind: it is made from the outlook, and shows a
// thing that an alert speaks of on its day.
type Entry string

// The entries.
const (
	RunEntry   Entry = "run"
	RoundEntry Entry = "round"
	BoilEntry  Entry = "boil"
	NoEntry    Entry = "none"
)

// Season is when in the year a kind is told.
type Season string

// The seasons.
const (
	Anytime Season = "any time"
	// InSeason is from the usual start, or from the tapping, until the season is over and
	// nobody gathers any more.
	InSeason Season = "in season"
	// WhileSapRuns ends where people were told that the season is over, until somebody
	// gathers after that.
	WhileSapRuns Season = "while sap runs"
)

// Warning is a kind's place in the Common Alerting Protocol: category, urgency,
// severity and certainty of OASIS CAP 1.2 (July 2010), section 3.2.2. Urgency and certainty
// are those of decisions that know neither a chance nor an hour: see By.
type Warning struct{ Category, Urgency, Severity, Certainty string }

// NoWarning is for kinds that do not warn of danger or loss.
var NoWarning = Warning{"none", "none", "none", "none"}

// By is the warning's place by what a decision knows: certainty by its chance (Likely is
// above one half in CAP), urgency by how long it was until it is expected, and never more
// than Expected for what is no more than possible.
func (w Warning) By(d *Decision, made time.Time) Warning {
	const now, soon = time.Hour, 12 * time.Hour
	likely := d.Facts.Chance > 0.5
	if d.Facts.Chance > 0 {
		w.Certainty = "Possible"
		if likely {
			w.Certainty = "Likely"
		}
	}
	if d.Facts.Due.IsZero() {
		return w
	}
	switch lead := d.Facts.Due.Sub(made); {
	case lead <= now && likely:
		w.Urgency = "Immediate"
	case lead <= soon:
		w.Urgency = "Expected"
	default:
		w.Urgency = "Future"
	}
	return w
}

// Profile is all that is fixed about one kind of alert.
type Profile struct {
	Kind     Kind
	Audience Audience
	Season   Season
	Urgency  Urgency
	InFeed   InFeed
	Entry    Entry
	Warning  Warning
	// Says are the ways in which the kind is worded: what follows the kind in the key of
	// its words, "" for the kind's own.
	Says []string
}

var (
	itself        = []string{""}
	saidElsewhere = []string{} // the evening text, and words that repeat or answer others'
)

// Profiles is the one table of kinds: who hears of each, how urgently, where it is
// published and what it says. A cell that is left out does not compile; an empty one, or
// a kind without a row, fails a test.
var Profiles = []Profile{
	{LookingAhead, WhoGathers, WhileSapRuns, Normal, Published, RunEntry, NoWarning, []string{"", "called_off"}},
	{GetReady, WhoGathers, WhileSapRuns, Normal, Published, RunEntry, NoWarning, []string{"", "called_off", "moved"}},
	{Evening, Everybody, WhileSapRuns, Normal, Published, RunEntry, NoWarning, saidElsewhere},
	{Change, Everybody, WhileSapRuns, Normal, Published, RunEntry, NoWarning, []string{"called_off", "more", "earlier", "seen", afterAll}},
	{NewRound, WhoGathers, WhileSapRuns, Normal, Private, NoEntry, NoWarning, []string{"", movedRound}},
	{RoundOff, WhoGathers, InSeason, Normal, Private, NoEntry, NoWarning, itself},
	{NoForecast, Everybody, WhileSapRuns, Normal, Published, NoEntry, NoWarning, []string{"", "at_all", "ever"}},
	{Overflow, WhoGathers, InSeason, High, Published, RoundEntry, Warning{"Safety", "Expected", "Moderate", "Likely"}, []string{"", late}},
	{HardFreeze, WhoGathers, InSeason, High, Published, RoundEntry, Warning{"Met", "Expected", "Moderate", "Likely"}, itself},
	{Danger, WhoGathers, InSeason, Normal, Published, NoEntry, Warning{"Safety", "Expected", "Minor", "Likely"}, []string{"wind", "cold"}},
	{OfficialWarning, WhoGathers, InSeason, High, Private, NoEntry, NoWarning, []string{"", "now"}}, // the issuer publishes it, not we
	{BoilBy, WhoGathers, InSeason, Normal, Published, BoilEntry, NoWarning, []string{"", goneBad, firstRound, inTank, tankBad}},
	{SeasonOpens, WhoGathers, Anytime, Normal, Published, NoEntry, NoWarning, itself},
	{EndNear, WhoGathers, InSeason, Normal, Published, NoEntry, NoWarning, itself},
	{TasteIt, WhoGathers, WhileSapRuns, Normal, Private, NoEntry, NoWarning, itself},
	{EndHere, WhoGathers, Anytime, Normal, Published, NoEntry, NoWarning, itself},
	{Closed, Everybody, Anytime, Normal, Published, NoEntry, NoWarning, []string{"", "syrup", "nothing"}},
	{DrySugar, Keepers, InSeason, Normal, Published, NoEntry, NoWarning, itself},
	{Learners, WhoBringsOthers, WhileSapRuns, Normal, Published, NoEntry, NoWarning, itself},
	{ClassVisit, Keepers, Anytime, Normal, Private, NoEntry, NoWarning,
		[]string{string(forecast.Dripping), string(forecast.FromStock), boilsSyrup, string(forecast.Indoors)}},
	{ClassOff, Everybody, Anytime, Normal, Private, NoEntry, NoWarning, []string{"", afterAll}},
	{StaleFeed, Keepers, WhileSapRuns, Normal, Private, NoEntry, NoWarning, []string{"", "ever"}},
	{ItWorks, Keepers, Anytime, Normal, Private, NoEntry, NoWarning, itself},
	{QuietWeek, WhoGathers, WhileSapRuns, Low, Published, NoEntry, NoWarning, []string{"", notClear}},
	{Overview, Addressed, Anytime, Normal, Private, NoEntry, NoWarning, saidElsewhere}, // DecideOverview knows the season
	{Escalation, Addressed, Anytime, Normal, Private, NoEntry, NoWarning, saidElsewhere},
	{Reply, Addressed, Anytime, Normal, Private, NoEntry, NoWarning, saidElsewhere},
	{Rescued, Addressed, Anytime, Normal, Private, NoEntry, NoWarning, saidElsewhere},
	{Question, Addressed, Anytime, Low, Private, NoEntry, NoWarning, []string{"overflow", "overflow_tank", "boil_by", "evening"}},
}

// ProfileOf returns a kind's row of the table, or false for a kind that has none.
func ProfileOf(k Kind) (Profile, bool) {
	at := slices.IndexFunc(Profiles, func(p Profile) bool { return p.Kind == k })
	if at < 0 {
		return Profile{}, false
	}
	return Profiles[at], true
}

// HeardBy reports whether people of a role are told of a kind because of their role: of
// none that has no row, nor of one that goes to the people it is addressed to.
func (k Kind) HeardBy(role string) bool {
	p, known := ProfileOf(k)
	return known && slices.Contains(rolesOf[p.Audience], role)
}

// Urgent reports whether a kind may break quiet hours and is escalated.
func (k Kind) Urgent() bool {
	p, _ := ProfileOf(k)
	return p.Urgency == High
}

// ByRole reports whether a kind is told to people because of their role.
func (p *Profile) ByRole() bool { return p.Audience != Addressed }

// Warns reports whether a kind is published as a warning.
func (p *Profile) Warns() bool { return p.Warning != NoWarning }

// KindsWhere returns the kinds whose row passes, in the order of the table.
func KindsWhere(passes func(*Profile) bool) []Kind {
	var kinds []Kind
	for i := range Profiles {
		if passes(&Profiles[i]) {
			kinds = append(kinds, Profiles[i].Kind)
		}
	}
	return kinds
}
