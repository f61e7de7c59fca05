package api

import (
	"encoding/json"
	"net/http"
	"slices"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
)

// Who goes and who can't, by role: helpers say it of themselves, keepers and tokens of
// everybody, viewers of nobody. The round that is planned then is meant; what is said
// counts once and can be taken back.
func TestAttendance(t *testing.T) {
	s := open(t)
	o := s.Outlook(t.Context(), "hill")
	at := now.Add(17 * time.Hour)
	o.Work.Rounds = []forecast.CrewRound{{Start: at, End: at.Add(90 * time.Minute), Who: []string{"odell", "ida"},
		Groups: []forecast.RoundGroup{{Group: "south", VolumeL: 100}}}}
	const path = "/api/v1/sites/hill/attendance"
	say := func(want int, body string) (got struct {
		KeptAttendance
		Again bool   `json:"again"`
		Say   string `json:"say"`
	}) {
		t.Helper()
		if err := json.Unmarshal(s.must(t, want, "POST", path, body).Body.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		return got
	}
	listed := func() (ids []string) {
		t.Helper()
		var list []KeptAttendance
		if err := json.Unmarshal(s.must(t, http.StatusOK, "GET", path, "").Body.Bytes(), &list); err != nil {
			t.Fatal(err)
		}
		for _, a := range list {
			ids = append(ids, a.ID)
		}
		return ids
	}
	start := at.Format(time.RFC3339)
	s.visitor = auth.Identity{Role: auth.Crew, Person: "odell", Name: "Odell"}
	goes := say(http.StatusOK, `{"kind":"going","from":"`+start+`"}`)
	if goes.Person != "odell" || !goes.To.Equal(at.Add(90*time.Minute)) || !slices.Equal(goes.Groups, []string{"south"}) ||
		!slices.Equal(goes.With, []string{"ida"}) || goes.Say == "" || goes.SaidBy != "Odell" {
		t.Errorf("%+v", goes)
	}
	if again := say(http.StatusOK, `{"kind":"going","from":"`+start+`","person":"odell"}`); !again.Again || again.ID != goes.ID {
		t.Errorf("%+v", again)
	}
	say(http.StatusForbidden, `{"kind":"away","from":"`+start+`","to":"`+at.Add(time.Hour).Format(time.RFC3339)+`","person":"ida"}`)
	s.visitor = auth.Identity{Role: auth.Crew, Name: "Bo"} // by a link
	if bo := say(http.StatusOK, `{"kind":"going","from":"2026-03-21T09:00:00Z","groups":["North","south"]}`); bo.Person != "Bo" ||
		!slices.Equal(bo.Groups, []string{"north", "south"}) {
		t.Errorf("%+v", bo)
	}
	s.must(t, http.StatusForbidden, "POST", path+"/"+goes.ID+"/undo", "")
	s.visitor = auth.Identity{Role: auth.Viewer, Person: "vi"}
	say(http.StatusForbidden, `{"kind":"going","from":"`+start+`"}`)
	if n := len(listed()); n != 2 {
		t.Errorf("%d are listed", n)
	}
	s.visitor = auth.Identity{Name: "scale", Role: auth.Crew, Scopes: []auth.Scope{auth.WriteRecords, auth.ReadOutlook}}
	for _, wrong := range []string{`{"kind":"going","from":"soon"}`, `{"kind":"going","from":"2026-03-21"}`,
		`{"kind":"perhaps","from":"` + start + `"}`, `{"kind":"going","from":"` + start + `","groups":["none"],"person":"odell"}`,
		`{"kind":"going","from":"2026-03-20T12:00:00Z"}`, `{"kind":"going","from":"2026-07-20T12:00:00Z"}`,
		`{"kind":"away","from":"` + start + `","to":"2026-03-20T23:00:00Z"}`,
		`{"kind":"away","from":"2026-03-21","person":"nobody-here"}`} {
		say(http.StatusUnprocessableEntity, wrong)
	}
	s.visitor = auth.Identity{Role: auth.Keeper, Person: "wren", Name: "Wren"}
	s.must(t, http.StatusNoContent, "POST", path+"/"+goes.ID+"/undo", "")
	s.must(t, http.StatusNotFound, "POST", path+"/"+goes.ID+"/undo", "")
	s.must(t, http.StatusNotFound, "POST", "/api/v1/sites/far/attendance/"+goes.ID+"/undo", "")
	if n := len(listed()); n != 1 {
		t.Errorf("%d are listed", n)
	}
	if day := say(http.StatusOK, `{"kind":"away","from":"2026-03-21"}`); day.To.Sub(day.From) != 24*time.Hour || day.Person != "wren" {
		t.Errorf("%+v", day)
	}
}
