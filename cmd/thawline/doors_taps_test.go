package main

import (
	"bytes"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
)

// keptTaps are the records of taps, without who wrote them.
func (d *doors) keptTaps() string {
	d.t.Helper()
	stored, err := d.app.Archive.TapEvents(d.t.Context(), "hill", time.Time{}, d.site.Zone)
	if err != nil {
		d.t.Fatal(err)
	}
	var out []string
	for i := range stored {
		out = append(out, stored[i].Group+" "+string(stored[i].Kind))
	}
	return strings.Join(out, "; ")
}

// tapsSheet is what was done to taps as a file.
func (d *doors) tapsSheet(group, event string) string {
	return "collected_at,group,volume_l,taps_event\n" + d.now.Format(time.RFC3339) + "," + group + ",," + event + "\n"
}

// tapsWays are the ways in which somebody says what was done to the taps of a group: with
// "pulled", and but for the form of the round with "tapped".
var tapsWays = []struct {
	name   string
	send   func(d *doors, role auth.Role, group, event string) said
	says   bool // it answers with the group and the day
	writes map[auth.Role]int
}{
	{"command", func(d *doors, _ auth.Role, group, event string) said {
		out, err := run(d.t, d.env, "records", map[string]string{"pulled": "pull", "tapped": "tap"}[event], group, "--config", d.config,
			"--now", d.now.Format(time.RFC3339))
		return commandSaid(out, err)
	}, true, nil},
	{"import", func(d *doors, _ auth.Role, group, event string) said {
		out, err := run(d.t, d.env, "records", "import", written(d.t, "taps.csv", d.tapsSheet(group, event)), "--config", d.config,
			"--now", d.now.Format(time.RFC3339))
		return commandSaid(out, err)
	}, false, nil},
	{"form", func(d *doors, role auth.Role, group, event string) said {
		path, form := "/site/hill/entries", url.Values{"key": {"taps-" + d.now.Format("150405")}, "group": {group}, "pulled": {"1"}}
		if event == "tapped" {
			path, form = "/site/hill/taps", url.Values{"do": {"tapped"}, "group": {group}}
		}
		w := d.ask("POST", path, "application/x-www-form-urlencoded", form.Encode(), "Accept", "application/json", "Cookie",
			d.sessions[role])
		return said{w.Body.String(), w.Code < 400}
	}, false, fromCrewOn},
	{"sheet", func(d *doors, role auth.Role, group, event string) said {
		var b bytes.Buffer
		form := multipart.NewWriter(&b)
		part, err := form.CreateFormFile("file", "taps.csv")
		if err != nil {
			d.t.Fatal(err)
		}
		_, _ = io.WriteString(part, d.tapsSheet(group, event))
		_ = form.Close()
		w := d.ask("POST", "/site/hill/records/import", form.FormDataContentType(), b.String(), "Cookie", d.sessions[role])
		return said{tags.ReplaceAllString(w.Body.String(), " "), w.Code == http.StatusOK}
	}, false, map[auth.Role]int{auth.Keeper: 1}},
	{"api", func(d *doors, role auth.Role, group, event string) said {
		body, err := json.Marshal(map[string]string{"group": group, "taps_event": event})
		if err != nil {
			d.t.Fatal(err)
		}
		w := d.ask("POST", "/api/v1/sites/hill/taps", "application/json", string(body), "Cookie", d.sessions[role])
		return said{w.Body.String(), w.Code == http.StatusOK}
	}, false, fromCrewOn},
	{"text", func(d *doors, role auth.Role, group, event string) said {
		word := map[string]string{"pulled en": "pulled", "tapped en": "tapped again", "pulled fr": "désentaillé",
			"tapped fr": "entaillé"}[event+" "+d.lang]
		got := d.byText(role, &round{group: group + " " + word, litres: none})
		got.taken = strings.HasPrefix(got.words, "Not")
		return got
	}, true, fromCrewOn},
}

