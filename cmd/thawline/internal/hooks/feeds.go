package hooks

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/forecast"
)

// document is what a feed says, and since when.
type document struct {
	body []byte
	at   time.Time // zero where that is not known
}

// feeds are read by programs that cannot log in: the address is the key.
func (h *Hooks) feeds(mux *Routes, now func() time.Time) {
	serve := func(path, kind string, write func(r *http.Request, site *forecast.Site) (document, error)) {
		mux.HandleFunc("GET /f/{token}/"+path, func(w http.ResponseWriter, r *http.Request) {
			site := h.Daemon.SiteBehind(r.Context(), "feed", r.PathValue("token"))
			if site == nil {
				http.NotFound(w, r)
				return
			}
			doc, err := write(r, site)
			switch {
			case errors.Is(err, ledger.ErrNone):
				http.NotFound(w, r)
				return
			case err != nil:
				h.Log.Error("a feed can't be made", "feed", path, "site", site.ID, "error", err)
				http.Error(w, "not now", http.StatusServiceUnavailable)
				return
			}
			if o := h.Daemon.Outlook(r.Context(), site.ID); doc.at.IsZero() && o != nil {
				doc.at = o.IssuedAt
			}
			w.Header().Set("Content-Type", kind)
			w.Header().Set("Cache-Control", "private, max-age=300")
			w.Header().Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(doc.body)))
			http.ServeContent(w, r, "", doc.at, bytes.NewReader(doc.body))
		})
	}
	serve("calendar.ics", "text/calendar; charset=utf-8", func(r *http.Request, site *forecast.Site) (document, error) {
		list, err := h.Ledger.Entries(r.Context(), site.ID, now())
		var changed time.Time
		for i := range list {
			if list[i].Changed.After(changed) {
				changed = list[i].Changed
			}
		}
		return document{[]byte(feed.Calendar(site.Name, list)), changed}, err
	})
	serve("news.atom", "application/atom+xml; charset=utf-8", func(r *http.Request, site *forecast.Site) (document, error) {
		list, err := h.newsOf(r.Context(), site, now())
		if err != nil {
			return document{}, err
		}
		c := &feed.Channel{ID: "urn:thawline:" + site.ID, Name: site.Name, Self: h.address(r, r.URL.Path),
			Page: h.address(r, "/site/"+url.PathEscape(site.ID)+"/")}
		if o := h.Daemon.Outlook(r.Context(), site.ID); o != nil && len(list) == 0 {
			c.Updated = o.IssuedAt
		}
		return atom(c, list)
	})
	serve("evening.wav", "audio/wav", h.eveningOf)
	serve("bulletin.txt", "text/plain; charset=utf-8", func(r *http.Request, _ *forecast.Site) (document, error) {
		text, at, err := h.bulletin(r, now())
		return document{[]byte(text + "\n"), at}, err
	})
	serve("bulletin.atom", "application/atom+xml; charset=utf-8", func(r *http.Request, _ *forecast.Site) (document, error) {
		text, at, err := h.bulletin(r, now())
		if err != nil {
			return document{}, err
		}
		return atom(&feed.Channel{ID: "urn:thawline:bulletin", Name: "thawline", Self: h.address(r, r.URL.Path),
			Page: h.address(r, "/")}, []feed.News{feed.Bulletin(text, at)})
	})
	serve("warning.cap", "application/cap+xml", func(r *http.Request, site *forecast.Site) (document, error) {
		return h.warningOf(r.Context(), site, now())
	})
}

func atom(c *feed.Channel, list []feed.News) (document, error) {
	doc := document{at: c.Updated}
	for i := range list {
		if list[i].At.After(doc.at) {
			doc.at = list[i].At
		}
	}
	text, err := feed.Atom(c, list)
	doc.body = []byte(text)
	return doc, err
}

// address is where a path of ours is found by whoever asked.
func (h *Hooks) address(r *http.Request, path string) string {
	if h.Address != nil {
		path = h.Address(path)
	}
	if !strings.HasPrefix(path, "/") {
		return path
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + r.Host + path
}

// bulletin is the text about all sites, and the moment of the newest outlook that it tells of.
func (h *Hooks) bulletin(r *http.Request, now time.Time) (string, time.Time, error) {
	w, err := h.Daemon.Words(h.Daemon.Reader(r.URL.Query().Get("lang")))
	if err != nil {
		return "", time.Time{}, err
	}
	var at time.Time
	var list []*forecast.Outlook
	for _, s := range h.Daemon.Sites() {
		if o := h.Daemon.Outlook(r.Context(), s.ID); o != nil {
			list, now = append(list, o), now.In(s.Zone)
			if o.IssuedAt.After(at) {
				at = o.IssuedAt.In(s.Zone)
			}
		}
	}
	text := w.Bulletin(list, now)
	if text == "" {
		err = ledger.ErrNone
	}
	return text, at, err
}

// eveningOf is the evening of a site as sound, in the language that the address asks for.
// It is made anew for each request: radios ask once an evening.
func (h *Hooks) eveningOf(r *http.Request, site *forecast.Site) (document, error) {
	w, err := h.Daemon.Words(h.Daemon.Reader(r.URL.Query().Get("lang")))
	if err != nil {
		return document{}, err
	}
	o := h.Daemon.Outlook(r.Context(), site.ID)
	if o == nil {
		return document{}, ledger.ErrNone
	}
	dir, err := os.MkdirTemp("", "thawline-evening")
	if err != nil {
		return document{}, fmt.Errorf("evening: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	file, speech := filepath.Join(dir, "evening.wav"), h.Daemon.Voice()
	if err := speech.Speak(r.Context(), w.Language(), w.In(message.Aloud).Evening(o), file); errors.Is(err, voice.ErrNone) {
		return document{}, ledger.ErrNone
	} else if err != nil {
		return document{}, err
	}
	sound, err := os.ReadFile(file)
	return document{sound, o.IssuedAt}, err
}

const mostNews = 50

// newsOf are the last decisions about a site, each once, as it was told in the
// language of the settings where it was. What is about taps that are pulled is left out.
func (h *Hooks) newsOf(ctx context.Context, site *forecast.Site, now time.Time) ([]feed.News, error) {
	told, err := h.Ledger.Told(ctx, site.ID, alerts.KindsWhere(func(p *alerts.Profile) bool { return p.InFeed == alerts.Published }),
		mostNews)
	if err != nil {
		return nil, err
	}
	var out []feed.News
	for _, copies := range byDecision(told) {
		v, _ := h.Daemon.UsualCopy(copies)
		if h.Daemon.OfPulled(ctx, v, now) {
			continue
		}
		out = append(out, feed.News{ID: v.DecisionID, At: v.MadeAt, Title: v.Words, Text: v.Words})
	}
	return out, nil
}

// byDecision parts deliveries that stand side by side.
func byDecision(list []ledger.Delivery) (out [][]ledger.Delivery) {
	for i := range list {
		if i == 0 || list[i].DecisionID != list[i-1].DecisionID {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], list[i])
	}
	return out
}

// toldPlace is where a feed says that a bush is: exactly only where its people agreed.
func toldPlace(site *forecast.Site) (latitudeDeg, longitudeDeg, radiusKM float64) {
	latitudeDeg, longitudeDeg = site.ToldPlace()
	if site.Shares.Place {
		return latitudeDeg, longitudeDeg, 1
	}
	return latitudeDeg, longitudeDeg, 10
}
