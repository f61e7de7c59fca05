package web

import (
	"bytes"
	"io"
	"net/http"
	"slices"
	"strings"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

// FirstField is one question of the first page. Options, if there are any, are all
// that may be chosen; what can wait is Later.
type FirstField struct {
	Name, Label, Value, Wrong string
	Later                     bool
	Options                   []FirstOption
}

// FirstOption is one of several answers, and what it is called.
type FirstOption struct{ Value, Text string }

// First shows, before there are any settings, the questions from which they are
// written; or, where Done says so, that they are.
type First struct {
	Words    *message.Words
	Language string
	Fields   []FirstField
	Done     string
}

// Open reports whether the questions that can wait have to be seen: one of them was
// answered wrongly.
func (f *First) Open() bool {
	return slices.ContainsFunc(f.Fields, func(one FirstField) bool { return one.Later && one.Wrong != "" })
}

// ServeHTTP sends the page, or what it looks like.
func (f *First) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := r.URL.Path[1:]
	if body, known := static[name]; known {
		_, ending, _ := strings.Cut(name, ".")
		w.Header().Set("Content-Type", kinds[ending])
		_, _ = w.Write(body)
		return
	}
	if name != "" {
		http.NotFound(w, r)
		return
	}
	v := &view{Lang: f.Language, Bare: true, words: f.Words, system: units.Metric, Body: f}
	v.Title = v.T("init_page_title")
	var body bytes.Buffer
	if err := templates["first"].Execute(&body, v); err != nil {
		http.Error(w, "not now", http.StatusInternalServerError)
		return
	}
	status := http.StatusOK
	for i := range f.Fields {
		if f.Fields[i].Wrong != "" {
			status = http.StatusUnprocessableEntity
		}
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = io.WriteString(w, message.Tied(body.String(), v.Lang))
}
