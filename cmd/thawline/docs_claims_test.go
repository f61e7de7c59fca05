package main

import (
	"encoding/csv"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// claim is one thing that a page says, and what shows it: tests, benchmarks and fuzz
// targets by name, scripts by path, or a word of grounds and where from.
type claim struct{ page, words, shownBy, how string }

// grounds may stand for a test where none can be: a source, knowledge of the trade, a
// measurement by hand with its date, what the code states by itself, what is history,
// or a judgement.
var grounds = []string{"source", "common practice", "from memory", "measured", "by construction", "history", "judgement", "arithmetic"}

func claims(t *testing.T) []claim {
	t.Helper()
	file, err := os.Open("testdata/claims.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []claim
	for _, r := range rows[1:] {
		out = append(out, claim{r[0], r[1], r[2], r[3]})
	}
	return out
}

// definedTests are the tests, benchmarks and fuzz targets that there are, by name.
func definedTests(t *testing.T) map[string]bool {
	t.Helper()
	defined, err := exec.CommandContext(t.Context(), "grep", "-rhoE", "--include=*_test.go", `^func (Test|Benchmark|Fuzz)[A-Za-z0-9_]+`,
		".").Output()
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for line := range strings.Lines(string(defined)) {
		known[strings.TrimPrefix(strings.TrimSpace(line), "func ")] = true
	}
	return known
}

// Every row of the operator's table of threats names the tests that show what stops
// it, and those are there.
func TestThreatsHaveTests(t *testing.T) {
	t.Chdir("../..")
	page, err := os.ReadFile("deploy/guide/operator.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(page), "## Who might attack it")
	if !found {
		t.Fatal("the guide has no table of threats")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	known, name := definedTests(t), regexp.MustCompile("`((?:Test|Fuzz)[A-Za-z0-9_]+)`")
	rows := 0
	for line := range strings.Lines(section) {
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| Who") {
			continue
		}
		rows++
		tests := name.FindAllStringSubmatch(line, -1)
		if len(tests) == 0 {
			t.Errorf("no test shows it: %.80s", line)
		}
		for _, test := range tests {
			if !known[test[1]] {
				t.Errorf("there is no %s: %.80s", test[1], line)
			}
		}
	}
	for _, who := range []string{"A stranger on the network", "A neighbour with a link", "A former helper", "A hostile weather service",
		"A hostile text gateway", "A thief of the box"} {
		if !strings.Contains(section, who) {
			t.Errorf("nothing is said of: %s", who)
		}
	}
	if rows < 6 {
		t.Errorf("%d rows", rows)
	}
}

// Every claim of the table stands in its page, and what shows it is there.
func TestClaimsAreShown(t *testing.T) {
	t.Chdir("../..")
	known := definedTests(t)
	name := regexp.MustCompile(`^(Test|Benchmark|Fuzz)[A-Za-z0-9_]+$`)
	text := map[string]string{}
	for _, c := range claims(t) {
		if text[c.page] == "" {
			page, err := os.ReadFile(c.page)
			if err != nil {
				t.Fatal(err)
			}
			text[c.page] = string(page)
		}
		if !strings.Contains(text[c.page], c.words) {
			t.Errorf("%s does not say %q any more", c.page, c.words)
		}
		for _, by := range strings.Split(c.shownBy, ";") {
			by = strings.TrimSpace(by)
			ground, _, _ := strings.Cut(by, ":")
			path, _, _ := strings.Cut(by, " ")
			switch {
			case name.MatchString(by):
				if !known[by] {
					t.Errorf("%s: %q: there is no %s", c.page, c.words, by)
				}
			case strings.Contains(path, "/"):
				if _, err := os.Stat(path); err != nil {
					t.Errorf("%s: %q: there is no %s", c.page, c.words, path)
				}
			case !contains(grounds, ground):
				t.Errorf("%s: %q: %q shows nothing", c.page, c.words, by)
			}
		}
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// Every line with a figure, in what is read by people who use it, is a claim of the
// table. What stands in blocks is run by the test of transcripts.
func TestFiguresAreClaims(t *testing.T) {
	t.Chdir("../..")
	by := map[string][]string{}
	for _, c := range claims(t) {
		by[c.page] = append(by[c.page], c.words)
	}
	block := regexp.MustCompile("(?ms)^```.*?^```\n")
	// Addresses, moments, versions and code hold digits that are no figures.
	plain := regexp.MustCompile("\\]\\([^)]*\\)|`[^`]*`|https?://[^ )]*")
	figure := regexp.MustCompile(`[0-9]`)
	for _, page := range pagesToRead(t) {
		if page == "DEVELOPERS.md" || page == "deploy/guide/measured.md" { // which say how each was measured
			continue
		}
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(block.ReplaceAllString(string(text), "")) {
			if !figure.MatchString(plain.ReplaceAllString(line, "")) || regexp.MustCompile(`^[0-9]+\. \D*$`).MatchString(line) {
				continue
			}
			found := false
			for _, words := range by[page] {
				found = found || strings.Contains(line, words)
			}
			if !found {
				t.Errorf("%s: a figure that no claim of testdata/claims.csv covers: %s", page, line)
			}
		}
	}
}
