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

// Every claim of the table stands in its page, and what shows it is there.
func TestClaimsAreShown(t *testing.T) {
	t.Chdir("../..")
	defined, err := exec.CommandContext(t.Context(), "grep", "-rhoE", "--include=*_test.go", `^func (Test|Benchmark|Fuzz)[A-Za-z0-9_]+`, ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for line := range strings.Lines(string(defined)) {
		known[strings.TrimPrefix(strings.TrimSpace(line), "func ")] = true
	}
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
		if page == "DEVELOPERS.md" {
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
