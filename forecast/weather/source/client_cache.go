package source

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/go-resty/resty/v2"
	"github.com/gohugoio/httpcache"
	"github.com/google/renameio/v2"
)

// answerFiles keep answers in a folder, a file each.
type answerFiles struct {
	dir string
	log *slog.Logger
}

// name is the file of an address, which may hold a key and is not told.
func (a answerFiles) name(address string) string {
	sum := sha256.Sum256([]byte(address))
	return filepath.Join(a.dir, hex.EncodeToString(sum[:]))
}

func (a answerFiles) Get(address string) (answer []byte, ok bool) {
	answer, err := os.ReadFile(a.name(address))
	return answer, err == nil
}

// Set keeps an answer. Where it can't be written nothing is lost but the next question's
// chance to be spared.
func (a answerFiles) Set(address string, answer []byte) {
	if err := renameio.WriteFile(a.name(address), answer, 0o600); err != nil {
		a.log.Warn("an answer can't be kept", "error", err)
	}
}

func (a answerFiles) Delete(address string) {
	if err := os.Remove(a.name(address)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		a.log.Warn("an answer can't be forgotten", "error", err)
	}
}

// answersInMemory keep them while the program runs.
type answersInMemory struct{ by sync.Map }

func (a *answersInMemory) Get(address string) (answer []byte, ok bool) {
	kept, ok := a.by.Load(address)
	if !ok {
		return nil, false
	}
	return kept.([]byte), true
}

func (a *answersInMemory) Set(address string, answer []byte) { a.by.Store(address, answer) }
func (a *answersInMemory) Delete(address string)             { a.by.Delete(address) }

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
		if t, err := http.ParseTime(h.Get("Date")); err == nil {
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
