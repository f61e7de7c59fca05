package main

import (
	"strings"
	"testing"
)

// Visits are booked by the command, once, listed, and taken back.
func TestSchoolByCommand(t *testing.T) {
	config, env := hillSettings(t)
	school := func(more ...string) (string, error) {
		return run(t, env, append([]string{"boil", "school", "--config", config, "--now", "2026-03-01T12:00:00Z"}, more...)...)
	}
	if out, err := school(); err != nil || !strings.Contains(out, "No visit") {
		t.Fatalf("%v %s", err, out)
	}
	for range 2 {
		if out, err := school("--book", "2026-03-24", "--hours", "9:00-11:30", "--learners", "20"); err != nil ||
			strings.Count(out, "24") != 1 && strings.Count(out, "\n") != 1 {
			t.Fatalf("%v %s", err, out)
		}
	}
	out, err := school()
	if err != nil || strings.Count(out, "\n") != 1 {
		t.Fatalf("%v %s", err, out)
	}
	for _, wrong := range [][]string{{"--book", "2026-02-01"}, {"--book", "soon"}, {"--book", "2026-03-25", "--hours", "11:00-9:00"},
		{"--cancel", "none"}} {
		if _, err := school(wrong...); err == nil {
			t.Errorf("%v is taken", wrong)
		}
	}
	if out, err := school("--cancel", strings.Fields(out)[0]); err != nil || !strings.Contains(out, "No visit") {
		t.Errorf("%v %s", err, out)
	}
}
