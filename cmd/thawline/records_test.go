package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/testdata/beside"
)

// hillSettings is a settings file of one bush with one group, on data of its
// own.
func hillSettings(t *testing.T) (config string, env map[string]string) {
	t.Helper()
	return written(t, "hill.yaml", `
sites:
  - id: hill
    latitude: 42.4485
    longitude: -72.6806
    zone: America/New_York
    elevation: 251m
    groups:
      - {id: pails, taps: 50, collected_by: pail, container: 15L}
`), map[string]string{"THAWLINE_DATA_DIR": t.TempDir()}
}

// The tap logs (CC0, Baumer et al., R package macleish) go in with every oddity
// told, and come out as they were.
func TestRecordsImportExport(t *testing.T) {
	config, env := hillSettings(t)
	log := beside.File(t, "data/tap-log-2013.csv")
	out, err := run(t, env, "records", "import", log, "--config", config)
	for _, want := range []string{"line 11: ice", "not checked: no figure", "no volume: left to the next visit",
		"emptied or poured away", "37 added, 0 already there, 0 corrected"} {
		if err != nil || !strings.Contains(out, want) {
			t.Errorf("%v: no %q in\n%s", err, want, out)
		}
	}
	if out, err := run(t, env, "records", "import", log, "--config", config); err != nil ||
		!strings.Contains(out, "0 added, 37 already there, 0 corrected") {
		t.Errorf("%v\n%s", err, out)
	}
	data, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	changed := written(t, "changed.csv", strings.Replace(string(data), "2013-02-25,50,87.1", "2013-02-25,50,78.1", 1))
	out, err = run(t, env, "records", "import", changed, "--config", config)
	if err != nil || !strings.Contains(out,
		"line 4: pails Mon 25 Feb corrected from 87.1 litres to 78.1 litres; the earlier figure is kept") ||
		!strings.Contains(out, "0 added, 36 already there, 1 corrected") {
		t.Errorf("%v\n%s", err, out)
	}
	copied := filepath.Join(t.TempDir(), "out.csv")
	if _, err := run(t, env, "records", "export", copied, "--config", config); err != nil {
		t.Fatal(err)
	}
	if out, err := run(t, env, "records", "import", copied, "--config", config); err != nil ||
		!strings.Contains(out, "0 added, 37 already there, 0 corrected") {
		t.Errorf("%v\n%s", err, out)
	}

	backup := filepath.Join(t.TempDir(), "backup.db")
	if out, err := run(t, env, "db", "backup", backup, "--config", config); err != nil || !strings.Contains(out, "copied and read back") {
		t.Errorf("%v\n%s", err, out)
	}
	if _, err := run(t, env, "records", "add", "--volume", "60L", "--when", "2013-04-06", "--config", config); err != nil {
		t.Fatal(err)
	}
	if out, err := run(t, env, "db", "restore", backup, "--config", config); err != nil || !strings.Contains(out, "what was there is in") {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err := run(t, env, "records", "list", "--config", config); err != nil || strings.Count(out, "\n") != 1+37 {
		t.Errorf("%v: %d lines after the restore", err, strings.Count(out, "\n"))
	}
	if out, err := run(t, env, "db", "check", "--config", config); err != nil || !strings.Contains(out, "is whole") {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestRecordsAddListRemoveUndo(t *testing.T) {
	config, env := hillSettings(t)
	at := []string{"--config", config, "--now", "2026-03-20T21:30:00Z"}
	add := func(args ...string) (string, error) {
		return run(t, env, append(append([]string{"records", "add"}, args...), at...)...)
	}
	if out, err := add("--volume", "150L", "--brix", "2.1", "--note", "brim full"); err != nil ||
		!strings.Contains(out, "Noted: pails 150 litres at 2.1\u00a0%. Full: counts as at least so much.") {
		t.Errorf("%v\n%s", err, out)
	}
	list, err := run(t, env, append([]string{"records", "list"}, at...)...)
	if err != nil || !strings.Contains(list, "2026-03-20 17:30  pails") || !strings.Contains(list, "2.1\u00a0%") {
		t.Fatalf("%v\n%s", err, list)
	}
	id := regexp.MustCompile(`\b[0-9a-f]{8}\b`).FindString(list)
	if head := strings.Fields(list)[:6]; !slices.Equal(head, []string{"When", "Group", "Sap", "Sugar", "Id", "Note"}) || id == "" {
		t.Fatalf("%q in\n%s", head, list)
	}
	for _, step := range []struct {
		verb  string
		lines int
	}{{"remove", 0}, {"undo", 1}} {
		if out, err := run(t, env, append([]string{"records", step.verb, id}, at...)...); err != nil ||
			!strings.Contains(out, "pails 2026-03-20 17:30, 150 litres, 2.1\u00a0%, brim full") {
			t.Fatalf("%v\n%s", err, out)
		}
		if out, err := run(t, env, append([]string{"records", "list"}, at...)...); err != nil || strings.Count(out, id) != step.lines {
			t.Errorf("after %s: %v\n%s", step.verb, err, out)
		}
	}
	if out, err := run(t, env, append([]string{"records", "undo", "--since", "10m"}, at...)...); err != nil ||
		!strings.HasPrefix(out, "1 record is as it was at 2026-03-20 17:20") {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err := run(t, env, append([]string{"records", "list"}, at...)...); err != nil || !strings.HasPrefix(out, "No records yet.") {
		t.Errorf("what was added since is still there: %v\n%s", err, out)
	}
	for _, wrong := range [][]string{{"--since", "yesterday"}, {"--since", "-2h"}, {"--since", "2h", id}} {
		if _, err := run(t, env, append(append([]string{"records", "undo"}, wrong...), at...)...); err == nil {
			t.Errorf("undo %v went through", wrong)
		}
	}
}

func TestRecordsFaults(t *testing.T) {
	config, env := hillSettings(t)
	at := []string{"--config", config, "--now", "2026-03-20T21:30:00Z"}
	file := func(text string) string { return written(t, "log.csv", text) }
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"records", "import", file("date,taps,volume_l\n2026-03-01,50,-5\n")},
			"log.csv: line 2: a volume can't be below zero; leave it out where nothing was collected\nPut it right first."},
		{[]string{"records", "import", file("date,taps,volume_l\n2026-03-01,50,4000\n")},
			"line 2: 4000 litres from 50 taps is more than they can hold (750 litres). Was it another unit, or several rounds?"},
		{[]string{"records", "import", file("date,taps,volume_l\n2027-03-01,50,40\n")},
			"line 2: 2027-03-01 lies in the future; check day and time."},
		{[]string{"records", "import", file("date,taps,volume_l\n2026-03-01,50,\"40,5\"\n")}, "write numbers with a decimal point"},
		{[]string{"records", "import", file("date,group,volume_l\n2026-03-01,pail,40\n")},
			`line 2: there is no group “pail”; did you mean “pails”?`},
		{[]string{"records", "import", file("date,volume_l\n2026-03-01,40\n2026-03-01,50\n")},
			"line 3: the same group and moment as line 2; add them up"},
		{[]string{"records", "import"}, "name one or more files"},
		{[]string{"records", "add", "--volume", "90gal"}, `"gal" may be US or imperial`},
		{[]string{"records", "add", "--volume", "9 L", "--at", "soon"}, "--when soon: write a day like 2026-03-20"},
		{[]string{"records", "add", "--volume", "9000 L"}, "--volume: 9000 litres from 50 taps is more than they can hold"},
		{[]string{"records", "add", "--volume", "9 L", "--brix", "12"}, "--brix: 12\u00a0% of sugar is more than sap has"},
		{[]string{"records", "add", "--volume", "9 L", "--group", "pals"},
			"--group: there is no group “pals”; did you mean “pails”?\nPut it right first."},
		{[]string{"records", "add", "--volume", "9 L", "--when", "2027-03-20"}, "--when: 2027-03-20 lies in the future"},
		{[]string{"records", "import", "nowhere.csv"}, "nowhere.csv: there is no such file; check its name"},
		{[]string{"records", "import", file("date,volume_l\n2026-03-01,4000\n"), "--units", "us"}, "1057 gallons from 50 taps"},
		{[]string{"records", "undo", "nobody"}, "there is no such record; thawline records list shows the ids"},
		{[]string{"records"}, "add, import, list, export, remove, undo, pull, tap, note, notes or weather?"},
		{[]string{"db", "restore", filepath.Join(t.TempDir(), "none.db")}, "no such file"},
		{[]string{"db", "restore", file("no database, really not, at all, for sure it is not")},
			"this copy is damaged, nothing was changed"},
	} {
		_, err := run(t, env, append(c.args, at...)...)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v\n got  %v\n want %s", c.args[:2], err, c.want)
		}
	}
	bom := file("\ufeffdate,taps,volume_l\r\n2026-03-01,50,40\r\n")
	if out, err := run(t, env, append([]string{"records", "import", bom}, at...)...); err != nil || !strings.Contains(out, "1 added") {
		t.Errorf("%v\n%s", err, out)
	}
	big := file("date,taps,volume_l\n2026-03-02,50,4000\n")
	if out, err := run(t, env, append([]string{"records", "import", big, "--doubtful"}, at...)...); err != nil ||
		!strings.Contains(out, "1 added") {
		t.Errorf("%v\n%s", err, out)
	}
}

