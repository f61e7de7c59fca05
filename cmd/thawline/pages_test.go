package main

import (
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/web"
	"thawline/forecast"
	"thawline/forecast/units"
)

// The outlook's page speaks the browser's language, asks no other host, weighs
// little, and what people name their groups stays text.
func TestOutlookPage(t *testing.T) {
	out, err := run(t, nil, "demo", "--json")
	if err != nil {
		t.Fatal(err)
	}
	var o forecast.Outlook
	if err := json.Unmarshal([]byte(out), &o); err != nil {
		t.Fatal(err)
	}
	o.Bush.Groups[0].Name = `<script>alert(1)</script>`
	o.Bush.Name = `"><b>Ridge`
	shown := []*forecast.Outlook{&o}
	pages := &web.Pages{Outlooks: func() []*forecast.Outlook { return shown }, Log: slog.New(slog.DiscardHandler)}
	pages.Use(message.Reader{Language: "en", Units: units.US})
	mux := http.NewServeMux()
	pages.Register(mux)
	server := httptest.NewServer(mux)
	defer server.Close()
	ask := func(path, language string) (int, string, http.Header) {
		r, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Accept-Language", language)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer.StatusCode, string(body), answer.Header
	}
	for _, c := range []struct{ path, asks, holds string }{
		{"/", "", `<html lang="en">`},
		{"/", "fr-CA,fr;q=0.9,en;q=0.5", "À faire"},
		{"/?lang=en", "fr-CA", "To do"},
		{"/?lang=fr", "en", "maintenant"},
		{"/?lang=xx", "de", `<html lang="en">`},
		{"/?lang=fr", ";;q=", `<html lang="fr">`},
		{"/site/" + o.Site, "en", "Strong run tomorrow"},
		{"/style.css", "", "prefers-color-scheme:dark"},
	} {
		status, body, header := ask(c.path, c.asks)
		if status != 200 || !strings.Contains(body, c.holds) {
			t.Errorf("%s, asking for %q: %d without %q", c.path, c.asks, status, c.holds)
		}
		if len(body) > 60_000 || strings.Contains(body, "<script") || strings.Contains(body, "<b>") || strings.Contains(body, `src="http`) || strings.Contains(body, `href="http`) {
			t.Errorf("%s: %d bytes, or something of another's in it", c.path, len(body))
		}
		if c.path == "/" && !strings.Contains(header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("no policy: %v", header)
		}
	}
	if status, _, _ := ask("/site/none", "en"); status != 404 {
		t.Errorf("a site that is not there: %d", status)
	}
	shown = nil
	if status, body, _ := ask("/", "en"); status != 200 || !strings.Contains(body, "no outlook yet") {
		t.Errorf("before the first weather: %d %s", status, body)
	}
}
