package daemon

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net/http"
	"time"

	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// Address is the unguessable part of the address of something of a site.
func Address(ctx context.Context, l *ledger.Ledger, what, site string) (string, error) {
	key, err := l.Key(ctx)
	if err != nil {
		return "", err
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(what + "\x00" + site))
	return hex.EncodeToString(mac.Sum(nil)[:16]), nil
}

// behind finds the site whose address of that kind was asked for.
func (d *Daemon) behind(ctx context.Context, what, token string) *forecast.Site {
	d.mu.Lock()
	sites := d.settings.Sites
	d.mu.Unlock()
	var found *forecast.Site
	for i := range sites {
		if address, err := Address(ctx, d.Ledger, what, sites[i].ID); err == nil && subtle.ConstantTimeCompare([]byte(address), []byte(token)) == 1 {
			found = &sites[i]
		}
	}
	return found
}

// feeds are read by programs that cannot log in: the address is the key.
func (d *Daemon) feeds(mux *http.ServeMux, now func() time.Time) {
	serve := func(path, kind string, write func(r *http.Request, site *forecast.Site) ([]byte, error)) {
		mux.HandleFunc("GET /f/{token}/"+path, func(w http.ResponseWriter, r *http.Request) {
			site := d.behind(r.Context(), "feed", r.PathValue("token"))
			if site == nil {
				http.NotFound(w, r)
				return
			}
			body, err := write(r, site)
			if err != nil {
				d.Log.Error("a feed can't be made", "feed", path, "site", site.ID, "error", err)
				http.Error(w, "not now", http.StatusServiceUnavailable)
				return
			}
			w.Header().Set("Content-Type", kind)
			w.Header().Set("Cache-Control", "private, max-age=300")
			_, _ = w.Write(body)
		})
	}
	serve("calendar.ics", "text/calendar; charset=utf-8", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		list, err := d.Ledger.Entries(r.Context(), site.ID, now())
		return []byte(feed.Calendar(site.Name, list)), err
	})
	serve("news.atom", "application/atom+xml; charset=utf-8", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		list, err := d.newsOf(r.Context(), site)
		if err != nil {
			return nil, err
		}
		text, err := feed.Atom(site.Name, "urn:thawline:"+site.ID, list)
		return []byte(text), err
	})
	serve("warning.cap", "application/cap+xml", func(r *http.Request, site *forecast.Site) ([]byte, error) {
		return d.warningOf(r.Context(), site)
	})
}

const mostNews = 50

// newsOf are the last decisions about a site, each once, in the words of the
// first person who was told.
func (d *Daemon) newsOf(ctx context.Context, site *forecast.Site) ([]feed.News, error) {
	recent, err := d.Ledger.Recent(ctx, 4*mostNews)
	if err != nil {
		return nil, err
	}
	var out []feed.News
	seen := map[string]bool{}
	for i := range recent {
		v := &recent[i]
		if v.Site != site.ID || seen[v.DecisionID] || len(out) == mostNews {
			continue
		}
		seen[v.DecisionID] = true
		out = append(out, feed.News{ID: v.DecisionID, At: v.MadeAt, Title: v.Words, Text: v.Words})
	}
	return out, nil
}

// warningOf is the newest warning about a site as a CAP message.
func (d *Daemon) warningOf(ctx context.Context, site *forecast.Site) ([]byte, error) {
	recent, err := d.Ledger.Recent(ctx, 4*mostNews)
	if err != nil {
		return nil, err
	}
	for i := range recent {
		v := &recent[i]
		category, is := warned[v.Kind]
		if v.Site != site.ID || !is {
			continue
		}
		return feed.CAP(&feed.Warning{ID: v.DecisionID, Sender: "thawline@thawline.invalid", Sent: v.MadeAt.In(site.Zone), Expires: v.Until.In(site.Zone), Event: string(v.Kind), Headline: v.Words, Description: v.Words,
			Language: "en-US", Category: category, Severe: v.Urgent, AreaName: site.Name, LatitudeDeg: site.Place.LatitudeDeg, LongitudeDeg: site.Place.LongitudeDeg})
	}
	return nil, ledger.ErrNone
}
