package main

import (
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The commands carry one and the same work, evening by evening.
func TestCommandsCarryTheSameWork(t *testing.T) {
	env := map[string]string{}
	config := written(t, "thawline.yaml", `
sites:
  - id: kettle
    latitude: 44.62
    longitude: -72.31
    elevation: 420 m
    zone: America/New_York
    tanks:
      - {id: shed, volume: 568 L}
    groups:
      - {id: ridge, taps: 60, collected_by: pail, container: 7.6 L, tapped: 2026-03-01}
      - {id: lane, taps: 140, collected_by: tubing_gravity, tank: shed, tapped: 2026-03-01}
`)
	due := 0
	for _, now := range []string{"2026-03-08T22:30:00Z", "2026-03-13T22:30:00Z", "2026-03-20T22:30:00Z", "2026-03-27T22:30:00Z"} {
		work := map[string]any{}
		for _, command := range []string{"forecast", "rounds"} {
			out, err := run(t, env, command, "--json", "--config", config, "--weather", "../../testdata/weather.csv", "--now", now)
			if err != nil {
				t.Fatalf("%s: %v\n%s", command, err, out)
			}
			var document map[string]any
			if err := json.Unmarshal([]byte(out), &document); err != nil {
				t.Fatal(err)
			}
			work[command] = document["work"]
		}
		if d := cmp.Diff(work["forecast"], work["rounds"]); d != "" || work["rounds"] == nil {
			t.Errorf("%s: forecast and rounds differ:\n%s", now, d)
		}
		if w, is := work["rounds"].(map[string]any); is {
			if list, is := w["rounds"].([]any); is {
				due += len(list)
			}
		}
	}
	if due == 0 {
		t.Error("nobody goes on any evening: nothing was compared")
	}
}
