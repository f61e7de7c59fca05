package weather

import (
	"slices"
	"strings"
	"time"
)

// Severity is how bad what an official warning is about will be, in the words of OASIS
// CAP 1.2 (July 2010), section 3.2.2.
type Severity string

// The severities.
const (
	Extreme         Severity = "Extreme"
	Severe          Severity = "Severe"
	Moderate        Severity = "Moderate"
	Minor           Severity = "Minor"
	UnknownSeverity Severity = "Unknown"
)

// ParseSeverity reads a severity in any case, false for a word that is none.
func ParseSeverity(word string) (Severity, bool) {
	for _, s := range []Severity{Extreme, Severe, Moderate, Minor, UnknownSeverity} {
		if strings.EqualFold(word, string(s)) {
			return s, true
		}
	}
	return UnknownSeverity, false
}

// Quoted is a text as somebody else wrote it, by language (BCP 47).
type Quoted map[string]string

// In is the text in a language, else in English, else in any; "" where there is none.
func (q Quoted) In(language string) string {
	base, _, _ := strings.Cut(language, "-")
	for _, l := range []string{language, base, "en"} {
		if q[l] != "" {
			return q[l]
		}
	}
	var languages []string
	for l, said := range q {
		if said != "" {
			languages = append(languages, l)
		}
	}
	if len(languages) == 0 {
		return ""
	}
	return q[slices.Min(languages)]
}

// Warning is an official warning for a place, in its issuer's words.
type Warning struct {
	ID     string `json:"id"`
	Thread string `json:"thread"` // the same for all messages about one event
	Source string `json:"source"` // the service's name in settings
	Issuer Quoted `json:"issuer"` // what people call the service
	Event  Quoted `json:"event"`
	// Headline is a sentence about it, empty where the issuer gives none.
	Headline  Quoted    `json:"headline"`
	Severity  Severity  `json:"severity"`
	Certainty string    `json:"certainty"` // of CAP 1.2; "" where not given
	Urgency   string    `json:"urgency"`
	From      time.Time `json:"from"`
	To        time.Time `json:"to"`
	Sent      time.Time `json:"sent"`
	URL       Quoted    `json:"url"` // the issuer's page for people
}

// Severe reports whether nobody should be out while it is in force.
func (w *Warning) Severe() bool { return w.Severity == Extreme || w.Severity == Severe }

// WarningState says whether the official warnings for a place are known.
type WarningState string

// The states.
const (
	WarningsKnown       WarningState = "known"
	WarningsUnknown     WarningState = "unknown"     // the issuer was not reached, or said something that can't be read
	WarningsUnavailable WarningState = "unavailable" // no service that is asked warns for the place
)

// Warnings are the official warnings for a place. The zero value stands for none that
// are asked for.
type Warnings struct {
	State   WarningState
	KnownAt time.Time // when they were last known as a whole, zero if never
	List    []Warning // in force or to come, by start; the last good ones where the state is unknown
}

// Current is the same without what is over at a moment.
func (w Warnings) Current(now time.Time) Warnings {
	if w.State == "" {
		w.State = WarningsUnavailable
	}
	list := make([]Warning, 0, len(w.List))
	for i := range w.List {
		if w.List[i].To.After(now) {
			list = append(list, w.List[i])
		}
	}
	slices.SortStableFunc(list, func(a, b Warning) int {
		if c := a.From.Compare(b.From); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	})
	w.List = list
	return w
}