// What is done to taps is taken by every way from those who may write, once, and is
// told with the group's name and the day where there is an answer.
func TestTapsAtAllDoors(t *testing.T) {
	for _, lang := range []string{"en", "fr"} {
		for i := range tapsWays {
			w := &tapsWays[i]
			t.Run(w.name+" "+lang, func(t *testing.T) {
				d := openDoors(t, lang)
				role := auth.Keeper
				if w.writes[auth.Viewer] == 0 && w.writes != nil {
					for _, r := range []auth.Role{auth.Viewer, auth.Crew} {
						if may := w.writes[r] == 1; !may {
							if got := w.send(d, r, "north", "pulled"); got.taken || d.keptTaps() != "" {
								t.Errorf("%s: taken %t, kept %s", r, got.taken, d.keptTaps())
							}
						} else {
							role = r
						}
					}
				}
				says := map[string]string{"en": "Noted: the taps of North slope have been out since Sunday 1 Feb.",
					"fr": "Noté : désentaillé depuis dimanche 1er févr., North slope."}[lang]
				if got := w.send(d, role, "north", "pulled"); !got.taken || d.keptTaps() != "north pulled" || w.says &&
					!strings.Contains(got.words, says) {
					t.Errorf("taken %t, kept %s: %.200s", got.taken, d.keptTaps(), got.words)
				}
				d.now = d.now.Add(90 * time.Second)
				if w.name != "import" && w.name != "sheet" { // a file with another moment is another record
					if w.send(d, role, "North slope", "pulled"); d.keptTaps() != "north pulled" {
						t.Errorf("said twice, kept %s", d.keptTaps())
					}
				}
				d.now = d.now.Add(time.Hour)
				if got := w.send(d, role, "north", "tapped"); !got.taken || d.keptTaps() != "north pulled; north tapped" {
					t.Errorf("tapped again: taken %t, kept %s: %.200s", got.taken, d.keptTaps(), got.words)
				}
				if got := w.send(d, role, "nroth", "pulled"); got.taken || d.keptTaps() != "north pulled; north tapped" {
					t.Errorf("of no group: taken %t, kept %s", got.taken, d.keptTaps())
				}
			})
		}
	}
}

// A text about all taps, or about the only group of which it can be, needs no name; one
// that may be about several is asked back and writes nothing. It is taken back whole.
func TestTapsByText(t *testing.T) {
	for lang, says := range map[string]map[string]string{
		"en": {"pulled": "Which group? Write it like: north pulled, or: all pulled. Groups: north, lane, brook, far.",
			"tapped":       "Noted, tapped on Sunday 1 Feb: Lane, Brook, Far.",
			"north pulled": "Noted: the taps of North slope have been out since Sunday 1 Feb.",
			"all pulled":   "Noted: the taps of Lane, Brook, Far have been out since Sunday 1 Feb.",
			"all pulled ":  "That is noted already: the taps of North slope, Lane, Brook, Far have been out since Sunday 1 Feb.",
			"undo":         "Taken back: Lane Sun 1 Feb: taps pulled, Brook Sun 1 Feb: taps pulled, Far Sun 1 Feb: taps pulled.",
			"tapped ":      "Noted: the taps of North slope have been in since Sunday 1 Feb.",
			"all tapped":   "Noted, tapped on Sunday 1 Feb: North slope, Lane, Brook, Far."},
		"fr": {"désentaillé": "Quel groupe? Écrivez comme : north désentaillé, ou : tout désentaillé. Groupes : north, lane, brook, far.", "tout désentaillé": "Noté : désentaillé depuis dimanche 1er févr., North slope, Lane, Brook, Far."},
	} {
		d := openDoors(t, lang)
		say := func(text, kept string) {
			t.Helper()
			d.now = d.now.Add(2 * time.Minute)
			if got := d.byText(auth.Crew, &round{group: strings.TrimSpace(text), litres: none}); got.words != says[text] ||
				d.keptTaps() != kept {
				t.Errorf("%s: %s; kept %s", text, got.words, d.keptTaps())
			}
		}
		if lang == "fr" {
			say("désentaillé", "")
			say("tout désentaillé", "north pulled; lane pulled; brook pulled; far pulled")
			continue
		}
		say("pulled", "")
		say("north pulled", "north pulled")
		say("all pulled", "north pulled; lane pulled; brook pulled; far pulled")
		say("all pulled ", "north pulled; lane pulled; brook pulled; far pulled")
		say("undo", "north pulled")
		say("tapped ", "north pulled; north tapped")
		say("tapped", "north pulled; north tapped; lane tapped; brook tapped; far tapped") // of all that are not in yet
		d.now = d.now.Add(time.Hour)
		if got := d.byText(auth.Crew, &round{group: "all pulled", litres: none}); !strings.HasPrefix(got.words,
			"Noted: the taps of North slope, Lane") {
			t.Error(got.words)
		}
		if got := d.byText(auth.Viewer, &round{group: "all tapped", litres: none}); strings.HasPrefix(got.words, "Noted") ||
			strings.Count(d.keptTaps(), "tapped") != 4 {
			t.Errorf("%s; kept %s", got.words, d.keptTaps())
		}
		say("all tapped", "north pulled; north tapped; lane tapped; brook tapped; far tapped; north pulled; lane pulled; brook pulled; far pulled; north tapped; lane tapped; brook tapped; far tapped")
	}
}
