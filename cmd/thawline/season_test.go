package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// seasonDoc is what `season --json` prints, as far as it is looked at.
type seasonDoc struct {
	Season struct {
		WorthTapping bool `json:"worth_tapping"`
		Sap          *struct {
			TotalL span `json:"total_l"`
		} `json:"sap"`
		Groups []struct {
			Group, Species, Taps string
			End                  struct{ P10, P50, P90 string }
			Brix                 span
			ToComeL              span `json:"to_come_l"`
			TapWeeks             []struct {
				On      string
				SeasonL span `json:"season_l"`
			} `json:"tap_weeks"`
		} `json:"groups"`
	} `json:"season"`
}

type span struct{ P10, P50, P90 float64 }

// The season of each group by its maples, through the command: a red maple's ends earlier
// and is thinner, another one's range is wider; the forecast's document has the same; and a
// name that is none is told which there are.
func TestSeasonBySpecies(t *testing.T) {
	const groups = `
sites:
  - id: kettle
    latitude: 44.62
    longitude: -72.31
    elevation: 420 m
    zone: America/New_York
    groups:
      - {id: ridge, taps: 60, collected_by: pail, container: 7.6 L, tapped: 2026-03-01}
      - {id: swamp, taps: 60, collected_by: pail, container: 7.6 L, tapped: 2026-03-01, species: red maple}
      - {id: yard, taps: 60, collected_by: pail, container: 7.6 L, species: other}
`
	from := []string{"--config", written(t, "thawline.yaml", groups), "--weather", "../../testdata/weather.csv", "--now",
		"2026-03-20T22:30:00Z", "--json"}
	out, err := run(t, nil, append([]string{"season"}, from...)...)
	if err != nil {
		t.Fatal(err)
	}
	var d seasonDoc
	if err := json.Unmarshal([]byte(out), &d); err != nil {
		t.Fatal(err)
	}
	if len(d.Season.Groups) != 3 || d.Season.Sap == nil {
		t.Fatalf("%.2000s", out)
	}
	ridge, swamp, yard := d.Season.Groups[0], d.Season.Groups[1], d.Season.Groups[2]
	if ridge.Species != "sugar maple" || swamp.Species != "red maple" || yard.Species != "other" || ridge.Taps != "leave" ||
		yard.Taps != "" || len(yard.TapWeeks) < 2 || len(ridge.TapWeeks) != 0 {
		t.Errorf("%+v", d.Season.Groups)
	}
	if swamp.End.P50 >= ridge.End.P50 || swamp.Brix.P50 >= ridge.Brix.P50 || swamp.ToComeL.P50 >= ridge.ToComeL.P50 ||
		yard.Brix.P90/yard.Brix.P10 <= ridge.Brix.P90/ridge.Brix.P10 {
		t.Errorf("%+v", d.Season.Groups)
	}
	out, err = run(t, nil, append([]string{"forecast"}, from...)...)
	if err != nil {
		t.Fatal(err)
	}
	var same seasonDoc
	if err := json.Unmarshal([]byte(out), &same); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(d, same); diff != "" {
		t.Errorf("season and forecast differ: %s", diff)
	}
	wrong := written(t, "wrong.yaml", strings.Replace(groups, "red maple", "hickory", 1))
	if _, err := run(t, nil, "season", "--config", wrong, "--weather", "../../testdata/weather.csv", "--now",
		"2026-03-20T22:30:00Z"); err == nil ||
		!strings.Contains(err.Error(), "hickory: no such species here; use one of sugar maple, red maple, other") {
		t.Errorf("hickory: %v", err)
	}
}
