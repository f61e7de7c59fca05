package main

import (
	"encoding/json"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The commands say what was noted, refuse what is still to come, and what was noted is
// listed, goes through a file, and is taken back.
func TestRecordsPullAndTap(t *testing.T) {
	config, env := hillSettings(t)
	at := []string{"--config", config, "--now", "2026-04-08T18:30:00Z"}
	must := func(want string, args ...string) string {
		t.Helper()
		out, err := run(t, env, append(args, at...)...)
		if err != nil || !strings.Contains(out, want) {
			t.Errorf("%v: %v: no %q in\n%s", args, err, want, out)
		}
		return out
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"records", "pull", "pails", "--on", "2026-04-09"}, "Thursday 9 Apr is still to come: write it down once it is done."},
		{[]string{"records", "pull", "pals"}, "there is no group “pals”; did you mean “pails”?"},
		{[]string{"records", "pull"}, "name one group, by its id or name"},
		{[]string{"records", "tap", "pails", "--on", "soon"}, "--on soon: write a day like 2026-03-20"},
	} {
		if _, err := run(t, env, append(c.args, at...)...); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v\n got  %v\n want %s", c.args, err, c.want)
		}
	}
	must("records add", "records", "list")
	must("Noted: pails 40 litres.", "records", "add", "--volume", "40L", "--when", "2026-04-01")
	must("Noted: the taps of pails have been in since Friday 20 Feb.", "records", "tap", "pails", "--on", "2026-02-20")
	must("Noted: the taps of pails have been out since Monday 6 Apr.", "records", "pull", "pails", "--on", "2026-04-06")
	must("That is noted already", "records", "pull", "pails")
	list := must("taps pulled", "records", "list")
	if lines := strings.Split(strings.TrimSpace(list), "\n"); len(lines) != 4 || !strings.Contains(lines[1], "2026-02-20") ||
		!strings.Contains(lines[1], "tapped") || !strings.Contains(lines[2], "40 litres") {
		t.Errorf("%s", list)
	}
	var listed []map[string]any
	if err := json.Unmarshal([]byte(must("taps_event", "records", "list", "--json")), &listed); err != nil || len(listed) != 3 ||
		listed[2]["taps_event"] != "pulled" || listed[0]["taps_event"] != nil {
		t.Errorf("%v %v", err, listed)
	}
	if out := must(`"pulled": true`, "records", "pull", "pails", "--json"); !strings.Contains(out, `"outcome": "same"`) {
		t.Errorf("%s", out)
	}

	copied := filepath.Join(t.TempDir(), "out.csv")
	must("", "records", "export", copied)
	must("0 added, 1 already there", "records", "import", copied)
	id := regexp.MustCompile(`\b[0-9a-f]{8}\b`)
	other := map[string]string{"THAWLINE_DATA_DIR": t.TempDir()}
	if out, err := run(t, other, append([]string{"records", "import", copied}, at...)...); err != nil ||
		!strings.Contains(out, "1 added") || !strings.Contains(out, "2 records of taps added") {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err := run(t, other, append([]string{"records", "list"}, at...)...); err != nil ||
		id.ReplaceAllString(out, "") != id.ReplaceAllString(list, "") {
		t.Errorf("%v\n%s%s", err, out, list)
	}
	late := written(t, "late.csv", "date,group,volume_l,taps_event\n2026-04-02,pails,30,\n2026-05-01,pails,,pulled\n")
	if _, err := run(t, env, append([]string{"records", "import", late}, at...)...); err == nil ||
		!strings.Contains(err.Error(), "line 3: Friday 1 May is still to come") {
		t.Errorf("%v", err)
	}
	if n := strings.Count(must("", "records", "list"), "\n"); n != 1+3 {
		t.Errorf("of a file that was refused something is kept: %d records", n)
	}

	pulled := regexp.MustCompile(`taps pulled +(\S+)`).FindStringSubmatch(list)[1]
	must("Deleted: pails 2026-04-06: taps pulled. “thawline records undo "+pulled, "records", "remove", pulled)
	must("Undone. It now says: pails 2026-04-06: taps pulled.", "records", "undo", pulled)
	must("Deleted again: pails 2026-04-06: taps pulled.", "records", "undo", pulled)
	must("Noted: the taps of pails have been out since Wednesday 8 Apr.", "records", "pull", "pails")
}
