package hooks

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/forecast"
)

// feeds are read by programs that cannot log in: the address is the key.
func (h *Hooks) feeds(mux *http.ServeMux, now func() time.Time) {
	serve := func(path, kind string, write func(r *http.Request, site *forecast.Site) ([]byte, error)) {
		mux.HandleFunc("GET /f/{token}/"+path, func(w http.ResponseWriter, r *http.Request) {
			site := h.Daemon.SiteBehind(r.Context(), "feed", r.PathValue("token"))
			if site == nil {
				http.NotFound(w, r)
				return
			}
			body, err := write(r, site)
			switch {
			case errors.Is(err, ledger.ErrNone):
				http.NotFound(w, r)
				return
			case err != nil:
				h.Log.Error("a feed can't be made", "feed", path, "site", site.ID, "error", err)
				http.Error(w, "not now", http.StatusServiceUnavailable)
				return
			}
			w.Header().Set("Content-Type", kind)
			w.Header().Set("Cache-Control", "private, max-age=300")
			_, _ = w.Write(body)
		})
	}
	serve("calendar.ics", "text/calendar; charset=utf-8", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		list, err := h.Ledger.Entries(r.Context(), site.ID, now())
		return []byte(feed.Calendar(site.Name, list)), err
	})
	serve("news.atom", "application/atom+xml; charset=utf-8", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		list, err := h.newsOf(r.Context(), site, now())
		if err != nil {
			return nil, err
		}
		text, err := feed.Atom(site.Name, "urn:thawline:"+site.ID, list)
		return []byte(text), err
	})
	serve("evening.wav", "audio/wav", h.eveningOf)
	bulletin := func(r *http.Request) (string, time.Time, error) {
		w, err := h.Daemon.Words(h.Daemon.Reader(r.URL.Query().Get("lang")))
		if err != nil {
			return "", time.Time{}, err
		}
		at := now()
		var list []*forecast.Outlook
		for _, s := range h.Daemon.Sites() {
			if o := h.Daemon.Outlook(r.Context(), s.ID); o != nil {
				list, at = append(list, o), at.In(s.Zone)
			}
		}
		text := w.Bulletin(list, at)
		if text == "" {
			err = ledger.ErrNone
		}
		return text, at, err
	}
	serve("bulletin.txt", "text/plain; charset=utf-8", func(r *http.Request, _ *forecast.Site) ([]byte, error) {
		text, _, err := bulletin(r)
		return []byte(text + "\n"), err
	})
	serve("bulletin.atom", "application/atom+xml; charset=utf-8", func(r *http.Request, _ *forecast.Site) ([]byte, error) {
		text, at, err := bulletin(r)
		if err != nil {
			return nil, err
		}
		out, err := feed.Atom("thawline", "urn:thawline:bulletin", []feed.News{feed.Bulletin(text, at)})
		return []byte(out), err
	})
	serve("warning.cap", "application/cap+xml", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		return h.warningOf(r.Context(), site, now())
	})
}

// eveningOf is the evening of a site as sound, in the language that the address asks for.
// It is made anew for each request: radios ask once an evening.
func (h *Hooks) eveningOf(r *http.Request, site *forecast.Site) ([]byte, error) {
	w, err := h.Daemon.Words(h.Daemon.Reader(r.URL.Query().Get("lang")))
	if err != nil {
		return nil, err
	}
	o := h.Daemon.Outlook(r.Context(), site.ID)
	if o == nil {
		return nil, ledger.ErrNone
	}
	dir, err := os.MkdirTemp("", "thawline-evening")
	if err != nil {
		return nil, fmt.Errorf("evening: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	file, speech := filepath.Join(dir, "evening.wav"), h.Daemon.Voice()
	if err := speech.Speak(r.Context(), w.Language(), w.In(message.Aloud).Evening(o), file); errors.Is(err, voice.ErrNone) {
		return nil, ledger.ErrNone
	} else if err != nil {
		return nil, err
	}
	return os.ReadFile(file)
}

const mostNews = 50

// newsOf are the last decisions about a site, each once, as it was told in the
// language of the settings where it was. What is about taps that are pulled is left out.
func (h *Hooks) newsOf(ctx context.Context, site *forecast.Site, now time.Time) ([]feed.News, error) {
	told, err := h.Ledger.Told(ctx, site.ID, alerts.KindsWhere(func(p *alerts.Profile) bool { return p.InFeed == alerts.Published }), mostNews)
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

// warningOf is the newest warning about a site as a CAP message; ledger.ErrNone
// where there is none but of taps that are pulled.
func (h *Hooks) warningOf(ctx context.Context, site *forecast.Site, now time.Time) ([]byte, error) {
	told, err := h.Ledger.Told(ctx, site.ID, alerts.KindsWhere((*alerts.Profile).Warns), mostNews)
	if err != nil {
		return nil, err
	}
	all := byDecision(told)
	at := slices.IndexFunc(all, func(copies []ledger.Delivery) bool { return !h.Daemon.OfPulled(ctx, &copies[0], now) })
	if at < 0 {
		return nil, ledger.ErrNone
	}
	v, language := h.Daemon.UsualCopy(all[at])
	profile, _ := alerts.ProfileOf(v.Kind)
	latitude, longitude, radius := toldPlace(site)
	w, err := h.Daemon.Words(message.Reader{Language: language})
	if err != nil {
		return nil, err
	}
	return feed.CAP(&feed.Warning{ID: v.DecisionID, Sender: "thawline@thawline.invalid", Sent: v.MadeAt.In(site.Zone), Expires: v.Until.In(site.Zone), Event: w.Say("kind_"+string(v.Kind), nil), Headline: v.Words, Description: v.Words,
		Language: language, Class: profile.Warning, AreaName: site.Name, LatitudeDeg: latitude, LongitudeDeg: longitude, RadiusKM: radius})
}

// toldPlace is where a feed says that a bush is: exactly only where its people agreed.
func toldPlace(site *forecast.Site) (latitudeDeg, longitudeDeg, radiusKM float64) {
	latitudeDeg, longitudeDeg = site.ToldPlace()
	if site.Shares.Place {
		return latitudeDeg, longitudeDeg, 1
	}
	return latitudeDeg, longitudeDeg, 10
}
