package api

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast/units"
	"thawline/testdata/madeup"
)

// Lines of the sugarhouse's book come in by the API, once, are listed and taken out; what
// can't be is told, in the language that was asked for.
func TestHouse(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/house"
	for body, want := range map[string]string{
		`{"kind":"burnt"}`:                                               `"location":"body.kind"`,
		`{"kind":"boiled"}`:                                              `how much sap it was`,
		`{"kind":"boiled","sap_l":10,"syrup_l":9}`:                       `more than a quarter`,
		`{"kind":"boiled","sap_l":-1}`:                                   `"location":"body.sap_l"`,
		`{"kind":"sap_left","sap_l":1e9}`:                                `too much sap`,
		`{"kind":"stirred","left_c":123,"water_c":99,"outcome":"burnt"}`: `"location":"body.outcome"`,
		`{"kind":"stirred","left_c":123,"outcome":"poured"}`:             `boiling water that day`,
		`{"kind":"boiled","sap_l":10,"at":"tomorrow"}`:                   `"location":"body.at"`,
		`{"kind":"boiled","sap_l":10,"at":"2199-01-01"}`:                 `still to come`,
	} {
		if w := s.must(t, 422, "POST", path, body); !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: no %s in %s", body, want, w.Body)
		}
	}
	read := func(body string) (n NotedHouse) {
		t.Helper()
		if err := json.Unmarshal(s.must(t, 200, "POST", path, body).Body.Bytes(), &n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	first := read(`{"kind":"boiled","sap_l":220,"syrup_l":5.1,"hours":6}`)
	if first.Outcome != "added" || first.ID == "" || !strings.Contains(first.Says, "220") {
		t.Errorf("%+v", first)
	}
	if again := read(`{"kind":"boiled","sap_l":220,"syrup_l":5.1,"hours":6}`); again.Outcome != "same" || again.ID != first.ID {
		t.Errorf("%+v", again)
	}
	var list []HouseEntry
	if err := json.Unmarshal(s.must(t, 200, "GET", path, "").Body.Bytes(), &list); err != nil || len(list) != 1 ||
		*list[0].SapL != 220 || list[0].WoodCords != nil || list[0].RecordedBy != "Wren" {
		t.Errorf("%v %+v", err, list)
	}
	s.must(t, 404, "DELETE", path+"/none", "")
	s.must(t, 404, "DELETE", "/api/v1/sites/far/house/"+first.ID, "")
	s.visitor = auth.Identity{Role: auth.Viewer}
	if w := s.must(t, 200, "GET", path, ""); strings.Contains(w.Body.String(), "Wren") {
		t.Errorf("a viewer sees who wrote: %s", w.Body)
	}
	s.must(t, 403, "POST", path, `{"kind":"boiled","sap_l":220}`)
	s.visitor = auth.Identity{Role: auth.Crew, Name: "Somebody else"}
	s.must(t, 403, "DELETE", path+"/"+first.ID, "")
	s.visitor = auth.Identity{Role: auth.Keeper, Name: "Wren"}
	s.must(t, 204, "DELETE", path+"/"+first.ID, "")
	if w := s.must(t, 200, "GET", path, ""); strings.TrimSpace(w.Body.String()) != "[]" {
		t.Errorf("taken out and listed: %s", w.Body)
	}
}

// A batch of sugar comes in by the API and is listed with what it was learnt from.
func TestSugarByTheAPI(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/house"
	w := s.must(t, 200, "POST", path, `{"kind":"stirred","left_c":123.2,"water_c":99.6,"humidity_pct":45,"outcome":"poured","syrup_l":4,"sugar_kg":3.4}`)
	if !strings.Contains(w.Body.String(), "23.6") {
		t.Errorf("%s", w.Body)
	}
	var list []HouseEntry
	if err := json.Unmarshal(s.must(t, 200, "GET", path, "").Body.Bytes(), &list); err != nil || len(list) != 1 ||
		list[0].Outcome != "poured" || *list[0].LeftC != 123.2 || *list[0].HumidityPct != 45 || list[0].SapL != nil {
		t.Errorf("%v %+v", err, list)
	}
}

// Where a tongue has the frame of a sentence and not what goes into it, the whole sentence
// comes in another: none mixes two.
func TestAnswersMixNoLanguages(t *testing.T) {
	c, err := message.LoadCatalogue(madeup.File(t, "art-x-ours", madeup.Syllabics.Texts(t, "house_wrong", "house_boiled", "unit_litre")))
	if err != nil || len(c.LeftOut) > 0 {
		t.Fatal(err, c.LeftOut)
	}
	s := open(t)
	s.WordsIn = func(string) (*message.Words, error) {
		return c.Words(message.Reader{Language: "art-x-ours", Units: units.Metric})
	}
	r := chi.NewRouter()
	Register(r, s.Backend)
	s.handler = r
	const path = "/api/v1/sites/hill/house"
	for body, want := range map[string]string{
		`{"kind":"boiled"}`:                           "how much sap it was",
		`{"kind":"boiled","sap_l":220,"syrup_l":5.1}`: "Noted: boiled 220 litres of sap to 5.1 litres of syrup",
		`{"kind":"boiled","sap_l":180}`:               madeup.Syllabics.Say("boiled"),
		`{"kind":"boiled","sap_l":10,"syrup_l":9}`:    "more than a quarter",
	} {
		said := s.ask("POST", path, body).Body.String()
		own, _ := madeup.Syllabics.Words(said)
		if !strings.Contains(said, want) || (len(own) > 0) == strings.Contains(want, " ") {
			t.Errorf("%s: no %s, or words of two languages, in %s", body, want, said)
		}
	}
}