// What came in and was taken back comes in again as brought back; columns that were not
// read are named, and French is spoken where it is asked for.
func TestRecordsComeBack(t *testing.T) {
	config, env := hillSettings(t)
	at := []string{"--config", config, "--now", "2026-03-20T21:30:00Z"}
	log := written(t, "log.csv", "date,litres,Weather,Remarks\n2026-03-01,155.2,fair,full\n")
	must := func(want string, args ...string) {
		t.Helper()
		if out, err := run(t, env, append(args, at...)...); err != nil || !strings.Contains(out, want) {
			t.Errorf("%v: no %q in\n%s", err, want, out)
		}
	}
	must("log.csv: not read: Weather\n1 added", "records", "import", log)
	must("1 record is", "records", "undo", "--since", "1h")
	must("0 added, 1 brought back, 0 already there, 0 corrected", "records", "import", log)
	must("plein", "records", "list", "--lang", "fr")
	must("ligne 2 : plein", "records", "import", log, "--lang", "fr")
	must(`"brix": null`, "records", "list", "--json")
}

// A second load is written beside the first and said; what is corrected is what was
// written for a moment, or with --correct. The last entry is taken back, then the one
// before it, a whole import too.
func TestLoadsAndTheLastEntry(t *testing.T) {
	config, env := hillSettings(t)
	must := func(want string, args ...string) {
		t.Helper()
		if out, err := run(t, env, append(args, "--config", config, "--now", "2026-03-20T21:30:00Z")...); err != nil || out != want+"\n" {
			t.Errorf("%v: %v\n got %s\nwant %s", args, err, out, want)
		}
	}
	must("Noted: pails 150 litres.", "records", "add", "--volume", "150L")
	must("Already noted: pails 150 litres, Fri 20 Mar 5:30 pm. It counts once.", "records", "add", "--volume", "150L")
	must("Second load of pails, 210 litres in all; UNDO if not.", "records", "add", "--volume", "60L")
	must("Third load of pails, 290 litres in all; UNDO if not.", "records", "add", "--volume", "80L", "--at", "2026-03-20 16:40")
	must("pails Fri 20 Mar 5:30 pm corrected from 150 litres to 140 litres; the earlier figure is kept.", "records", "add", "--volume",
		"140L", "--correct")
	must("pails Fri 20 Mar 4:40 pm corrected from 80 litres to 90 litres; the earlier figure is kept.", "records", "add", "--volume",
		"90L", "--when", "2026-03-20 16:40")
	must("Undone. It now says: pails Fri 20 Mar 4:40 pm, 80 litres.", "records", "undo")
	must("Undone. It now says: pails Fri 20 Mar 5:30 pm, 150 litres.", "records", "undo")
	must("Taken back: pails Fri 20 Mar 4:40 pm, 80 litres.", "records", "undo")
	must("2 added, 0 already there, 0 corrected", "records", "import",
		written(t, "log.csv", "date,volume_l\n2026-03-01,40\n2026-03-03,50\n"))
	must("2 records taken back.", "records", "undo")
	must("Taken back: pails Fri 20 Mar 5:30 pm, 60 litres.", "records", "undo")
	must("Taken back: pails Fri 20 Mar 5:30 pm, 150 litres.", "records", "undo")
	if _, err := run(t, env, "records", "undo", "--config", config); err == nil ||
		err.Error() != "There is nothing of yours to take back." {
		t.Error(err)
	}
	if out, err := run(t, env, "records", "list", "--config", config); err != nil || !strings.HasPrefix(out, "No records yet.") {
		t.Errorf("%v\n%s", err, out)
	}
}

