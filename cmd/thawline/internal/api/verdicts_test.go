package api

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
)

// A question is answered by whom it was put to and by tokens that may, is counted, and
// stays answered; other messages and other people's are no questions.
func TestQuestionsAreAnswered(t *testing.T) {
	s := open(t)
	v := alerts.Verdict{Site: "hill", Warning: "overflow:south:x", Kind: alerts.Overflow, Group: "south", Chance: 0.6,
		Due: now.Add(-12 * time.Hour)}
	if fresh, err := s.ledger.Ask(t.Context(), alerts.Ask(&v, "South", false, now, time.UTC),
		ledger.Recipient{Person: "odell", Words: "did any run over?"}, &v, now); err != nil || !fresh {
		t.Fatal(fresh, err)
	}
	d := alerts.Decision{Kind: alerts.Evening, Site: "hill", Key: "evening:x", Until: now.Add(time.Hour)}
	if _, err := s.ledger.Record(t.Context(), d, []ledger.Recipient{{Person: "odell", Words: "no question"}}, now); err != nil {
		t.Fatal(err)
	}
	recent, err := s.ledger.Recent(t.Context(), 5)
	if err != nil || len(recent) != 2 {
		t.Fatal(err, recent)
	}
	path := map[alerts.Kind]string{}
	for i := range recent {
		path[recent[i].Kind] = "/api/v1/messages/" + recent[i].ID + "/answer"
	}
	s.visitor = auth.Identity{Role: auth.Crew, Person: "ida", Name: "Ida"}
	s.must(t, http.StatusNotFound, "POST", path[alerts.Question], `{"yes":true}`) // put to somebody else
	s.visitor.Person = "odell"
	s.must(t, http.StatusNotFound, "POST", path[alerts.Evening], `{"yes":true}`)
	s.must(t, http.StatusUnprocessableEntity, "POST", path[alerts.Question], `{"yes":"maybe"}`)
	s.must(t, http.StatusNoContent, "POST", path[alerts.Question], `{"yes":true}`)
	s.visitor = auth.Identity{Name: "token", Role: auth.Viewer, Scopes: []auth.Scope{auth.ReadMessages}}
	s.must(t, http.StatusForbidden, "POST", path[alerts.Question], `{"yes":false}`)
	var got Verdicts
	if err := json.Unmarshal(s.must(t, http.StatusOK, "GET", "/api/v1/sites/hill/verdicts", "").Body.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Verdicts) != 1 || got.Verdicts[0].Answer != alerts.Yes || got.Verdicts[0].AnsweredBy != "odell" ||
		got.Kinds[0] != (alerts.Tally{Kind: alerts.Overflow, Asked: 1, Answered: 1, Hits: 1}) {
		t.Errorf("got %+v", got)
	}
	if got.OverflowFrom != (Bound{0.47, 0.5, false}) || got.RunFrom != (Bound{0.3, 0.3, false}) {
		t.Errorf("from %+v, %+v", got.OverflowFrom, got.RunFrom)
	}
	s.must(t, http.StatusNotFound, "GET", "/api/v1/sites/none/verdicts", "")
}
