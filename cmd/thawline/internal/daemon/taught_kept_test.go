package daemon

import (
	"encoding/json"
	"reflect"
	"testing"

	"thawline/forecast"
	"thawline/forecast/season"
)

// Ends, buds and signs of earlier seasons are there again when what was taught comes from
// where it is kept.
func TestWhatWasTaughtIsKeptWhole(t *testing.T) {
	taught := forecast.Taught{
		Ends: []forecast.SapEnd{{Warmth: 140, DOY: 92}, {Warmth: 101, DOY: 85, Censored: true}}, Buds: []float64{310, 402.5},
		Signs: []season.SignYear{{Sign: "frogs", Year: 2024, SeenDOY: 70, RunDOY: 60, EndDOY: 92, WarmDOY: 90}},
	}
	document, err := json.Marshal(keep(&taught))
	if err != nil {
		t.Fatal(err)
	}
	var kept keptTaught
	if err := json.Unmarshal(document, &kept); err != nil {
		t.Fatal(err)
	}
	again := kept.taught()
	if !reflect.DeepEqual(again.Ends, taught.Ends) || !reflect.DeepEqual(again.Buds, taught.Buds) ||
		!reflect.DeepEqual(again.Signs, taught.Signs) {
		t.Errorf("kept %+v %v %+v", again.Ends, again.Buds, again.Signs)
	}
}
