package main

import (
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Every direct dependency has a line in DEVELOPERS.md that says what it is for, and no
// other has.
func TestEveryModuleHasItsLine(t *testing.T) {
	t.Chdir("../..")
	page, err := os.ReadFile("DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.ReadFile("go.mod")
	if err != nil {
		t.Fatal(err)
	}
	direct, _, _ := strings.Cut(string(file), "\n)")
	var want, got []string
	for _, m := range regexp.MustCompile(`(?m)^\t(\S+) v\S+$`).FindAllStringSubmatch(direct, -1) {
		want = append(want, m[1])
	}
	for _, m := range regexp.MustCompile("(?m)^\\| `(\\S+)` \\| \\S.* \\|$").FindAllStringSubmatch(string(page), -1) {
		got = append(got, m[1])
	}
	for _, m := range want {
		if !slices.Contains(got, m) {
			t.Errorf("DEVELOPERS.md does not say what %s is for: add its line to the table of parts from elsewhere", m)
		}
	}
	for _, m := range got {
		if !slices.Contains(want, m) {
			t.Errorf("DEVELOPERS.md speaks of %s, which go.mod does not ask for", m)
		}
	}
	if len(want) < 20 {
		t.Errorf("only %d direct dependencies found", len(want))
	}
}

// The picture of the house is what .ci/house draws.
func TestPictureOfTheHouse(t *testing.T) {
	t.Chdir("../..")
	drawn, err := exec.CommandContext(t.Context(), "go", "run", "./.ci/house").Output()
	if err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile("DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), "```mermaid\n"+string(drawn)+"```\n") {
		t.Error("DEVELOPERS.md shows another house: go run ./.ci/house -w draws it anew")
	}
}

// Every fault of the list that .ci/mutants puts into the tree still finds its place there.
func TestFaultsFitTheTree(t *testing.T) {
	t.Chdir("../..")
	list, err := os.ReadFile(".ci/mutants/mutants.txt")
	if err != nil {
		t.Fatal(err)
	}
	faults := 0
	for line := range strings.Lines(string(list)) {
		parts := strings.Split(strings.TrimRight(line, "\n"), " | ")
		if strings.HasPrefix(line, "#") || len(parts) != 4 {
			continue
		}
		faults++
		code, err := os.ReadFile(parts[0])
		if err != nil || !strings.Contains(string(code), strings.ReplaceAll(parts[1], `\n`, "\n")) {
			t.Errorf("%s: %q is not there any more (%v): name another place for the fault", parts[0], parts[1], err)
		}
	}
	if faults < 50 {
		t.Errorf("only %d faults", faults)
	}
}
