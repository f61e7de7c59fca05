package api

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
)

// Visits of classes are booked by keepers and tokens, once, listed in their order and taken
// back; what can't be is told with its place, in the language that was asked for.
func TestClassesByTheAPI(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/classes"
	for _, wrong := range [][2]string{
		{`{"day":"soon","from":"9:00","to":"11:30"}`, `"location":"body.day"`},
		{`{"day":"2026-03-19","from":"9:00","to":"11:30"}`, `"location":"body.day"`},
		{`{"day":"2026-04-07","from":"nine","to":"11:30"}`, `"location":"body.from"`},
		{`{"day":"2026-04-07","from":"11:30","to":"9:00"}`, `"location":"body.from"`},
		{`{"day":"2026-04-07","from":"9:00","to":"11:30","learners":201}`, `"location":"body.learners"`},
		{`{"day":"2026-04-07","from":"9:00"}`, `body`},
	} {
		if w := s.must(t, 422, "POST", path, wrong[0]); !strings.Contains(w.Body.String(), wrong[1]) {
			t.Errorf("%s: no %s in %s", wrong[0], wrong[1], w.Body)
		}
	}
	if w := s.ask("POST", path, `{"day":"2026-03-19","from":"9:00","to":"11:30"}`, "Accept-Language", "fr"); w.Code != 422 ||
		!strings.Contains(w.Body.String(), "Une visite ") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	book := func(body string) (got BookedClass) {
		t.Helper()
		if err := json.Unmarshal(s.must(t, http.StatusOK, "POST", path, body).Body.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		return got
	}
	later := book(`{"day":"2026-04-08","from":"13:00","to":"15:00"}`)
	s.visitor = auth.Identity{Name: "school office", Role: auth.Crew, Scopes: []auth.Scope{auth.WriteRecords, auth.ReadRecords}}
	first := book(`{"day":"2026-04-07","from":"09:00","to":"11:30","learners":24}`)
	if first.Outcome != "added" || first.ID == "" || !first.From.Equal(time.Date(2026, 4, 7, 9, 0, 0, 0, time.UTC)) ||
		!first.To.Equal(first.From.Add(150*time.Minute)) || !first.BookedAt.Equal(now) {
		t.Errorf("%+v", first)
	}
	if again := book(`{"day":"2026-04-07","from":"9:00","to":"11:30","learners":30}`); again.Outcome != "same" ||
		again.ID != first.ID || again.Learners != 24 || !again.BookedAt.Equal(now) {
		t.Errorf("%+v", again)
	}
	var list []ClassVisit
	if err := json.Unmarshal(s.must(t, 200, "GET", path, "").Body.Bytes(), &list); err != nil || len(list) != 2 ||
		list[0].ID != first.ID || list[1].ID != later.ID {
		t.Errorf("%v %+v", err, list)
	}
	for _, other := range []auth.Identity{{Role: auth.Viewer}, {Role: auth.Crew, Name: "Odell"}, {Role: auth.Keeper, Site: "far"},
		{Role: auth.Crew, Scopes: []auth.Scope{auth.ReadRecords}}} {
		s.visitor = other
		for _, ask := range [][3]string{{"POST", path, `{"day":"2026-04-09","from":"09:00","to":"11:30"}`},
			{"DELETE", path + "/" + first.ID, ""}} {
			if w := s.ask(ask[0], ask[1], ask[2]); w.Code != http.StatusForbidden && w.Code != http.StatusNotFound {
				t.Errorf("%+v: %s answers %d", other, ask[0], w.Code)
			}
		}
	}
	s.visitor = auth.Identity{Name: "Wren", Role: auth.Keeper}
	s.must(t, 404, "DELETE", path+"/none", "")
	s.must(t, 404, "DELETE", "/api/v1/sites/far/classes/"+first.ID, "")
	s.must(t, 204, "DELETE", path+"/"+first.ID, "")
	s.must(t, 404, "DELETE", path+"/"+first.ID, "")
	if w := s.must(t, 200, "GET", path, ""); strings.Contains(w.Body.String(), first.ID) {
		t.Errorf("taken back and listed: %s", w.Body)
	}
}
