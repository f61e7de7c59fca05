package hooks

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"
)

// longestCallBack is more than a text and what gateways say beside it takes.
const longestCallBack = 64 << 10

// longestText is more than a browser's subscription takes.
const longestText = 4096

// What became of a text that came in.
const (
	textHeard    = "heard"
	textStranger = "unknown_sender"
	textUnread   = "not_understood"
	textFailed   = "failed"
)

// ErrTooFast is what Hear gives for a text of somebody who has sent many at once. It may
// be sent again a little later.
var ErrTooFast = errors.New("too many texts from one number at once")

// texts takes what people write back, as a gateway's call-back in any of the shapes: at an
// address of a bush, or at the one address of a gateway's number, where who writes is
// found by the number. Strangers get no answer at all.
func (h *Hooks) texts(mux *Routes, now func() time.Time) {
	take := func(w http.ResponseWriter, r *http.Request) {
		token := r.PathValue("token")
		site := h.Daemon.SiteBehind(r.Context(), "in", token)
		if site == nil && !h.Daemon.GatewayBehind(r.Context(), token) {
			http.NotFound(w, r)
			return
		}
		texts, names, err := understand(w, r, h.Daemon.Shapes())
		if err != nil || len(texts) == 0 {
			h.Metrics.TextCame(textUnread)
			h.Log.Warn("a gateway's call-back was not understood: say where number and words stand with serve.call_backs", "method",
				r.Method, "content type", r.Header.Get("Content-Type"), "names", strings.Join(names, " "), "error", err)
			w.WriteHeader(http.StatusNoContent) // calling again would not help
			return
		}
		for _, in := range texts {
			known, err := h.Daemon.HearFrom(context.WithoutCancel(r.Context()), site, in.from, in.text, in.id, now())
			switch {
			case errors.Is(err, ErrTooFast):
				w.Header().Set("Retry-After", "60")
				w.WriteHeader(http.StatusTooManyRequests)
				return
			case err != nil:
				h.Metrics.TextCame(textFailed)
				w.WriteHeader(http.StatusServiceUnavailable) // the gateway calls again
				return
			case !known:
				h.Metrics.TextCame(textStranger)
			default:
				h.Metrics.TextCame(textHeard)
			}
		}
		w.WriteHeader(http.StatusNoContent)
	}
	mux.HandleFunc("POST /in/{token}", take)
	mux.HandleFunc("GET /in/{token}", func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead { // looks whether somebody is there, and says nothing
			w.WriteHeader(http.StatusNoContent)
			return
		}
		take(w, r)
	})
}
