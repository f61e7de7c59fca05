package hooks

import (
	"fmt"
	"html"
	"net/http"
	"time"
)

// stops let a person end all messages, at an address that only the person knows: a mail
// program does so with one POST (RFC 8058). Looking at the address alone ends nothing,
// since programs that look for viruses do that.
func (h *Hooks) stops(mux *Routes, now func() time.Time) {
	mux.HandleFunc("/u/{token}", func(w http.ResponseWriter, r *http.Request) {
		person := h.Daemon.PersonBehind(r.Context(), "stop", r.PathValue("token"))
		if person == "" {
			http.NotFound(w, r)
			return
		}
		words, err := h.Daemon.WordsOf(person)
		if err == nil && r.Method == http.MethodPost {
			err = h.Ledger.SetStopped(r.Context(), person, true, now())
		}
		if err != nil {
			h.Log.Error("messages were not stopped", "error", err)
			http.Error(w, "not now", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", "default-src 'none'; form-action 'self'")
		w.Header().Set("Cache-Control", "no-store")
		says := "<p>" + html.EscapeString(words.Say("reply_stop", nil)) + "</p>"
		if r.Method != http.MethodPost {
			says = `<form method="post"><button>` + html.EscapeString(words.Say("email_stop", nil)) + "</button></form>"
		}
		_, _ = fmt.Fprintf(w, `<!doctype html><html lang="%s"><meta name="viewport" content="width=device-width"><title>thawline</title>%s</html>`, html.EscapeString(words.Language()), says)
	})
}
