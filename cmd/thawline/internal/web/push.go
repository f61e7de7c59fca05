package web

import (
	"net/http"

	"github.com/go-chi/chi/v5"
)

// askPush lets a person's browser subscribe to messages, at an address that only
// the person knows.
func (p *Pages) askPush(w http.ResponseWriter, r *http.Request) {
	person := p.Outlooks.PersonBehind(r.Context(), "push", chi.URLParam(r, "token"))
	if person == "" {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	_, public, err := p.Messages.PushKeys(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	v := p.view(w, r, "")
	s := p.settings.Load()
	p.speakTo(v, r, person)
	name := s.Names[person]
	if name == "" {
		name = person
	}
	v.Bare, v.Title = true, v.T("push_title", "Name", name)
	v.Body = struct{ Key string }{public}
	p.send(w, r, http.StatusOK, "push", v)
}
