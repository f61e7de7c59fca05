// Command house draws which package imports which, as a graph in Mermaid's words: go run
// ./.ci/house from the root of the tree prints it, and with -w puts it into DEVELOPERS.md.
// An arrow that follows from others is left out, and packages below a part of the program
// stand for it.
package main

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"slices"
	"strings"
)

const module = "thawline/"

func main() {
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "./...").Output()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	drawn := draw(string(out))
	if len(os.Args) < 2 || os.Args[1] != "-w" {
		fmt.Print(drawn)
		return
	}
	if err := write("DEVELOPERS.md", drawn); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// write puts a picture in the place of the one that a page has.
func write(page, drawn string) error {
	text, err := os.ReadFile(page)
	if err != nil {
		return err
	}
	before, rest, found := strings.Cut(string(text), "```mermaid\n")
	_, after, ended := strings.Cut(rest, "```\n")
	if !found || !ended {
		return fmt.Errorf("%s has no picture: begin one with ```mermaid", page)
	}
	return os.WriteFile(page, []byte(before+"```mermaid\n"+drawn+"```\n"+after), 0o644)
}

// draw makes the graph of what go list says.
func draw(list string) string {
	uses := map[string]map[string]bool{}
	for line := range strings.Lines(list) {
		fields := strings.Fields(line)
		from := part(fields[0])
		for _, of := range fields[1:] {
			to := part(of)
			if from == "" || to == "" || from == to {
				continue
			}
			if uses[from] == nil {
				uses[from] = map[string]bool{}
			}
			uses[from][to] = true
		}
	}
	var b strings.Builder
	b.WriteString("graph TD\n")
	for _, from := range slices.Sorted(maps.Keys(uses)) {
		for _, to := range slices.Sorted(maps.Keys(uses[from])) {
			if !around(uses, from, to) {
				fmt.Fprintf(&b, "  %s --> %s\n", name(from), name(to))
			}
		}
	}
	return b.String()
}

// part is what stands for a package in the picture, "" for one that is not ours.
func part(path string) string {
	path, ours := strings.CutPrefix(path, module)
	if !ours {
		return ""
	}
	parts := strings.Split(path, "/")
	switch parts[0] {
	case "forecast", "alerts":
		return strings.Join(parts[:min(len(parts), 2)], "/")
	case "cmd":
		if i := slices.Index(parts, "internal"); i > 0 {
			return "cmd/" + parts[i+1]
		}
		return "cmd"
	}
	return cmp.Or(parts[0], path)
}

func name(of string) string { return strings.ReplaceAll(of, "/", ".") }

// around reports whether there is a longer way from one to the other.
func around(uses map[string]map[string]bool, from, to string) bool {
	seen := map[string]bool{}
	var reaches func(at string) bool
	reaches = func(at string) bool {
		if seen[at] {
			return false
		}
		seen[at] = true
		if uses[at][to] {
			return true
		}
		for next := range uses[at] {
			if reaches(next) {
				return true
			}
		}
		return false
	}
	for next := range uses[from] {
		if next != to && reaches(next) {
			return true
		}
	}
	return false
}
