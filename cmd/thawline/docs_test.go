package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// pagesToRead are what people read, from the root of the tree.
func pagesToRead(t *testing.T) []string {
	t.Helper()
	guides, err := filepath.Glob("deploy/guide/*.md")
	if err != nil || len(guides) < 6 {
		t.Fatalf("%v %v", guides, err)
	}
	return append(guides, "README.md", "DEVELOPERS.md")
}

var (
	consoleBlock = regexp.MustCompile("(?ms)^```console\n(.*?)^```")
	plainBlock   = regexp.MustCompile("(?ms)^```\n(.*?)^```")
)

// Every command in a block that shows what it says is run, and says it: lines in
// that order, next to each other unless "…" stands between; a line may be cut short.
func TestTranscriptsAreTrue(t *testing.T) {
	t.Chdir("../..")
	for _, page := range pagesToRead(t) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		data := t.TempDir()
		for _, block := range consoleBlock.FindAllStringSubmatch(string(text), -1) {
			for _, one := range strings.Split("\n"+block[1], "\n$ ")[1:] {
				lines := strings.Split(strings.TrimRight(one, "\n"), "\n")
				args := strings.Fields(lines[0])
				if args[0] != "thawline" {
					t.Errorf("%s: %s is no command of this program", page, lines[0])
					continue
				}
				t.Setenv("THAWLINE_DATA_DIR", data)
				out, err := say(t, args[1:]...)
				if err != nil {
					t.Errorf("%s: %s: %v", page, lines[0], err)
				}
				if missing := saidIn(lines[1:], out); missing != "" {
					t.Errorf("%s: %s does not say %q; it says:\n%s", page, lines[0], missing, out)
				}
			}
		}
	}
}

// say runs a command as run does, with the data that stands in the environment.
func say(t *testing.T, args ...string) (string, error) {
	t.Helper()
	root := rootCommand()
	var out, log strings.Builder
	root.SetOut(&out)
	root.SetErr(&log)
	root.SetArgs(args)
	err := root.ExecuteContext(t.Context())
	return log.String() + out.String(), err
}

// saidIn is the first line that an output does not have where it should, "" if it has
// all.
func saidIn(want []string, out string) string {
	lines := strings.Split(out, "\n")
	at, anywhere := 0, false
	for _, w := range want {
		if w == "…" {
			anywhere = true
			continue
		}
		found := -1
		for i := at; i < len(lines); i++ {
			if strings.HasPrefix(strings.TrimSpace(lines[i]), strings.TrimSpace(w)) {
				found = i
				break
			}
			if !anywhere {
				break
			}
		}
		if found < 0 {
			return w
		}
		at, anywhere = found+1, false
	}
	return ""
}

// Commands that are only named have no option that there is not, and every command
// of the program is named somewhere.
func TestCommandsInThePagesExist(t *testing.T) {
	t.Chdir("../..")
	named := map[string]bool{}
	inline := regexp.MustCompile("`thawline ([^`\n]+)`")
	for _, page := range pagesToRead(t) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		var commands []string
		for _, m := range inline.FindAllStringSubmatch(string(text), -1) {
			commands = append(commands, m[1])
		}
		for _, block := range plainBlock.FindAllStringSubmatch(string(text), -1) {
			for line := range strings.SplitSeq(block[1], "\n") {
				if _, rest, found := strings.Cut(line, "thawline "); found &&
					(strings.HasPrefix(line, "thawline ") || strings.HasPrefix(line, "sudo -u thawline thawline ")) {
					commands = append(commands, strings.TrimPrefix(strings.TrimPrefix(rest, "thawline "), "thawline "))
				}
			}
		}
		for _, c := range commands {
			words := strings.Fields(c)
			root := rootCommand()
			cmd, _, err := root.Find(words)
			if err != nil || cmd == root && !strings.HasPrefix(words[0], "-") {
				t.Errorf("%s: no command: thawline %s", page, c)
				continue
			}
			for at := cmd; at.HasParent(); at = at.Parent() {
				named[at.CommandPath()] = true
			}
			for _, w := range words {
				flag, _, _ := strings.Cut(strings.TrimPrefix(w, "--"), "=")
				if strings.HasPrefix(w, "--") && cmd.Flags().Lookup(flag) == nil && cmd.InheritedFlags().Lookup(flag) == nil &&
					flag != "help" && flag != "version" {
					t.Errorf("%s: thawline %s: there is no --%s", page, c, flag)
				}
			}
		}
		for _, block := range consoleBlock.FindAllStringSubmatch(string(text), -1) {
			for _, m := range regexp.MustCompile(`(?m)^\$ thawline (\S+)`).FindAllStringSubmatch(block[1], -1) {
				named["thawline "+m[1]] = true
			}
		}
		for _, m := range regexp.MustCompile("(?m)^\\| `([a-z]+)").FindAllStringSubmatch(string(text), -1) {
			named["thawline "+m[1]] = true
		}
	}
	for _, c := range rootCommand().Commands() {
		if !named[c.CommandPath()] && !c.Hidden && c.Name() != "completion" && c.Name() != "help" {
			t.Errorf("no page names %s", c.CommandPath())
		}
	}
}

// Links between pages, and to pictures, lead somewhere.
func TestLinksLeadSomewhere(t *testing.T) {
	t.Chdir("../..")
	link := regexp.MustCompile(`\]\(([^)\s]+)\)`)
	for _, page := range pagesToRead(t) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			to, _, _ := strings.Cut(m[1], "#")
			if strings.Contains(to, "://") || to == "" {
				continue
			}
			if _, err := os.Stat(filepath.Join(filepath.Dir(page), to)); err != nil {
				t.Errorf("%s: %s leads nowhere", page, m[1])
			}
		}
	}
}
