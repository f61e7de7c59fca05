package hooks

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"time"
)

const longestText = 4096

// ErrTooFast is what Hear gives for a text of somebody who has sent many at once. It may
// be sent again a little later.
var ErrTooFast = errors.New("too many texts from one number at once")

// texts takes what people write back, as a gateway's call-back: a form or a
// JSON object with the number in from and the words in text or body. Strangers
// get no answer at all.
func (h *Hooks) texts(mux *http.ServeMux, now func() time.Time) {
	mux.HandleFunc("POST /in/{token}", func(w http.ResponseWriter, r *http.Request) {
		site := h.Daemon.SiteBehind(r.Context(), "in", r.PathValue("token"))
		if site == nil {
			http.NotFound(w, r)
			return
		}
		from, text, id := readText(w, r)
		if err := h.Daemon.Hear(context.WithoutCancel(r.Context()), site, from, text, id, now()); errors.Is(err, ErrTooFast) {
			w.Header().Set("Retry-After", "60")
			w.WriteHeader(http.StatusTooManyRequests)
			return
		} else if err != nil {
			w.WriteHeader(http.StatusServiceUnavailable) // the gateway calls again
			return
		}
		w.WriteHeader(http.StatusNoContent)
	})
}

func readText(w http.ResponseWriter, r *http.Request) (from, text, id string) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, longestText))
	if err != nil {
		return "", "", ""
	}
	values := map[string]string{}
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind == "application/json" {
		var any map[string]any
		if json.Unmarshal(body, &any) == nil {
			for k, v := range any {
				if s, ok := v.(string); ok {
					values[strings.ToLower(k)] = s
				}
			}
		}
	} else if form, err := url.ParseQuery(string(body)); err == nil {
		for k := range form {
			values[strings.ToLower(k)] = form.Get(k)
		}
	}
	first := func(keys ...string) string {
		for _, k := range keys {
			if v := values[k]; v != "" {
				return v
			}
		}
		return ""
	}
	return first("from", "sender", "msisdn"), first("text", "body", "message"), first("id", "messageid", "messagesid")
}
