package config

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/viper"

	"thawline/forecast"
	"thawline/forecast/units"
)

// reader turns the texts of all settings into checked values. A value that
// does not pass is complained about once and comes back as its zero value, so
// that everything else is still checked.
type reader struct {
	v        *viper.Viper
	file     string
	source   *settingsFile
	origin   map[string]string // the variable behind each path that has one
	where    string            // what places in this file begin with for readers of another
	problems []Problem
	warnings []Problem
	nameless bool // a file of words has a name of no language
	// What has been read, for what is read after it: all so far, and of one site its
	// zone and tanks.
	in    *Config
	zone  *time.Location
	tanks []forecast.Tank
	// What is doubtful in the files that sites_from leads to, each in its order.
	elsewhere []Problem
}

func (r *reader) problem(path, what, remedy string) Problem {
	if name, ok := r.origin[path]; ok {
		return Problem{File: "environment", Key: name, What: what, Remedy: remedy}
	}
	p := Problem{File: r.file, Key: shown(path), What: what, Remedy: remedy}
	for at := path; p.Line == 0 && at != ""; at = parent(at) {
		p.Line = r.source.lines[at]
	}
	return p
}

// fail tells of a problem unless the file has one there already.
func (r *reader) fail(path, what, remedy string) {
	for at := path; at != "" && r.origin[path] == ""; at = parent(at) {
		if r.source.spoiled[at] {
			return
		}
	}
	r.problems = append(r.problems, r.problem(path, what, remedy))
}

func (r *reader) warn(path, what, remedy string) {
	r.warnings = append(r.warnings, r.problem(path, what, remedy))
}

// failParse passes on what the units package says of a text.
func (r *reader) failParse(path string, err error) {
	var e *units.ParseError
	if errors.As(err, &e) {
		r.fail(path, e.Text+": "+e.What, e.Remedy)
	}
}

func parent(path string) string {
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		return path[:i]
	}
	return ""
}

// text returns a value as it is written, without the spaces around it.
func (r *reader) text(path string) string { return strings.TrimSpace(r.v.GetString(path)) }

// item is one value of a list, and where to point when it is wrong.
type item struct{ at, text string }

// list returns the values of a setting that takes several, however they are
// written: as a list, or as one text with commas.
func (r *reader) list(path string) []item {
	var parts []any
	switch given := r.v.Get(path).(type) {
	case []any:
		parts = given
	case string:
		parts = splitList(given)
	}
	out := make([]item, len(parts))
	for i, p := range parts {
		out[i].at, out[i].text = path, strings.TrimSpace(fmt.Sprint(p))
		if at := join(path, strconv.Itoa(i)); r.origin[path] == "" && r.source.lines[at] > 0 {
			out[i].at = at
		}
	}
	return out
}

// entries lists the paths of a list's entries.
func (r *reader) entries(path string) []string {
	out := make([]string, r.source.counts[path])
	for i := range out {
		out[i] = join(path, strconv.Itoa(i))
	}
	return out
}

// known reads a word of a known list, in any case.
func (r *reader) known(path, word, what string, known []string) string {
	for _, k := range known {
		if strings.EqualFold(k, word) {
			return k
		}
	}
	r.fail(path, fmt.Sprintf("%s: no such %s here", word, what), units.Suggest(word, known, "use one of "+strings.Join(known, ", ")))
	return ""
}

// seenIDs are the ids of entries that came before, and where each stands.
type seenIDs map[string]string

// id reads an id and checks that no entry before has the same.
func (r *reader) id(entry string, seen seenIDs) string {
	path := join(entry, "id")
	id := r.text(path)
	at, known := seen[envName([]string{id})]
	switch {
	case id == "":
		r.fail(path, "the id is missing", "give it a short one, such as hill or south-slope")
	case !validID(id):
		r.fail(path, id+": an id is made of letters, digits, hyphens and underscores, at most 40",
			"shorten it, such as hill or south-slope; the name may be anything")
	case known:
		r.fail(path, fmt.Sprintf("%s: %s has this id already", id, at), "give each its own")
	default:
		seen[envName([]string{id})] = r.where + shown(entry)
	}
	return id
}

// measure reads a quantity with its unit between two bounds of the same unit.
// ok is false where it is not given or wrong.
func (r *reader) measure(path string, parse func(string) (float64, error), low, high float64, what, remedy string) (value float64,
	ok bool) {
	text := r.text(path)
	if text == "" {
		return 0, false
	}
	value, err := parse(text)
	if err != nil {
		r.failParse(path, err)
		return 0, false
	}
	if value < low || value > high {
		r.fail(path, text+": "+what, remedy)
		return 0, false
	}
	return value, true
}

// baseURL reads the address of a server, without a slash at its end.
func (r *reader) baseURL(path string) string {
	text := r.text(path)
	if text == "" {
		return ""
	}
	u, err := url.Parse(text)
	if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" || u.RawQuery != "" || u.Fragment != "" {
		r.fail(path, text+": not an http or https address", "write one such as https://weather.example.org/v1")
		return ""
	}
	return strings.TrimRight(text, "/")
}
