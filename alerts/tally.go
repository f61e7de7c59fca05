package alerts

import (
	"time"

	"thawline/forecast/records"
)

// Tally is what became of the warnings of one kind at a bush.
type Tally struct {
	Kind     Kind `json:"kind"`
	Warned   int  `json:"warned"`   // and it reached somebody
	Asked    int  `json:"asked"`    // about it
	Answered int  `json:"answered"` // of those asked
	Hits     int  `json:"hits"`     // it came true, by an answer or a record
	False    int  `json:"false"`
	// Missed are containers that were found full without a warning, and -1 where nobody
	// can say.
	Missed int `json:"missed"`
}

// Tallies counts what became of the warnings of a stretch of time, by kind.
func Tallies(told []Told, verdicts []Verdict, visits []records.Visit) []Tally {
	out := make([]Tally, len(Judged))
	for i, kind := range Judged {
		t := &out[i]
		t.Kind, t.Missed = kind, -1
		for k := range told {
			if told[k].Kind == kind && told[k].warns() {
				t.Warned++
			}
		}
		for k := range verdicts {
			v := &verdicts[k]
			if v.Kind != kind {
				continue
			}
			if !v.AskedAt.IsZero() {
				t.Asked++
				if v.Answer != Unanswered {
					t.Answered++
				}
			}
			switch v.Answer {
			case Yes:
				t.Hits++
			case No:
				t.False++
			}
		}
		if kind == Overflow {
			t.Missed = foundFull(told, visits)
		}
	}
	return out
}

// foundFull counts the visits that found containers full, though nobody was warned since
// the visit before. Visits come in order of time.
func foundFull(told []Told, visits []records.Visit) int {
	missed := 0
	last := map[string]time.Time{}
	for i := range visits {
		v := &visits[i]
		before := last[v.Group]
		last[v.Group] = v.CollectedAt
		if !v.Remarks().Full {
			continue
		}
		warned := false
		for k := range told {
			t := &told[k]
			warned = warned || t.Kind == Overflow && t.Facts.GroupID == v.Group && t.MadeAt.After(before) && t.MadeAt.Before(v.CollectedAt)
		}
		if !warned {
			missed++
		}
	}
	return missed
}

// WordKept is how often words were said in the evening, and how often sap ran.
type WordKept struct {
	Word string `json:"word"` // the key of the words
	Said int    `json:"said"`
	// Known is of how many of these evenings somebody saw the next day.
	Known int `json:"known"`
	Ran   int `json:"ran"`
}

// Said is one evening: the key of its words and the day that it spoke of.
type Said struct{ Word, Date string }

// RanAnswers are people's answers to whether sap ran, by the local date that they are about,
// 2026-03-21. What records say is read from them anew: they may be put right.
func RanAnswers(verdicts []Verdict, zone *time.Location) map[string]bool {
	out := map[string]bool{}
	for i := range verdicts {
		if v := &verdicts[i]; v.Kind == Evening && v.Answer != Unanswered && v.AnsweredBy != ByRecord {
			out[v.Due.In(zone).Format(time.DateOnly)] = v.Answer == Yes
		}
	}
	return out
}

// WordsKept holds the words of evenings against what people saw. words lists the keys in
// the order in which they are wanted; seen are the dates of which somebody saw whether sap
// ran. A day that nobody saw counts for nothing: what is worked out would judge itself.
func WordsKept(words []string, evenings []Said, seen map[string]bool) []WordKept {
	var out []WordKept
	for _, word := range words {
		kept := WordKept{Word: word}
		for _, e := range evenings {
			if e.Word != word {
				continue
			}
			kept.Said++
			if ran, known := seen[e.Date]; known {
				kept.Known++
				if ran {
					kept.Ran++
				}
			}
		}
		if kept.Said > 0 {
			out = append(out, kept)
		}
	}
	return out
}