// From notebook to plan: the season of 2015 on a hill in Massachusetts (weather
// CC0, Baumer et al., R package macleish) and a notebook kept in the archive.
func TestNotebookToPlan(t *testing.T) {
	config, env := hillSettings(t)
	weather := beside.File(t, "data/hill-station-2015-hourly.csv")
	at := []string{"--config", config, "--weather", weather, "--now", "2015-03-25T21:30:00Z"}
	doc := func() parsed {
		out, err := run(t, env, append([]string{"forecast", "--json"}, at...)...)
		if err != nil {
			t.Fatal(err)
		}
		return parse(t, out)
	}
	before := doc()
	log := written(t, "log.csv", "date,taps,volume_l,brix\n2015-03-10,50,,\n2015-03-12,50,160,2.4\n2015-03-14,50,60,\n2015-03-17,50,90,2.2\n2015-03-19,50,12,\n2015-03-22,50,70,2.1\n2015-03-25,50,35,2.1\n")
	if out, err := run(t, env, "records", "import", log, "--config", config, "--now", "2015-03-26T00:00:00Z"); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	after := doc()
	width := func(p parsed) float64 { v := p.Days[1].VolumeL; return *v.P90 / max(*v.P10, 0.1) }
	if width(after) >= width(before) {
		t.Errorf("the notebook did not narrow tomorrow's range: %.1f before, %.1f after", width(before), width(after))
	}
	out, err := run(t, env, append([]string{"rounds", "--pin", "2015-03-27 16:00", "--forbid", "2015-03-26 00:00/2015-03-26 23:00"},
		at...)...)
	if err != nil || !strings.Contains(out, "Fri 27 Mar 4 pm") || strings.Contains(out, "Thu 26 Mar") {
		t.Errorf("%v\n%s", err, out)
	}
	for _, c := range []struct{ command, want string }{{"season", "Degree days above"}, {"boil", "Fire"}} {
		if out, err := run(t, env, append([]string{c.command}, at...)...); err != nil || !strings.Contains(out, c.want) {
			t.Errorf("%v\n%s", err, out)
		}
		if out, err := run(t, env, append([]string{c.command, "--json"}, at...)...); err != nil || !strings.HasPrefix(out, "{") {
			t.Errorf("%v\n%s", err, out)
		}
	}
	if _, err := run(t, env, append([]string{"rounds", "--pin", "tomorrow"}, at...)...); err == nil ||
		!strings.Contains(err.Error(), "--pin tomorrow: write a day and a time") {
		t.Error(err)
	}
	if _, err := run(t, env, append([]string{"rounds", "--forbid", "2015-03-27 16:00"}, at...)...); err == nil ||
		!strings.Contains(err.Error(), "write two times with a /") {
		t.Error(err)
	}
}

