package main

import (
	"strings"
	"testing"
)

// Batches of sugar come in by the command, teach the point from the third on, and go out
// and in with the book.
func TestSugarByCommand(t *testing.T) {
	config, env := hillSettings(t)
	sugar := func(more ...string) (string, error) {
		return run(t, env, append([]string{"boil", "sugar", "--config", config}, more...)...)
	}
	out, err := sugar()
	if err != nil || !strings.Contains(out, "42.5") && !strings.Contains(out, "23.6") || !strings.Contains(out, "handbook") {
		t.Fatalf("%v %s", err, out)
	}
	for i, left := range []string{"250.0F", "250.1F", "250.2F"} {
		if out, err := sugar("--left", left, "--water", "210F", "--outcome", "caked", "--humidity", "50"); err != nil ||
			!strings.Contains(out, "caked") {
			t.Fatalf("batch %d: %v %s", i, err, out)
		}
	}
	if out, err := sugar("--json"); err != nil || !strings.Contains(out, `"batches": 3`) {
		t.Errorf("%v %s", err, out)
	}
	for want, args := range map[string][]string{
		"how it came out": {"--left", "250F", "--water", "210F"},
		"boiling water":   {"--left", "250F", "--outcome", "poured"},
		"--left":          {"--left", "hot", "--water", "210F", "--outcome", "poured"},
	} {
		if _, err := sugar(args...); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want %q", args, err, want)
		}
	}
	book, err := run(t, env, "boil", "book", "--config", config)
	if err != nil || strings.Count(book, "stirred") != 3 || !strings.Contains(book, "caked") {
		t.Errorf("%v %s", err, book)
	}
}
