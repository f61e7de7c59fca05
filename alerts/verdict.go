package alerts

import (
	"slices"
	"strings"
	"time"

	"thawline/forecast/records"
)

// Answer is what somebody said became of a warning.
type Answer string

// The answers.
const (
	Yes        Answer = "yes"
	No         Answer = "no"
	Unanswered Answer = ""
)

// Verdict is one warning and what became of it, as people say.
type Verdict struct {
	Site    string    `json:"site"`
	Warning string    `json:"warning"` // the warning's key
	Kind    Kind      `json:"kind"`    // the warning's
	Group   string    `json:"group,omitempty"`
	Chance  float64   `json:"chance"` // that was said, 0 where none was
	Due     time.Time `json:"due"`    // when it was to happen
	AskedAt time.Time `json:"asked_at,omitzero"`
	AskedOf string    `json:"asked_of,omitempty"` // a person; "" where nobody was asked
	Answer  Answer    `json:"answer"`
	// AnsweredBy is a person, or ByRecord where a record says it.
	AnsweredBy string    `json:"answered_by,omitempty"`
	AnsweredAt time.Time `json:"answered_at,omitzero"`
}

// ByRecord answers in a Verdict for a visit that found containers full, and for what visits and
// looks say of a run.
const ByRecord = "record"

// Told is a decision that was made, and whom it reached: those first who said that they
// have seen it.
type Told struct {
	Decision
	MadeAt time.Time
	People []string
}

// Judged are the kinds that are asked about, the first first: an evening has one question.
var Judged = []Kind{Overflow, BoilBy, Evening}

// A person who does not answer is not asked on and on.
const (
	// AnswerWithin is how long an answer still counts.
	AnswerWithin = 48 * time.Hour
	// ChangeWithin is how long an answer may be put right.
	ChangeWithin = time.Hour
	// streakWithin is how far back questions without an answer count: a new season begins anew.
	streakWithin = 60 * 24 * time.Hour
)

// restDays is how many days after the last question the next one comes at the earliest, by how
// many in a row had no answer, the last for all that are more. It is a bush's, whatever is asked:
// who does not answer one kind does not answer another.
var restDays = []int{1, 1, 3, 7, 14}

// runsEvery is how many days lie between two questions whether sap ran, answered or not: in a good
// spring it runs on most days, and an answer more teaches little.
const runsEvery = 3

// Questions are what may be asked in a bush's evening, the most wanted first, of which
// one is put to one person. It asks about what was due the local day before, once, and
// not where a visit already tells or has kept it from happening, where the warning was
// called off, and where a question was put today; whether sap ran every third day at most; and
// where the last ones had no answer it asks less and less, until somebody answers.
func Questions(told []Told, before []Verdict, visits []records.Visit, now time.Time, zone *time.Location) []Verdict {
	yesterday := now.In(zone).AddDate(0, 0, -1).Format(time.DateOnly)
	if rests(before, now, zone) {
		return nil
	}
	judged := map[string]bool{}
	for i := range before {
		judged[before[i].Warning] = true
	}
	var out []Verdict
	for _, kind := range Judged {
		if kind == Evening && askedWithin(before, kind, runsEvery, now, zone) {
			continue
		}
		for i := range told {
			t := &told[i]
			if t.Kind != kind || !t.warns() || t.Facts.Untapped || judged[t.Key] ||
				t.due(zone).In(zone).Format(time.DateOnly) != yesterday ||
				wasCalledOff(told, t) || visitedIn(visits, t, t.MadeAt, t.due(zone)) {
				continue
			}
			out = append(out, t.verdict(zone))
		}
	}
	return out
}

// FromVisits are the verdicts that records give on warnings, without a question: containers
// that were found full, and runs of days before today of which somebody saw whether sap ran.
// seen are those days by local date, 2026-03-21.
func FromVisits(told []Told, before []Verdict, visits []records.Visit, seen map[string]bool, now time.Time, zone *time.Location) []Verdict {
	const after = 24 * time.Hour // until somebody comes by
	known := map[string]bool{}
	for i := range before {
		known[before[i].Warning] = true
	}
	var out []Verdict
	for i := range told {
		t := &told[i]
		if known[t.Key] {
			continue
		}
		if ran, saw := seen[t.Facts.Date]; t.Kind == Evening && t.warns() && saw && t.Facts.Date < now.In(zone).Format(time.DateOnly) {
			verdict := t.verdict(zone)
			verdict.Answer, verdict.AnsweredBy, verdict.AnsweredAt = No, ByRecord, now
			if ran {
				verdict.Answer = Yes
			}
			out = append(out, verdict)
		}
		if t.Kind != Overflow {
			continue
		}
		for k := range visits {
			v := &visits[k]
			if v.Group == t.Facts.GroupID && v.CollectedAt.After(t.MadeAt) && v.CollectedAt.Before(t.due(zone).Add(after)) &&
				!v.CollectedAt.After(now) && v.Remarks().Full {
				verdict := t.verdict(zone)
				verdict.Answer, verdict.AnsweredBy, verdict.AnsweredAt = Yes, ByRecord, v.CollectedAt
				out = append(out, verdict)
				break
			}
		}
	}
	return out
}

