package main

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// peak is the most that a process has held, kB.
var peak = regexp.MustCompile(`VmHWM:\s*(\d+) kB`)

// A hundred megabytes with a million faults are refused with a brief answer, and take less
// than 120 MB of memory, whatever is wrong with them; nothing of them is kept.
func TestHugeFilesTakeLittle(t *testing.T) {
	const size, most, answer = 100 << 20, 120 << 20, 100_000
	if file := os.Getenv("THAWLINE_HUGE"); file != "" { // the process that is measured
		out, err := run(t, map[string]string{"THAWLINE_DATA_DIR": os.Getenv("THAWLINE_HUGE_DATA")}, "records", "import", file, "--config",
			os.Getenv("THAWLINE_HUGE_CONFIG"))
		fmt.Printf("%s\n%v\n", out, err)
		status, _ := os.ReadFile("/proc/self/status") // a child's rusage begins with its parent's
		fmt.Printf("%s\n", peak.Find(status))
		if err == nil {
			t.Error("it was taken")
		}
		return
	}
	if runtime.GOOS != "linux" {
		t.Skip("what a process has held is told in other units here")
	}
	config, env := hillSettings(t)
	const head = "date,taps,volume_l,note\n"
	kinds := map[string]struct{ head, row string }{
		"no figures":       {head, "2013-02-24,50,much,a note of a season long ago that fills the row\n"},
		"days to come":     {head, "2091-02-24,50,40,a note of a season long ago that fills the row\n"},
		"one row again":    {head, "2013-02-24,50,40,a note of a season long ago that fills the row\n"},
		"short rows":       {head, "2013-02-24\n"},
		"long rows":        {head, "2013-02-24,50,40" + strings.Repeat(",", 90) + "\n"},
		"an open quote":    {head + "\"", "2013-02-24,50,40,a note\n"},
		"no line's end":    {"", "date,"},
		"empty rows":       {head, "\n"},
		"a station's file": {"at,temperature_c\n", "2013-02-24 00:00,-1000\n"},
		"noughts":          {head, strings.Repeat("\x00", 99) + "\n"},
	}
	if testing.Short() {
		kinds = map[string]struct{ head, row string }{"no figures": kinds["no figures"], "an open quote": kinds["an open quote"]}
	}
	for what, kind := range kinds {
		file := filepath.Join(t.TempDir(), "huge.csv")
		f, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		w := bufio.NewWriter(f)
		_, err = w.WriteString(kind.head)
		for n := 0; n < size && err == nil; n += len(kind.row) {
			_, err = w.WriteString(kind.row)
		}
		if err != nil || w.Flush() != nil || f.Close() != nil {
			t.Fatal(err)
		}
		child := exec.CommandContext(t.Context(), os.Args[0], "-test.run", "^TestHugeFilesTakeLittle$")
		child.Env = append(os.Environ(), "THAWLINE_HUGE="+file, "THAWLINE_HUGE_CONFIG="+config,
			"THAWLINE_HUGE_DATA="+env["THAWLINE_DATA_DIR"])
		out, err := child.CombinedOutput()
		held := 0
		if said := peak.FindSubmatch(out); said != nil {
			held, _ = strconv.Atoi(string(said[1])) // digits
		}
		held <<= 10
		if err != nil || held == 0 || held > most || len(out) > answer || bytes.Contains(out, []byte("panic")) {
			t.Errorf("%s: %d MB held, an answer of %d bytes, %v:\n%.600s", what, held>>20, len(out), err, out)
		}
		t.Logf("%s: %d MB held, an answer of %d bytes", what, held>>20, len(out))
		if err := os.Remove(file); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := run(t, env, "records", "list", "--config", config, "--json"); err != nil || strings.Contains(out, "2013") || strings.Contains(out, "2091") {
		t.Errorf("something is kept: %v %.300s", err, out)
	}
}
