package hooks

import (
	_ "embed"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"time"
)

//go:embed push_worker.js
var pushWorker []byte

// pushes let a person's browser subscribe, at an address that only the person
// knows.
func (h *Hooks) pushes(mux *Routes, now func() time.Time) {
	mux.HandleFunc("GET /p/worker.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		_, _ = w.Write(pushWorker)
	})
	mux.HandleFunc("POST /p/{token}", func(w http.ResponseWriter, r *http.Request) {
		person := h.Daemon.PersonBehind(r.Context(), "push", r.PathValue("token"))
		if person == "" {
			http.NotFound(w, r)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, longestText))
		var s struct {
			Endpoint string `json:"endpoint"`
			Keys     struct {
				P256dh string `json:"p256dh"`
				Auth   string `json:"auth"`
			} `json:"keys"`
		}
		if err != nil || json.Unmarshal(body, &s) != nil || s.Keys.P256dh == "" || s.Keys.Auth == "" || !pushService(s.Endpoint) {
			http.Error(w, "not a subscription", http.StatusBadRequest)
			return
		}
		if err := h.Ledger.AddSubscription(r.Context(), person, s.Endpoint, string(body), now()); err != nil {
			h.Log.Error("a subscription was not kept", "error", err)
			http.Error(w, "not now", http.StatusServiceUnavailable)
			return
		}
		w.WriteHeader(http.StatusNoContent)
	})
}

// pushService takes only names of the open internet: a browser's push service is
// never in this house, and never a bare address in any spelling.
func pushService(endpoint string) bool {
	u, err := url.Parse(endpoint)
	return err == nil && u.Scheme == "https" && u.User == nil && u.Port() == "" && openName.MatchString(u.Hostname())
}

// openName ends in a domain of letters.
var openName = regexp.MustCompile(`^(?i:[a-z0-9-]+\.)+[a-zA-Z]{2,}$`)
