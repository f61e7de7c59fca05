package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"
)

// problem answers with a problem document (RFC 9457).
func problem(status int, detail string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(&huma.ErrorModel{Title: http.StatusText(status), Status: status, Detail: detail})
	}
}

// held is an answer that is not sent yet.
type held struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (h *held) Header() http.Header { return h.header }
func (h *held) WriteHeader(status int) {
	if h.status == 0 {
		h.status = status
	}
}
func (h *held) Write(b []byte) (int, error) {
	h.WriteHeader(http.StatusOK)
	return h.body.Write(b)
}

// tagged gives every good answer to GET a tag, does not send again what somebody has, and
// answers HEAD as GET without a body (RFC 9110, sections 9.3.2 and 13.1.2).
func tagged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r = r.WithContext(context.WithValue(r.Context(), chi.RouteCtxKey, nil)) // the outer router's says HEAD
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		asked := r.Clone(r.Context())
		asked.Method = http.MethodGet
		answer := &held{header: http.Header{}}
		next.ServeHTTP(answer, asked)
		answer.WriteHeader(http.StatusOK)
		maps.Copy(w.Header(), answer.header)
		if answer.status == http.StatusOK {
			if w.Header().Get("ETag") == "" {
				w.Header().Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(answer.body.Bytes())))
			}
			if w.Header().Get("Cache-Control") == "" {
				w.Header().Set("Cache-Control", "private, no-cache")
			}
			if has(r.Header.Get("If-None-Match"), w.Header().Get("ETag")) {
				w.Header().Del("Content-Type")
				w.WriteHeader(http.StatusNotModified)
				return
			}
		}
		if answer.status != http.StatusNotModified {
			w.Header().Set("Content-Length", strconv.Itoa(answer.body.Len()))
		}
		w.WriteHeader(answer.status)
		if r.Method == http.MethodGet {
			_, _ = w.Write(answer.body.Bytes())
		}
	})
}

// has reports whether a list of tags names one, by weak comparison.
func has(list, tag string) bool {
	for one := range strings.SplitSeq(list, ",") {
		if one = strings.TrimSpace(one); one == "*" || one != "" && strings.TrimPrefix(one, "W/") == tag {
			return true
		}
	}
	return false
}