func TestBoilWithoutASite(t *testing.T) {
	out, err := run(t, nil, "boil", "--sap", "400L", "--brix", "2.1", "--pressure", "985hPa")
	if err != nil || !strings.Contains(out, "41.3 to one") || !strings.Contains(out, "never leave a pan") {
		t.Errorf("%v\n%s", err, out)
	}
	// Water boils at 209.2 °F at 1500 ft (2 °F lower for each 1,000 ft or so, common
	// practice).
	if out, err := run(t, nil, "boil", "--sap", "400L", "--brix", "2,1", "--elevation", "1500ft", "--units", "us"); err != nil ||
		!strings.Contains(out, "Water boils at 209.2 °F") || !strings.Contains(out, "lb") {
		t.Errorf("%v\n%s", err, out)
	}
	out, err = run(t, nil, "boil", "--sap", "400L", "--brix", "2.1", "--pressure", "985hPa", "--json", "--pan", "flue", "--fuel", "gas",
		"--concentrate", "8")
	for _, key := range []string{"sap_l", "brix", "syrup_l", "sap_per_syrup", "water_to_boil_l", "hours", "boiling_point_c",
		"draw_off_c", "sugar_kg", "sugar_stage_c", "gas_l", "concentrate_l"} {
		if err != nil || !strings.Contains(out, "\""+key+"\":") {
			t.Errorf("%v: no %s in\n%s", err, key, out)
		}
	}
	for flag, c := range map[string][2]string{"--sap": {"some", "--sap: some"}, "--pressure": {"29", "--pressure: 29"},
		"--pan": {"round", "write flat or flue"}, "--brix": {"0.1", "sap has 1 to 5 per cent"}} {
		args := []string{"boil", "--sap", "400L", flag, c[0]}
		if _, err := run(t, nil, args...); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%v: %v", args, err)
		}
	}
}

