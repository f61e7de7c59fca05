package daemon

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"maps"
	"net/http"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
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
			switch {
			case errors.Is(err, ledger.ErrNone):
				http.NotFound(w, r)
				return
			case err != nil:
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

// published are the kinds that feeds tell of: what concerns a bush, not what was
// said to one person, nor what only those who keep the machine look after.
var published = slices.DeleteFunc(slices.Sorted(maps.Keys(toldTo)), func(k alerts.Kind) bool { return k == alerts.StaleFeed })

// newsOf are the last decisions about a site, each once, as it was told in the
// language of the settings where it was.
func (d *Daemon) newsOf(ctx context.Context, site *forecast.Site) ([]feed.News, error) {
	told, err := d.Ledger.Told(ctx, site.ID, published, mostNews)
	if err != nil {
		return nil, err
	}
	var out []feed.News
	for _, copies := range byDecision(told) {
		v, _ := d.usualCopy(copies)
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

// usualCopy is what was told in the language of the settings, else to the first
// person, and the language that it is in.
func (d *Daemon) usualCopy(copies []ledger.Delivery) (*ledger.Delivery, string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	usual := d.settings.Usual.Language
	for i := range copies {
		if p := d.byID[copies[i].Person]; p != nil && p.Reader.Language == usual {
			return &copies[i], usual
		}
	}
	if p := d.byID[copies[0].Person]; p != nil {
		return &copies[0], p.Reader.Language
	}
	return &copies[0], usual // to somebody who is gone: most likely
}

// warningOf is the newest warning about a site as a CAP message; ledger.ErrNone
// where there is none.
func (d *Daemon) warningOf(ctx context.Context, site *forecast.Site) ([]byte, error) {
	told, err := d.Ledger.Told(ctx, site.ID, slices.Sorted(maps.Keys(warned)), 1)
	if err != nil {
		return nil, err
	}
	if len(told) == 0 {
		return nil, ledger.ErrNone
	}
	v, language := d.usualCopy(told)
	w, err := d.words(message.Reader{Language: language})
	if err != nil {
		return nil, err
	}
	return feed.CAP(&feed.Warning{ID: v.DecisionID, Sender: "thawline@thawline.invalid", Sent: v.MadeAt.In(site.Zone), Expires: v.Until.In(site.Zone), Event: w.Say("kind_"+string(v.Kind), nil), Headline: v.Words, Description: v.Words,
		Language: language, Category: warned[v.Kind], Severe: v.Urgent, AreaName: site.Name, LatitudeDeg: site.Place.LatitudeDeg, LongitudeDeg: site.Place.LongitudeDeg})
}
