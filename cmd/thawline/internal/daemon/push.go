package daemon

import (
	"context"
	"crypto/subtle"
	_ "embed"
	"encoding/json"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"time"
)

//go:embed push.html
var pushHTML string

//go:embed push_worker.js
var pushWorker []byte

var pushPage = template.Must(template.New("push").Parse(pushHTML))

// pushes let a person's browser subscribe, at an address that only the person
// knows.
func (d *Daemon) pushes(mux *http.ServeMux, now func() time.Time) {
	mux.HandleFunc("GET /p/{token}", func(w http.ResponseWriter, r *http.Request) {
		person := d.personBehind(r.Context(), r.PathValue("token"))
		if person == "" {
			http.NotFound(w, r)
			return
		}
		_, public, err := d.Ledger.PushKeys(r.Context())
		if err != nil {
			d.Log.Error("no keys to push with", "error", err)
			http.Error(w, "not now", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'unsafe-inline' 'self'; worker-src 'self'; connect-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'")
		w.Header().Set("Referrer-Policy", "no-referrer")
		_ = pushPage.Execute(w, map[string]string{"Person": person, "Key": public})
	})
	mux.HandleFunc("GET /p/worker.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		_, _ = w.Write(pushWorker)
	})
	mux.HandleFunc("POST /p/{token}", func(w http.ResponseWriter, r *http.Request) {
		person := d.personBehind(r.Context(), r.PathValue("token"))
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
		if err := d.Ledger.AddSubscription(r.Context(), person, s.Endpoint, string(body), now()); err != nil {
			d.Log.Error("a subscription was not kept", "error", err)
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

// personBehind finds whose address it is, "" for nobody's.
func (d *Daemon) personBehind(ctx context.Context, token string) string {
	d.mu.Lock()
	people := d.settings.People
	d.mu.Unlock()
	found := ""
	for i := range people {
		if address, err := Address(ctx, d.Ledger, "push", people[i].ID); err == nil && subtle.ConstantTimeCompare([]byte(address), []byte(token)) == 1 {
			found = people[i].ID
		}
	}
	return found
}
