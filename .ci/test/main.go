// Command test runs the tests and then says what was not tested, and why: go test passes
// over it in silence.
//
//	go run ./.ci/test [flags and packages of go test]
//
// With THAWLINE_REAL=1, as in CI, a part of others' that is not there is a fault.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
)

type event struct {
	Action, Package, Test, Output string
}

// real finds what is skipped for want of a part that CI installs.
var real = regexp.MustCompile(`is not installed|not installed:|names no (database|spectral)|no Chromium`)

func main() {
	arguments := os.Args[1:]
	if !slices.ContainsFunc(arguments, func(a string) bool { return strings.HasPrefix(a, "./") }) {
		arguments = append(arguments, "./...")
	}
	cmd := exec.Command("go", append([]string{"test", "-json", "-timeout=20m"}, arguments...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "test:", err)
		os.Exit(1)
	}
	skipped, missing := read(bufio.NewScanner(out))
	failed := cmd.Wait() != nil
	slices.Sort(skipped)
	fmt.Printf("== %d tests were skipped\n", len(skipped))
	for _, line := range skipped {
		fmt.Println("  " + line)
	}
	if os.Getenv("THAWLINE_REAL") == "1" && len(missing) > 0 {
		fmt.Printf("== real parts that were not used: %d\n", len(missing))
		failed = true
	}
	if failed {
		os.Exit(1)
	}
}

// read prints what go test would, and returns the tests that were skipped with their
// reasons, and those of them that wanted a real part.
func read(events *bufio.Scanner) (skipped, missing []string) {
	events.Buffer(nil, 16<<20)
	said := map[string][]string{} // by test
	for events.Scan() {
		var e event
		if json.Unmarshal(events.Bytes(), &e) != nil {
			fmt.Println(events.Text())
			continue
		}
		key := e.Package + " " + e.Test
		switch e.Action {
		case "output":
			said[key] = append(said[key], e.Output)
		case "skip":
			if e.Test == "" { // a package without tests
				break
			}
			line := e.Package + "." + e.Test + ": " + reason(said[key])
			skipped = append(skipped, line)
			if real.MatchString(line) {
				missing = append(missing, line)
			}
		case "fail":
			fmt.Print(strings.Join(said[key], ""))
		case "pass":
			if e.Test == "" {
				fmt.Print(said[key][len(said[key])-1])
			}
		}
		if e.Action != "output" {
			delete(said, key)
		}
	}
	return skipped, missing
}

// reason is what a test said when it was skipped, without the place in the code.
func reason(said []string) string {
	for _, line := range said {
		if _, why, found := strings.Cut(line, ".go:"); found {
			_, why, _ = strings.Cut(why, ": ")
			return strings.TrimSpace(why)
		}
	}
	return "no reason is given"
}
