// Command everywhere puts a fault at every place of packages and looks which the tests see.
// All faults are compiled at once, each behind a switch, so that one takes no longer than
// the tests that reach it:
//
//	go run ./.ci/mutants/everywhere [-part 1/3] [-with packages] [-skip tests] [-longest 60s] package...
//
// The faults are those of common tools of this kind: comparisons turned round and moved by
// one, and and or, plus and minus, times and divided, one more and one less, and signs.
// Seen is what is killed of all: what no test reaches, or what takes thirty times as long
// and never ends, is not. Where more than one in twenty of a package's faults are listed as
// equivalent it refuses. A line of the list of equivalents is
//
//	file | line, without spaces around it | fault | why nothing can tell the difference
package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

func main() {
	part := flag.String("part", "1/1", "which part of the faults, of how many")
	list := flag.String("equivalent", ".ci/mutants/equivalent.txt", "faults that change nothing")
	longest := flag.Duration("longest", time.Minute, "the time of tests that are run for one fault; slower ones than that are left out")
	with := flag.String("with", "", "other packages whose tests are run too, with commas between them")
	skip := flag.String("skip", "^$", "tests that are left out, by a regular expression: those that take minutes")
	side := flag.Int("side", 1, "how many at a time")
	flag.Parse()
	failed := false
	for _, name := range flag.Args() {
		r := run{dir: filepath.Clean(name), with: strings.FieldsFunc(*with, func(c rune) bool { return c == ',' }), longest: *longest,
			skip: regexp.MustCompile(*skip), side: *side}
		if _, err := fmt.Sscanf(*part, "%d/%d", &r.part, &r.of); err != nil || r.of < 1 {
			fmt.Fprintln(os.Stderr, "-part: write it like 1/3")
			os.Exit(2)
		}
		if err := r.do(*list); err != nil {
			fmt.Fprintf(os.Stderr, "%s: %v\n", name, err)
			failed = true
		}
	}
	if failed {
		os.Exit(1)
	}
}

// run is the faults of one package.
type run struct {
	dir      string
	with     []string // packages whose tests reach it too
	longest  time.Duration
	skip     *regexp.Regexp
	part, of int
	side     int

	faults []fault
	tests  []test
}

// fault is one change of one place.
type fault struct {
	file string
	line int
	text string // of its line
	what string
}

// test is one test, how long it takes, and which faults it reaches.
type test struct {
	name    string
	dir     string // of its package
	binary  string
	took    time.Duration
	reaches map[int]bool
}

func (r *run) do(list string) error {
	temp, err := os.MkdirTemp("", "everywhere")
	if err != nil {
		return err
	}
	defer os.RemoveAll(temp)
	if err := r.rewrite(temp); err != nil {
		return err
	}
	same, err := equivalents(list)
	if err != nil {
		return err
	}
	listed, err := r.listed(same)
	if err != nil {
		return err
	}
	for i, dir := range append([]string{r.dir}, r.with...) {
		binary := filepath.Join(temp, fmt.Sprintf("test%d", i))
		for _, what := range []string{"records", "overlay"} {
			if out, err := exec.Command("go", "test", "-vet=off", "-c", "-overlay", filepath.Join(temp, what+".json"), "-o", binary+what,
				"./"+dir).CombinedOutput(); err != nil {
				return fmt.Errorf("build: %w\n%s", err, out)
			}
		}
		if err := r.measure(temp, dir, binary); err != nil {
			return err
		}
	}
	slices.SortStableFunc(r.tests, func(a, b test) int { return int(a.took - b.took) })
	began, verdicts := time.Now(), make([]string, len(r.faults))
	turns := make(chan int)
	var workers sync.WaitGroup
	for range r.side {
		workers.Go(func() {
			for i := range turns {
				if verdicts[i] = r.try(i); verdicts[i] != "killed" { // as it comes: a pass may take hours
					f := &r.faults[i]
					if same[key(f.file, f.text, f.what)] {
						verdicts[i] = "equivalent"
						continue
					}
					fmt.Printf("%-11s %s:%d: %s: %s\n", verdicts[i], f.file, f.line, f.what, f.text)
				}
			}
		})
	}
	for i := range r.faults {
		if i%r.of == r.part-1 {
			turns <- i
		}
	}
	close(turns)
	workers.Wait()
	counts, all := map[string]int{}, 0
	for _, verdict := range verdicts {
		if verdict != "" {
			counts[verdict]++
			all++
		}
	}
	fmt.Printf("%s: %d of %d killed (%.1f %%), %d lived, %d not covered, %d timed out, %d equivalent; %d of all %d listed as equivalent (%.1f %%); %d tests, %s\n", r.dir,
		counts["killed"], all, 100*float64(counts["killed"])/float64(max(all, 1)),
		counts["lived"], counts["not covered"], counts["timed out"], counts["equivalent"], listed, len(r.faults),
		100*float64(listed)/float64(max(len(r.faults), 1)), len(r.tests), time.Since(began).Round(time.Second))
	return nil
}

