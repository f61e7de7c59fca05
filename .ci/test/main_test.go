package main

import (
	"bufio"
	"slices"
	"strings"
	"testing"
)

// What was skipped is listed with its reason; what wanted a part of others' is told apart.
func TestRead(t *testing.T) {
	events := `{"Action":"output","Package":"p","Test":"TestA","Output":"=== RUN   TestA\n"}
{"Action":"output","Package":"p","Test":"TestA","Output":"    a_test.go:3: promtool is not installed: the rules are not tried\n"}
{"Action":"skip","Package":"p","Test":"TestA"}
{"Action":"output","Package":"p","Test":"TestB","Output":"    b_test.go:3: THAWLINE_MANY names no number of members\n"}
{"Action":"skip","Package":"p","Test":"TestB"}
{"Action":"pass","Package":"p","Test":"TestC"}
{"Action":"skip","Package":"q"}
`
	skipped, missing := read(bufio.NewScanner(strings.NewReader(events)))
	if want := []string{"p.TestA: promtool is not installed: the rules are not tried",
		"p.TestB: THAWLINE_MANY names no number of members"}; !slices.Equal(skipped, want) {
		t.Errorf("skipped %q, want %q", skipped, want)
	}
	if !slices.Equal(missing, skipped[:1]) {
		t.Errorf("missing %q", missing)
	}
}