// A notebook of two seasons, and the weather by a town's daily lows and highs (a maker's
// public diary; Madison, GHCN-Daily): seasons without weather are named, with it each is
// foretold from what was known before it.
func TestBacktestOwn(t *testing.T) {
	config := written(t, "own.yaml", `
weather: {sources: [nws], contact: a@example.org}
sites:
  - id: bush
    latitude: 44.15
    longitude: -87.72
    zone: America/Chicago
    groups:
      - {id: all, taps: 470, collected_by: bucket, container: 7.5L}
`)
	env := map[string]string{"THAWLINE_DATA_DIR": t.TempDir()}
	do := func(args ...string) string {
		t.Helper()
		out, err := run(t, env, append(args, "--config", config, "--now", "2020-11-20T12:00:00Z")...)
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return out
	}
	for _, year := range []string{"2015", "2020"} {
		do("records", "import", beside.File(t, "data/tap-visits-wisconsin-"+year+".csv"))
	}
	if out := do("backtest", "own"); !strings.Contains(out, "2015: its weather is not kept") ||
		!strings.Contains(out, "2020: its weather is not kept") {
		t.Errorf("without weather:\n%s", out)
	}
	do("records", "weather", beside.File(t, "data/madison-daily-1990-2020.csv"))
	out := do("backtest", "own")
	if !strings.Contains(out, "2015: 9 visits. Rank ") || !strings.Contains(out, "2020: 8 visits. Rank ") ||
		strings.Contains(out, "not kept") {
		t.Errorf("with weather:\n%s", out)
	}
	if out := do("backtest", "own", "--json"); !strings.Contains(out, `"rule_spearman"`) || !strings.Contains(out, `"year": 2020`) {
		t.Errorf("as a document:\n%.300s", out)
	}
}
