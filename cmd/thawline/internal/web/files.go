package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"thawline/forecast/chart"
)

//go:embed static/*
var staticFiles embed.FS

// static are the files beside the pages, and a name for this very set of them:
// a phone that has another set fetches them anew.
var static, edition = load()

func load() (map[string][]byte, string) {
	out := map[string][]byte{}
	sum := sha256.New()
	names, err := fs.Glob(staticFiles, "static/*")
	for _, name := range names {
		var body []byte
		if body, err = staticFiles.ReadFile(name); err != nil {
			break
		}
		if name == "static/style.css" {
			body = append(body, chart.Style+chart.SeasonStyle...)
		}
		sum.Write(body)
		out[strings.TrimPrefix(name, "static/")] = body
	}
	if err != nil {
		panic("web: " + err.Error()) // embedded when this was built
	}
	return out, hex.EncodeToString(sum.Sum(nil)[:6])
}

var kinds = map[string]string{"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml",
	"png": "image/png"}

func (p *Pages) files(r chi.Router) {
	for name, body := range static {
		_, ending, _ := strings.Cut(name, ".")
		r.Get("/"+name, func(w http.ResponseWriter, r *http.Request) {
			h := w.Header()
			h.Set("Content-Type", kinds[ending])
			h.Set("ETag", `"`+edition+`"`)
			h.Set("Cache-Control", "no-cache")
			if name != "worker.js" && r.URL.Query().Get("v") == edition {
				h.Set("Cache-Control", "public, max-age=31536000, immutable")
			}
			if name != "worker.js" && r.Header.Get("If-None-Match") == `"`+edition+`"` {
				w.WriteHeader(http.StatusNotModified)
				return
			}
			if name == "worker.js" {
				var names []string
				for _, page := range p.bush {
					if page.name != "" {
						names = append(names, page.name)
					}
				}
				_, _ = strings.NewReplacer("EDITION", edition, "PAGES", strings.Join(names, "|")).WriteString(w, string(body))
				return
			}
			_, _ = w.Write(body)
		})
	}
	r.Get("/app.webmanifest", p.manifest)
}

// manifest lets a phone keep the pages beside its other programs (W3C Web
// Application Manifest).
func (p *Pages) manifest(w http.ResponseWriter, _ *http.Request) {
	base := p.Auth.Base()
	type icon struct {
		Src     string `json:"src"`
		Sizes   string `json:"sizes"`
		Type    string `json:"type"`
		Purpose string `json:"purpose"`
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	w.Header().Set("Cache-Control", "no-cache")
	_ = json.NewEncoder(w).Encode(map[string]any{
		"name": "thawline", "short_name": "thawline", "id": base + "/", "start_url": base + "/", "scope": base + "/",
		"display":          "standalone",
		"background_color": "#f7f9f6", "theme_color": "#0b4f4a",
		"icons": []icon{{base + "/icon.svg", "any", "image/svg+xml", "any"}, {base + "/icon-192.png", "192x192", "image/png", "any"},
			{base + "/icon-512.png", "512x512", "image/png", "any maskable"}},
	})
}

// Edition names this set of files, for the frame.
func (v *view) Edition() string { return edition }