// warns reports whether a decision said that something would happen: an evening text may
// also say that nothing will, who is asked for the first round knows best, and what became
// of sap in the sugarhouse stands in its book.
func (t *Told) warns() bool {
	return (t.Kind != Evening || t.Facts.Announced) && t.Facts.What != firstRound && !t.ofTank()
}

// due is when a warning was to come true: a run on its day, an overflow when it was
// expected.
func (t *Told) due(zone *time.Location) time.Time {
	if t.Kind == Evening {
		if day, err := time.ParseInLocation(time.DateOnly, t.Facts.Date, zone); err == nil {
			return day.Add(12 * time.Hour)
		}
	}
	switch {
	case !t.Facts.Due.IsZero():
		return t.Facts.Due
	case t.Facts.What == goneBad: // it said that it had happened
		return t.MadeAt
	case !t.Facts.At.IsZero():
		return t.Facts.At
	}
	return t.Until
}

func (t *Told) verdict(zone *time.Location) Verdict {
	return Verdict{Site: t.Site, Warning: t.Key, Kind: t.Kind, Group: t.Facts.GroupID, Chance: t.Facts.Chance, Due: t.due(zone)}
}

// wasCalledOff reports whether people were told since that a run will not come, and not that
// it does after all.
func wasCalledOff(told []Told, of *Told) bool {
	changed := func(what string) bool {
		return slices.ContainsFunc(told, func(t Told) bool {
			return t.Kind == Change && t.Facts.What == what && t.Facts.Date == of.Facts.Date
		})
	}
	return of.Kind == Evening && changed(calledOff) && !changed(afterAll)
}

// visitedIn reports whether somebody emptied the warning's group before it could come true.
func visitedIn(visits []records.Visit, t *Told, from, to time.Time) bool {
	return t.Facts.GroupID != "" && slices.ContainsFunc(visits, func(v records.Visit) bool {
		return v.Group == t.Facts.GroupID && v.CollectedAt.After(from) && !v.CollectedAt.After(to) && !v.Remarks().NotChecked
	})
}

// askedWithin reports whether a question of a kind was put within so many local days.
func askedWithin(before []Verdict, kind Kind, days int, now time.Time, zone *time.Location) bool {
	since := now.In(zone).AddDate(0, 0, -days).Format(time.DateOnly)
	return slices.ContainsFunc(before, func(v Verdict) bool {
		return v.Kind == kind && !v.AskedAt.IsZero() && v.AskedAt.In(zone).Format(time.DateOnly) > since
	})
}

// rests reports whether it is too soon to ask again: a question was put today, or the last
// ones had no answer.
func rests(before []Verdict, now time.Time, zone *time.Location) bool {
	var asked []Verdict
	for _, v := range before {
		if !v.AskedAt.IsZero() && now.Sub(v.AskedAt) < streakWithin {
			asked = append(asked, v)
		}
	}
	if len(asked) == 0 {
		return false
	}
	slices.SortFunc(asked, func(a, b Verdict) int { return b.AskedAt.Compare(a.AskedAt) }) // the newest first
	streak := slices.IndexFunc(asked, func(v Verdict) bool { return v.Answer != Unanswered })
	if streak < 0 {
		streak = len(asked)
	}
	rest := restDays[min(streak, len(restDays)-1)]
	return now.In(zone).Format(time.DateOnly) < asked[0].AskedAt.In(zone).AddDate(0, 0, rest).Format(time.DateOnly)
}

// Ask is the decision to put a question to somebody: one for each local day, of use as
// long as that day lasts. tank is true where the group's taps share one.
func Ask(v *Verdict, bush string, tank bool, now time.Time, zone *time.Location) Decision {
	here := now.In(zone)
	what := string(v.Kind)
	if v.Kind == Overflow && tank {
		what += "_tank"
	}
	return Decision{Kind: Question, Site: v.Site, Key: string(Question) + ":" + here.Format(time.DateOnly), Until: EndOfDay(here),
		Facts: Facts{What: what, Group: bush, GroupID: v.Group, Date: v.Due.In(zone).Format(time.DateOnly), Chance: v.Chance,
			Warning: v.Warning},
		Why: []string{"what became of " + strings.ReplaceAll(v.Warning, ":", " ") + " is not known"}}
}

// EndOfDay is the midnight after a local moment: "yesterday" is another day from then on.
func EndOfDay(here time.Time) time.Time {
	y, m, d := here.Date()
	return time.Date(y, m, d+1, 0, 0, 0, 0, here.Location())
}
