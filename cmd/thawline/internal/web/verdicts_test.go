package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/testdata"
)

// asked puts a question to somebody of the demonstration this morning; it returns the id
// of the message.
func asked(t *testing.T, p *pages, group string) string {
	t.Helper()
	now := testdata.Now()
	v := alerts.Verdict{Site: "kettle", Warning: "overflow:" + group + ":x", Kind: alerts.Overflow, Group: group, Chance: 0.6,
		Due: now.Add(-20 * time.Hour)}
	q := alerts.Ask(&v, "Ridge pails", false, now, time.UTC)
	if fresh, err := p.h.Daemon.Ledger.Ask(t.Context(), q, ledger.Recipient{Person: "robin", Words: "Did any run over?"}, &v,
		now); err != nil || !fresh {
		t.Fatal(fresh, err)
	}
	_, _, deliveries, err := p.h.Daemon.Ledger.Decision(t.Context(), mustID(t, p))
	if err != nil || len(deliveries) != 1 {
		t.Fatal(err, deliveries)
	}
	return deliveries[0].ID
}

// unasked takes out what the demonstration itself asked this morning.
func unasked(t *testing.T, p *pages) {
	t.Helper()
	const today = `SELECT id FROM decision WHERE kind = 'question' AND made_at >= '2026-03-20'`
	for _, query := range []string{
		`DELETE FROM attempt WHERE delivery_id IN (SELECT id FROM delivery WHERE decision_id IN (` + today + `))`,
		`DELETE FROM delivery WHERE decision_id IN (` + today + `)`,
		`DELETE FROM decision WHERE id IN (` + today + `)`,
		`DELETE FROM verdict WHERE asked_at >= '2026-03-20'`,
	} {
		if _, err := p.h.Archive.DB().ExecContext(t.Context(), query); err != nil {
			t.Fatal(err)
		}
	}
}

// mustID is the id of the newest decision.
func mustID(t *testing.T, p *pages) string {
	t.Helper()
	recent, err := p.h.Daemon.Ledger.Recent(t.Context(), 20)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range recent {
		if v.Kind == alerts.Question {
			return v.DecisionID
		}
	}
	t.Fatal("no question")
	return ""
}

func verdict(t *testing.T, p *pages) alerts.Verdict {
	t.Helper()
	list, err := p.h.Daemon.Ledger.Verdicts(t.Context(), "kettle", testdata.Now().Add(-30*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		if v.Group == "ridge" && !v.AskedAt.IsZero() && v.Warning == "overflow:ridge:x" {
			return v
		}
	}
	t.Fatal("no verdict")
	return alerts.Verdict{}
}

// The page of tonight asks, with two buttons, until it is answered; wrong answers and
// questions that nobody put change nothing.
func TestTonightAsks(t *testing.T) {
	p := demoPages(t, nil)
	unasked(t, p)
	const buttons = `name="answer" value="yes"`
	if page := p.must(200, "GET", "/site/kettle", nil); strings.Contains(page, buttons) {
		t.Fatal("it asks before anything is asked")
	}
	asked(t, p, "ridge")
	for lang, words := range map[string]string{"en": "Ridge pails: did any run over yesterday?", "fr": "est-ce que ça a débordé hier?"} {
		if page := p.must(200, "GET", "/site/kettle?lang="+lang, nil); !strings.Contains(page, buttons) || !strings.Contains(page, words) {
			t.Errorf("%s: no question", lang)
		}
	}
	p.must(422, "POST", "/site/kettle/answer", url.Values{"warning": {"overflow:ridge:x"}, "answer": {"perhaps"}})
	p.must(404, "POST", "/site/kettle/answer", url.Values{"warning": {"overflow:ridge:none"}, "answer": {"yes"}})
	if v := verdict(t, p); v.Answer != alerts.Unanswered {
		t.Errorf("answered: %+v", v)
	}
	p.must(303, "POST", "/site/kettle/answer", url.Values{"warning": {"overflow:ridge:x"}, "answer": {"yes"}})
	if v := verdict(t, p); v.Answer != alerts.Yes || v.AnsweredBy == "" {
		t.Errorf("got %+v", v)
	}
	if page := p.must(200, "GET", "/site/kettle?done=done_answered", nil); strings.Contains(page, buttons) ||
		!strings.Contains(page, "Noted. Thank you.") {
		t.Error("it still asks, or does not thank")
	}
	for lang, words := range map[string][]string{
		"en": {"Warnings, and what became of them", `asked (\d+ times|once), answered 1`, "Overflow: warned from", "What it said, and what people saw",
			"Judged only by what people saw"},
		"fr": {"Les alertes, et ce qu&#39;elles ont donné", `demandé \d+ fois, 1 avec réponse`, "Jugé seulement"},
	} {
		if !testing.Short() { // a season of two days has no evening that anybody could judge
			words = append(words, map[string]string{"en": `\d+ of \d+ evenings were right`, "fr": `\d+ soirs sur \d+ disaient vrai`}[lang])
		}
		page := p.must(200, "GET", "/site/kettle/skill?lang="+lang, nil)
		for _, want := range words {
			if !regexp.MustCompile(want).MatchString(page) {
				t.Errorf("%s: no %q on the page of skill", lang, want)
			}
		}
	}
}

// The page behind the link in a message that asks has both buttons, and takes the answer.
func TestTheLinkOfAQuestionTakesTheAnswer(t *testing.T) {
	p := demoPages(t, nil)
	unasked(t, p)
	id := asked(t, p, "ridge")
	if page := p.must(200, "GET", "/a/"+id, nil); !strings.Contains(page, `value="yes"`) || !strings.Contains(page, `value="no"`) {
		t.Error("no buttons")
	}
	if page := p.must(200, "POST", "/a/"+id, url.Values{"answer": {"no"}}); strings.Contains(page, `value="yes"`) {
		t.Error("it still asks")
	}
	if v := verdict(t, p); v.Answer != alerts.No || v.AnsweredBy != "robin" {
		t.Errorf("got %+v", v)
	}
}