// mostListed is the share of a package's faults that may be listed as changing nothing.
const mostListed = 0.05

// listed is how many of a package's faults are in the list of equivalents: too many are
// refused, and lines that are of no fault any more.
func (r *run) listed(same map[string]bool) (n int, err error) {
	found := map[string]bool{}
	for i := range r.faults {
		if k := key(r.faults[i].file, r.faults[i].text, r.faults[i].what); same[k] {
			n++
			found[k] = true
		}
	}
	for k := range same {
		if file, _, _ := strings.Cut(k, " | "); filepath.Dir(file) == r.dir && !found[k] {
			return n, fmt.Errorf("listed as equivalent, and no fault: %s", k)
		}
	}
	if float64(n) > mostListed*float64(len(r.faults)) {
		return n, fmt.Errorf("%d of %d faults are listed as equivalent, at most %.0f %%: test them, or make the code simpler", n, len(r.faults),
			100*mostListed)
	}
	return n, nil
}

// measure finds how long each test of a package takes and what it reaches.
func (r *run) measure(temp, dir, binary string) error {
	of := test{dir: dir, binary: binary + "records"}
	out, err := of.command(context.Background(), nil, "-test.list", ".").Output()
	if err != nil {
		return fmt.Errorf("list the tests: %w", err)
	}
	for _, name := range strings.Fields(string(out)) {
		if !strings.HasPrefix(name, "Test") && !strings.HasPrefix(name, "Fuzz") && !strings.HasPrefix(name, "Example") ||
			r.skip.MatchString(name) {
			continue
		}
		record := filepath.Join(temp, "reached")
		_ = os.Remove(record)
		began := time.Now()
		if out, err := of.command(context.Background(), []string{"FAULT_RECORD=" + record}, "-test.run",
			"^"+name+"$").CombinedOutput(); err != nil {
			return fmt.Errorf("%s fails without any fault: %w\n%s", name, err, bytes.TrimSpace(out))
		}
		t := test{name: name, dir: dir, binary: binary + "overlay", took: time.Since(began), reaches: map[int]bool{}}
		reached, err := os.ReadFile(record)
		if err != nil && !os.IsNotExist(err) {
			return err
		}
		for _, word := range strings.Fields(string(reached)) {
			n, err := strconv.Atoi(word)
			if err != nil {
				return fmt.Errorf("what %s reaches: %w", name, err)
			}
			t.reaches[n] = true
		}
		if len(t.reaches) > 0 {
			r.tests = append(r.tests, t)
		}
	}
	return nil
}

// try runs the tests that reach a fault, the quick ones at once.
func (r *run) try(i int) string {
	var batches [][]test
	var sum, all time.Duration
	for _, t := range r.tests {
		if !t.reaches[i] || all > 0 && all+t.took > r.longest {
			continue
		}
		if all += t.took; len(batches) == 0 || sum > 2*time.Second || t.binary != batches[len(batches)-1][0].binary {
			batches, sum = append(batches, nil), 0
		}
		sum += t.took
		batches[len(batches)-1] = append(batches[len(batches)-1], t)
	}
	if len(batches) == 0 {
		return "not covered"
	}
	for _, batch := range batches {
		var names []string
		limit := 8 * time.Second // to begin at all, on a busy machine
		for _, t := range batch {
			names = append(names, regexp.QuoteMeta(t.name))
			limit += 30 * t.took
		}
		ctx, cancel := context.WithTimeout(context.Background(), limit)
		err := batch[0].command(ctx, []string{"FAULT=" + strconv.Itoa(i)}, "-test.failfast", "-test.run",
			"^("+strings.Join(names, "|")+")$").Run()
		over := ctx.Err() != nil
		cancel()
		switch {
		case over:
			return "timed out"
		case err != nil:
			return "killed"
		}
	}
	return "lived"
}

func (t *test) command(ctx context.Context, env []string, args ...string) *exec.Cmd {
	c := exec.CommandContext(ctx, t.binary, args...)
	c.Dir, c.Env = t.dir, append(os.Environ(), env...)
	return c
}

func key(file, text, what string) string { return file + " | " + text + " | " + what }

// equivalents reads the list.
func equivalents(path string) (map[string]bool, error) {
	same := map[string]bool{}
	text, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		return same, nil
	}
	if err != nil {
		return nil, err
	}
	for i, line := range strings.Split(string(text), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		last := strings.LastIndex(line, " | ")
		if last < 0 || strings.Count(line, " | ") < 3 {
			return nil, fmt.Errorf("%s:%d: write file | line | fault | why", path, i+1)
		}
		same[line[:last]] = true
	}
	return same, nil
}
