package api

import (
	"strings"
	"testing"

	"thawline/forecast"
	"thawline/forecast/boil"
)

// A boil names the pan that it was in as the settings do, in either case; another is refused
// with the names there are, as it is where there is one pan, or nothing was boiled.
func TestABoilInOnePanByTheAPI(t *testing.T) {
	s := open(t)
	sites := s.Sites()
	sites[0].Boiling = forecast.Boiling{FinishM2: 0.2, Row: boil.Row{{ID: "back"}, {ID: "front"}}}
	const path = "/api/v1/sites/hill/house"
	if w := s.must(t, 200, "POST", path, `{"kind":"boiled","sap_l":120,"hours":4,"pan":"Front"}`); !strings.Contains(w.Body.String(),
		"pan: front") {
		t.Errorf("%s", w.Body)
	}
	if w := s.must(t, 200, "POST", path, `{"kind":"boiled","sap_l":60,"hours":4,"pan":"finishing"}`); !strings.Contains(w.Body.String(),
		"pan: finishing") {
		t.Errorf("%s", w.Body)
	}
	if w := s.must(t, 422, "POST", path, `{"kind":"boiled","sap_l":120,"pan":"side"}`); !strings.Contains(w.Body.String(),
		"back, front, finishing") {
		t.Errorf("%s", w.Body)
	}
	s.must(t, 422, "POST", path, `{"kind":"wood_left","wood_cords":2,"pan":"front"}`)
	s.must(t, 422, "POST", "/api/v1/sites/far/house", `{"kind":"boiled","sap_l":120,"pan":"front"}`)
	if w := s.must(t, 200, "GET", path, ""); strings.Count(w.Body.String(), `"pan":"front"`) != 1 {
		t.Errorf("%s", w.Body)
	}
}
