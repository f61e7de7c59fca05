// Package web serves an outlook as a page that an old phone can read: one
// document, one stylesheet, no script.
package web

import (
	"bytes"
	_ "embed"
	"html/template"
	"log/slog"
	"net/http"
	"strings"
	"sync/atomic"

	"golang.org/x/text/language"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/report"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/units"
)

//go:embed outlook.html
var outlookHTML string

//go:embed style.css
var styleCSS []byte

var outlookPage = template.Must(template.New("outlook").Funcs(template.FuncMap{"blocks": blocks, "words": words}).Parse(outlookHTML))

// Pages are what a browser is shown.
type Pages struct {
	Outlooks func() []*forecast.Outlook // the newest of each site
	Log      *slog.Logger
	Status   bool // whether /status tells how things stand

	usual atomic.Pointer[message.Reader]
}

// Use sets language and units for a browser that asks for none.
func (p *Pages) Use(r message.Reader) { p.usual.Store(&r) }

// Register adds the pages to a mux: / for the first site, /site/{id} for each.
func (p *Pages) Register(mux *http.ServeMux) {
	mux.HandleFunc("GET /{$}", p.outlook)
	mux.HandleFunc("GET /site/{id}", p.outlook)
	mux.HandleFunc("GET /style.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Header().Set("Cache-Control", "public, max-age=3600")
		_, _ = w.Write(styleCSS)
	})
}

type siteLink struct{ ID, Name string }

type outlookData struct {
	Language, Other, OtherName, Title, Evening, None, Status string
	Path                                                     string
	Chart                                                    template.HTML
	First, Parts                                             []report.Part
	Sites                                                    []siteLink
}

var languages = language.NewMatcher([]language.Tag{language.English, language.French})

// reader is who looks: ?lang= comes first, then what the browser asks for.
func (p *Pages) reader(r *http.Request) message.Reader {
	reader := *p.usual.Load()
	asked := r.URL.Query().Get("lang")
	switch {
	case asked == "en" || asked == "fr":
		reader.Language = asked
	case r.Header.Get("Accept-Language") != "":
		tag, _, sure := languages.Match(tags(r.Header.Get("Accept-Language"))...)
		if base, _ := tag.Base(); sure != language.No {
			reader.Language = base.String()
		}
	}
	return reader
}

func tags(header string) []language.Tag {
	asked, _, err := language.ParseAcceptLanguage(header)
	if err != nil {
		return nil
	}
	return asked
}

func (p *Pages) outlook(w http.ResponseWriter, r *http.Request) {
	reader := p.reader(r)
	says, err := message.NewWords(reader)
	if err != nil {
		p.Log.Error("a page has no words", "error", err)
		http.Error(w, "not now", http.StatusInternalServerError)
		return
	}
	data := outlookData{Language: reader.Language, Other: "fr", OtherName: "Français", Title: "thawline", Path: r.URL.Path,
		None: says.Say("page_none", nil)}
	if p.Status {
		data.Status = says.Say("page_status", nil)
	}
	if reader.Language == "fr" {
		data.Other, data.OtherName = "en", "English"
	}
	all := p.Outlooks()
	var shown *forecast.Outlook
	for _, o := range all {
		if id := r.PathValue("id"); shown == nil && (id == "" || id == o.Site) {
			shown = o
		}
		data.Sites = append(data.Sites, siteLink{o.Site, o.Bush.Name})
	}
	status := http.StatusOK
	switch {
	case shown != nil:
		data.fill(shown, says, reader.Units)
	case r.PathValue("id") != "":
		status = http.StatusNotFound
	}
	var body bytes.Buffer
	if err := outlookPage.Execute(&body, data); err != nil {
		p.Log.Error("a page could not be made", "error", err)
		http.Error(w, "not now", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self' 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-cache")
	h.Set("Vary", "Accept-Language")
	w.WriteHeader(status)
	_, _ = body.WriteTo(w)
}

func (d *outlookData) fill(o *forecast.Outlook, says *message.Words, system units.System) {
	d.Title, d.Evening = o.Bush.Name, says.Evening(o)
	d.Chart = template.HTML(chart.Outlook(o, says.ChartLabels(o))) //nolint:gosec // the chart escapes its words
	parts := report.Parts(o, says, system)
	of := func(names ...report.Name) (out []report.Part) {
		for _, n := range names {
			for _, p := range parts {
				if p.Name == n {
					out = append(out, p)
				}
			}
		}
		return out
	}
	// What is to be done tonight comes before what is good to know.
	d.First = of(report.ToDo)
	d.Parts = of(report.Days, report.Rounds, report.Fire, report.Care, report.Stage, report.Weather)
}

// blocks and words part a cell that draws a bar from what is to be read aloud.
func blocks(cell string) string {
	return strings.TrimRight(strings.TrimRight(cell, " 0123456789"), "·")
}

func words(cell string) string { return strings.TrimSpace(strings.TrimLeft(cell, "█·")) }
