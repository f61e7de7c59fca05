package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A sheet is written, filled in and read back; what is wrong in it leaves the file as it was.
func TestSheetCommands(t *testing.T) {
	dir := t.TempDir()
	sheet, file := filepath.Join(dir, "words.csv"), filepath.Join(dir, "oj.toml")
	out, err := say(t, "words", "export", "--sheet")
	if err != nil {
		t.Fatal(err)
	}
	const row = "\n[verdict_sure]\","
	if !strings.Contains(out, row) {
		t.Fatalf("no row of verdict_sure in %.300s", out)
	}
	write := func(text string) {
		if err := os.WriteFile(sheet, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(strings.Replace(out, row, row+"xa xe xi", 1))
	said, err := say(t, "words", "import", sheet, file)
	if err != nil || !strings.Contains(said, "1 texts from the sheet") && !strings.Contains(said, "from the sheet") ||
		!strings.Contains(said, "39 of the first forty are missing") {
		t.Errorf("%v %s", err, said)
	}
	if said, err = say(t, "words", "check", file); err != nil || !strings.Contains(said, "1 of the first forty") {
		t.Errorf("%v %.300s", err, said)
	}
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	write(strings.Replace(out, row, row+"xa {Nom}", 1))
	if _, err := say(t, "words", "import", sheet, file); err == nil || !strings.Contains(err.Error(), "verdict_sure") ||
		!strings.Contains(err.Error(), "nothing was written") {
		t.Errorf("%v", err)
	}
	if after, err := os.ReadFile(file); err != nil || string(after) != string(before) {
		t.Error("a sheet that is wrong changed the file")
	}
	if _, err := say(t, "words", "import", sheet, filepath.Join(dir, "our words.toml")); err == nil {
		t.Error("a name of no language is taken")
	}
}

// The evening is said, set large, and recorded phrase by phrase.
func TestAloudCommands(t *testing.T) {
	t.Chdir("../..")
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	demo := []string{"--config", "testdata/thawline.yaml", "--weather", "testdata/weather.csv", "--now", "2026-03-20T21:30:00Z"}
	out, err := say(t, append([]string{"speak"}, demo...)...)
	if err != nil || !strings.Contains(out, "tomorrow") || strings.ContainsAny(out, "0123456789()%") {
		t.Errorf("%v %s", err, out)
	}
	if out, err = say(t, append([]string{"large"}, demo...)...); err != nil || strings.Count(out, "\n") < 4 ||
		strings.Count(out, "\n") > 16 {
		t.Errorf("%v %s", err, out)
	}
	if _, err = say(t, append([]string{"speak", "--out", filepath.Join(t.TempDir(), "evening.wav")}, demo...)...); err == nil ||
		!strings.Contains(err.Error(), "no voice") {
		t.Errorf("%v", err)
	}
	if out, err = say(t, "words", "record-list", "--config", "testdata/thawline.yaml"); err != nil ||
		!strings.Contains(out, "sap-will-run-tomorrow.wav") || !strings.Contains(out, "ridge") {
		t.Errorf("%v %.300s", err, out)
	}
	if _, err = say(t, "bulletin", "--config", "testdata/thawline.yaml"); err == nil ||
		!strings.Contains(err.Error(), "no bush has an outlook") {
		t.Errorf("%v", err)
	}
}
