package auth

import (
	"encoding/json"
	"net/http"
	"strings"
)

// why somebody is not let in: the key of the words on a page, and what programs are
// told.
type why struct{ key, say string }

// notNow is told where the house itself is at fault.
var notNow = why{"fault_here", "not now"}

func wantsPage(r *http.Request) bool { return strings.Contains(r.Header.Get("Accept"), "text/html") }

// refuse says why somebody is not let in: on a page, or as a problem (RFC 9457) to
// those who ask the API.
func (g *Service) refuse(w http.ResponseWriter, r *http.Request, status int, because why) {
	switch {
	case strings.HasPrefix(r.URL.Path, "/api/") || r.Header.Get("Authorization") != "":
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(struct {
			Title  string `json:"title"`
			Status int    `json:"status"`
			Detail string `json:"detail"`
		}{http.StatusText(status), status, because.say})
	case g.Faults != nil && because.key != "" && wantsPage(r):
		g.Faults(w, r, status, because.key)
	default:
		http.Error(w, because.say, status)
	}
}
