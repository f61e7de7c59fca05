package source

import (
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"
	"github.com/gregjones/httpcache"
)

// honest sits between the cache and the network. It takes stale-if-error out
// of answers, so that a service that is down is seen to be down and the caller
// decides what an older forecast is worth.
type honest struct{ next http.RoundTripper }

func (h honest) RoundTrip(r *http.Request) (*http.Response, error) {
	resp, err := h.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	var kept []string
	for _, line := range resp.Header.Values("Cache-Control") {
		for part := range strings.SplitSeq(line, ",") {
			part = strings.TrimSpace(part)
			if !strings.HasPrefix(strings.ToLower(part), "stale-if-error") {
				kept = append(kept, part)
			}
		}
	}
	if len(kept) > 0 {
		resp.Header.Set("Cache-Control", strings.Join(kept, ", "))
	} else {
		resp.Header.Del("Cache-Control")
	}
	return resp, nil
}

// logged writes one debug line a try, without the query, which may hold a key.
type logged struct {
	next http.RoundTripper
	log  *slog.Logger
}

func (l logged) RoundTrip(r *http.Request) (*http.Response, error) {
	began := time.Now()
	resp, err := l.next.RoundTrip(r)
	line := l.log.With("host", r.URL.Host, "path", r.URL.Path, "took", time.Since(began))
	if err != nil {
		line.Debug("asked in vain", "error", withoutAddress(err))
		return nil, err
	}
	line.Debug("asked", "status", resp.StatusCode, "kept", resp.Header.Get(httpcache.XFromCache) != "")
	return resp, nil
}

// forget drops what the cache holds of an answer that was of no use: an error,
// a web page, a file cut short by a power failure. Without it the same answer
// would come back until it expires.
func (c *Client) forget(r *resty.Response) {
	if r == nil || r.Request == nil {
		return
	}
	if r.Request.RawRequest != nil {
		c.cache.Delete(r.Request.RawRequest.URL.String())
	}
	if r.RawResponse != nil && r.RawResponse.Request != nil { // the last of a row of redirects
		c.cache.Delete(r.RawResponse.Request.URL.String())
	}
}

// receivedAt is when the service gave or last confirmed the answer.
func receivedAt(h http.Header, fromCache bool) time.Time {
	if fromCache {
		if t, err := httpcache.Date(h); err == nil {
			return t
		}
	}
	return time.Now()
}

// withoutAddress takes the address, which may hold a key, off an error.
func withoutAddress(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}
