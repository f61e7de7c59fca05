package ledger_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/testdata/beside"
)

func overflowVerdict() alerts.Verdict {
	return alerts.Verdict{Site: "hill", Warning: "overflow:ridge:x", Kind: alerts.Overflow, Group: "ridge", Chance: 0.62,
		Due: evening.Add(-4 * time.Hour)}
}

func question(day string) alerts.Decision {
	return alerts.Decision{Kind: alerts.Question, Site: "hill", Key: "question:" + day, Until: evening.Add(17 * time.Hour),
		Facts: alerts.Facts{Warning: "overflow:ridge:x"}}
}

// A question and that it was put are written together, once a day however many daemons
// try; the answer is kept with who gave it and when, and read back whole.
func TestAQuestionIsPutOnceAndAnswered(t *testing.T) {
	l, _ := open(t)
	v := overflowVerdict()
	asked := evening.Add(13 * time.Hour)
	to := ledger.Recipient{Person: "robin", Words: "Did any run over?"}
	if fresh, err := l.Ask(t.Context(), question("2026-03-21"), to, &v, asked); err != nil || !fresh {
		t.Fatal(fresh, err)
	}
	other := v
	other.Warning = "evening:y"
	if fresh, err := l.Ask(t.Context(), question("2026-03-21"), ledger.Recipient{Person: "sam"}, &other, asked); err != nil || fresh {
		t.Errorf("a second question of the day: %v %v", fresh, err)
	}
	v.AskedAt, v.AskedOf = asked, "robin"
	list := must[[]alerts.Verdict](t)(l.Verdicts(t.Context(), "hill", evening.AddDate(0, 0, -1)))
	if diff := cmp.Diff([]alerts.Verdict{v}, list); diff != "" {
		t.Errorf("before the answer:\n%s", diff)
	}
	open := must[alerts.Verdict](t)(l.Asked(t.Context(), "", "robin", asked.Add(-time.Hour)))
	if open.Warning != v.Warning {
		t.Errorf("open: %+v", open)
	}
	if any := must[alerts.Verdict](t)(l.Asked(t.Context(), "hill", "", asked.Add(-time.Hour))); any.Warning != v.Warning {
		t.Errorf("of anybody: %+v", any)
	}
	for _, none := range []struct{ site, person string }{{"", "sam"}, {"lake", "robin"}} {
		if _, err := l.Asked(t.Context(), none.site, none.person, asked.Add(-time.Hour)); !errors.Is(err, ledger.ErrNone) {
			t.Errorf("asked of %v: %v", none, err)
		}
	}
	if _, err := l.Asked(t.Context(), "hill", "robin", asked.Add(time.Hour)); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("an old question is open: %v", err)
	}
	answered := asked.Add(time.Hour)
	if err := l.Answer(t.Context(), "hill", v.Warning, alerts.Yes, "robin", answered); err != nil {
		t.Fatal(err)
	}
	if err := l.Answer(t.Context(), "hill", v.Warning, alerts.No, "sam", answered.Add(30*time.Minute)); err != nil {
		t.Fatal(err) // it may be put right for an hour
	}
	if err := l.Answer(t.Context(), "hill", v.Warning, alerts.Yes, "robin", answered.Add(2*time.Hour)); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("changed after an hour: %v", err)
	}
	if err := l.Answer(t.Context(), "lake", v.Warning, alerts.Yes, "robin", answered); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("an answer for another site: %v", err)
	}
	v.Answer, v.AnsweredBy, v.AnsweredAt = alerts.No, "sam", answered
	list = must[[]alerts.Verdict](t)(l.Verdicts(t.Context(), "hill", evening.AddDate(0, 0, -1)))
	if diff := cmp.Diff([]alerts.Verdict{v}, list); diff != "" {
		t.Errorf("after the answer:\n%s", diff)
	}
}

// Verdicts outlive the warnings that they are on, are let go of by their own age, and
// what a record says is no question that can be answered.
func TestVerdictsAreKeptLonger(t *testing.T) {
	l, _ := open(t)
	v := overflowVerdict()
	v.Answer, v.AnsweredBy, v.AnsweredAt = alerts.Yes, alerts.ByRecord, evening
	for range 2 { // the first stays
		if err := l.PutVerdict(t.Context(), &v); err != nil {
			t.Fatal(err)
		}
		v.Answer = alerts.No
	}
	if err := l.Answer(t.Context(), "hill", v.Warning, alerts.No, "robin", evening); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("what a record says was answered: %v", err)
	}
	if err := l.Forget(t.Context(), "hill", evening.AddDate(2, 0, 0)); err != nil {
		t.Fatal(err)
	}
	kept := func() int {
		return len(must[[]alerts.Verdict](t)(l.Verdicts(t.Context(), "hill", time.Time{})))
	}
	if list := must[[]alerts.Verdict](t)(l.Verdicts(t.Context(), "hill", time.Time{})); len(list) != 1 || list[0].Answer != alerts.Yes {
		t.Errorf("got %+v", list)
	}
	if err := l.ForgetVerdicts(t.Context(), "hill", evening.AddDate(0, 0, -1)); err != nil || kept() != 1 {
		t.Errorf("a young one is gone: %v", err)
	}
	if err := l.ForgetVerdicts(t.Context(), "hill", evening); err != nil || kept() != 0 {
		t.Errorf("an old one stays: %v", err)
	}
}

// Warnings are those that reached somebody, with whom: who said that they have seen it
// goes first.
func TestWarningsAndWhomTheyReached(t *testing.T) {
	l, _ := open(t)
	record(t, l, decided(alerts.Overflow, "ridge:x"), evening, ledger.Recipient{Person: "ann"}, ledger.Recipient{Person: "bob"},
		ledger.Recipient{Person: "cleo"})
	record(t, l, decided(alerts.Evening, "2026-03-20"), evening.Add(time.Minute), ledger.Recipient{Person: "ann"})
	record(t, l, decided(alerts.Danger, "wind:x"), evening, ledger.Recipient{Person: "ann"})
	for _, v := range claim(t, l, "here", evening.Add(time.Minute), evening.Add(time.Hour)) {
		if v.Kind == alerts.Evening {
			continue // on its way
		}
		v.State, v.SentAt, v.With = ledger.Sent, evening, v.Carried
		if err := l.Attempted(t.Context(), "here", &v, ledger.Attempt{Number: 1, At: evening}); err != nil {
			t.Fatal(err)
		}
		if v.Person == "bob" {
			if err := l.Acknowledge(t.Context(), v.ID, evening.Add(time.Hour)); err != nil {
				t.Fatal(err)
			}
		}
	}
	told := must[[]alerts.Told](t)(l.Warnings(t.Context(), "hill", alerts.Judged, evening.Add(-time.Hour)))
	if len(told) != 1 || told[0].Kind != alerts.Overflow || !told[0].MadeAt.Equal(evening) ||
		!slices.Equal(told[0].People, []string{"bob", "ann", "cleo"}) {
		t.Errorf("got %+v", told)
	}
	if told := must[[]alerts.Told](t)(l.Warnings(t.Context(), "hill", alerts.Judged, evening.Add(time.Hour))); len(told) != 0 {
		t.Errorf("from before: %+v", told)
	}
}

// What holds of a file holds of PostgreSQL.
func TestVerdictsOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){"asked": TestAQuestionIsPutOnceAndAnswered, "kept": TestVerdictsAreKeptLonger,
		"warnings": TestWarningsAndWhomTheyReached})
}
