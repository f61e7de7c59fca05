package alerts

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/records"
)

// Counts of warnings by what became of them: few answers stay few, and a full pail that
// nobody was warned of is missed.
func TestTallies(t *testing.T) {
	told := []Told{overflowTold(friday), eveningTold("2026-03-20", true), eveningTold("2026-03-21", false), boilTold(friday)}
	at := dayAfter
	verdicts := []Verdict{
		asked(Verdict{Kind: Evening, Warning: "a"}, at, Yes), asked(Verdict{Kind: Evening, Warning: "b"}, at, No),
		asked(Verdict{Kind: Evening, Warning: "c"}, at, Unanswered),
		{Kind: Overflow, Warning: "d", Answer: Yes, AnsweredBy: ByRecord},
	}
	visit := func(at time.Time, group, note string) records.Visit {
		return records.Visit{Group: group, CollectedAt: at, Note: note}
	}
	visits := []records.Visit{
		visit(friday.AddDate(0, 0, -5), "ridge", "full"), // nobody was warned
		visit(friday.AddDate(0, 0, -3), "ridge", ""),
		visit(friday.Add(2*time.Hour), "ridge", "full"), // the warning
		visit(friday.Add(3*time.Hour), "lane", "full"),  // of another group
	}
	want := []Tally{
		{Kind: Overflow, Warned: 1, Hits: 1, Missed: 2},
		{Kind: BoilBy, Warned: 1, Missed: -1},
		{Kind: Evening, Warned: 1, Asked: 3, Answered: 2, Hits: 1, False: 1, Missed: -1},
	}
	if diff := cmp.Diff(want, Tallies(told, verdicts, visits)); diff != "" {
		t.Error(diff)
	}
}

// Words are held against what people saw alone: what nobody saw counts as said only, and
// words that were not said are left out.
func TestWordsKept(t *testing.T) {
	evenings := []Said{{"likely", "2026-03-18"}, {"likely", "2026-03-19"}, {"likely", "2026-03-20"}, {"likely", "2026-03-21"},
		{"none", "2026-03-22"}}
	got := WordsKept([]string{"sure", "likely", "none"}, evenings,
		map[string]bool{"2026-03-18": true, "2026-03-19": false, "2026-03-20": true})
	want := []WordKept{{Word: "likely", Said: 4, Known: 3, Ran: 2}, {Word: "none", Said: 1}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// Answers count for the day that they are about, those about anything but the evening's
// words and questions that nobody answered for none.
func TestRanAnswers(t *testing.T) {
	verdicts := []Verdict{
		{Kind: Evening, Due: friday, Answer: No}, {Kind: Overflow, Due: friday.AddDate(0, 0, 1), Answer: Yes},
		{Kind: Evening, Due: friday.AddDate(0, 0, -1)},
	}
	got := RanAnswers(verdicts, bushZone)
	if diff := cmp.Diff(map[string]bool{friday.In(bushZone).Format("2006-01-02"): false}, got); diff != "" {
		t.Error(diff)
	}
}
