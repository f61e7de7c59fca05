package api

import (
	"encoding/json"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/auth"
)

// Taps pulled and put in come in by the API, are listed, go into the file of records, and
// are undone; what can't be is told with its place.
func TestTaps(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/taps"
	for body, want := range map[string]string{
		`{"group":"none","taps_event":"pulled"}`:                      `"location":"body.group"`,
		`{"group":"south","taps_event":"drilled"}`:                    `"location":"body.taps_event"`,
		`{"group":"south","taps_event":"pulled","on":"soon"}`:         `"location":"body.on"`,
		`{"group":"south","taps_event":"pulled","on":"2026-03-21"}`:   `Saturday 21 Mar is still to come`,
		`{"group":"south","taps_event":"tapped","on":"2199-03-21"}`:   `"location":"body.on"`,
		`{"group":"south","taps_event":"pulled","why":"dry weather"}`: `unexpected property`,
	} {
		if w := s.must(t, 422, "POST", path, body); !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: no %s in %s", body, want, w.Body)
		}
	}
	if w := s.must(t, 200, "GET", path, ""); strings.TrimSpace(w.Body.String()) != "[]" {
		t.Errorf("%s", w.Body)
	}
	read := func(body string) (n NotedTaps) {
		t.Helper()
		if err := json.Unmarshal(s.must(t, 200, "POST", path, body).Body.Bytes(), &n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	first := read(`{"group":"south","taps_event":"pulled","on":"2026-03-18"}`)
	if first.Outcome != "added" || !first.Pulled || first.ID == "" {
		t.Errorf("%+v", first)
	}
	if again := read(`{"group":"south","taps_event":"pulled"}`); again.Outcome != "same" || again.ID != first.ID {
		t.Errorf("%+v", again)
	}
	if back := read(`{"group":"south","taps_event":"tapped"}`); back.Outcome != "added" || back.Pulled {
		t.Errorf("%+v", back)
	}
	var list []TapEvent
	if err := json.Unmarshal(s.must(t, 200, "GET", path, "").Body.Bytes(), &list); err != nil || len(list) != 2 ||
		list[0].Event != "pulled" || list[0].On != "2026-03-18" || list[0].RecordedBy != "Wren" || list[1].Event != "tapped" {
		t.Errorf("%v %+v", err, list)
	}
	if w := s.must(t, 200, "GET", "/api/v1/sites/hill/records.csv", ""); !strings.Contains(w.Body.String(),
		"2026-03-18,hill,south,,,,,pulled\n") {
		t.Errorf("%s", w.Body)
	}
	if w := s.must(t, 200, "GET", "/api/v1/sites/hill/records.csv?to=2026-03-17", ""); strings.Contains(w.Body.String(), "pulled") {
		t.Errorf("%s", w.Body)
	}
	s.must(t, 200, "POST", path+"/"+list[1].ID+"/undo", "")
	s.must(t, 404, "POST", path+"/none/undo", "")
	s.must(t, 404, "POST", "/api/v1/sites/far/taps/"+list[0].ID+"/undo", "")
	if w := s.must(t, 200, "GET", path+"?from=2026-03-19", ""); strings.TrimSpace(w.Body.String()) != "[]" {
		t.Errorf("undone and listed: %s", w.Body)
	}
	s.visitor = auth.Identity{Role: auth.Viewer}
	if w := s.must(t, 200, "GET", path, ""); strings.Contains(w.Body.String(), "Wren") {
		t.Errorf("a viewer sees who wrote: %s", w.Body)
	}
	s.must(t, 403, "POST", path, `{"group":"south","taps_event":"pulled"}`)
}
