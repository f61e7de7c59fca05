package web

import (
	"errors"
	"net/http"
	"net/url"

	"github.com/go-chi/chi/v5"

	"thawline/cmd/thawline/internal/auth"
)

type loginBody struct {
	Provider   bool // somebody can log in by one
	To, Person string
	People     []link // keepers who may set up
	Link       string
	Invited    bool
}

// comeIn are the pages that are seen before somebody is let in.
func (p *Pages) comeIn(r chi.Router) {
	r = r.With(p.Auth.NotByToken)
	r.Get("/login", func(w http.ResponseWriter, r *http.Request) {
		if needed, err := p.Auth.SetUpNeeded(r.Context()); err == nil && needed {
			http.Redirect(w, r, p.Auth.Base()+"/setup", http.StatusSeeOther)
			return
		}
		p.askLogin(w, r, http.StatusOK, "", auth.LocalPath(r.URL.Query().Get("to")), "")
	})
	r.Post("/login", p.login)
	r.Get("/login/provider", p.toProvider)
	r.Get("/login/provider/back", p.fromProvider)
	r.Post("/logout", p.logout)
	r.Get("/setup", func(w http.ResponseWriter, r *http.Request) { p.askSetUp(w, r, http.StatusOK, "") })
	r.Post("/setup", p.setUp)
	r.Get("/l/{link}", p.enterLink)
	r.Post("/l/{link}", p.enterLink)
	r.Get("/password", p.askPassword)
	r.Post("/password", p.takePassword)
	r.Get("/p/{token}", p.askPush)
	r.Get("/a/{delivery}", p.seenLink)
	r.Post("/a/{delivery}", p.seenLink)
}

// saying is why somebody was not let in, in the reader's words.
func (v *view) saying(err error) string {
	var wait auth.ErrThrottled
	switch {
	case errors.As(err, &wait):
		return v.T("login_wait", "Seconds", int(wait.For.Seconds())+1)
	case errors.Is(err, auth.ErrShort):
		return v.T("login_short")
	case errors.Is(err, auth.ErrCode):
		return v.T("setup_wrong_code")
	case errors.Is(err, auth.ErrLink):
		return v.T("fault_link")
	case errors.Is(err, auth.ErrWrong):
		return v.T("login_wrong")
	}
	return ""
}

func (p *Pages) askLogin(w http.ResponseWriter, r *http.Request, status int, person, to, wrong string) {
	v := p.view(w, r, "")
	v.Bare, v.Title, v.Wrong = true, v.T("login_title"), wrong
	v.Body = loginBody{To: to, Person: person, Provider: p.Auth.ByProvider()}
	p.send(w, r, status, "login", v)
}

func (p *Pages) login(w http.ResponseWriter, r *http.Request) {
	person, to := r.PostFormValue("person"), auth.LocalPath(r.PostFormValue("to"))
	err := p.Auth.Login(w, r, person, r.PostFormValue("password"))
	if err == nil {
		http.Redirect(w, r, p.Auth.Base()+to, http.StatusSeeOther)
		return
	}
	say := p.view(w, r, "").saying(err)
	if say == "" {
		p.failed(w, r, err)
		return
	}
	status := http.StatusUnauthorized
	var wait auth.ErrThrottled
	if errors.As(err, &wait) {
		status = http.StatusTooManyRequests
	}
	p.askLogin(w, r, status, person, to, say)
}

func (p *Pages) logout(w http.ResponseWriter, r *http.Request) {
	if err := p.Auth.Logout(r); err != nil {
		p.failed(w, r, err)
		return
	}
	http.Redirect(w, r, p.Auth.Base()+"/login", http.StatusSeeOther)
}

func (p *Pages) askSetUp(w http.ResponseWriter, r *http.Request, status int, wrong string) {
	needed, err := p.Auth.SetUpNeeded(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if !needed {
		http.Redirect(w, r, p.Auth.Base()+"/login", http.StatusSeeOther)
		return
	}
	v := p.view(w, r, "")
	v.Bare, v.Title, v.Wrong = true, v.T("setup_title"), wrong
	b := loginBody{Person: r.PostFormValue("person")}
	for _, k := range p.Auth.People() {
		if k.Role == auth.Keeper {
			b.People = append(b.People, link{Href: k.ID, Text: k.Name, Here: k.ID == b.Person})
		}
	}
	v.Body = b
	p.send(w, r, status, "setup", v)
}

func (p *Pages) setUp(w http.ResponseWriter, r *http.Request) {
	err := p.Auth.SetUp(w, r, r.PostFormValue("code"), r.PostFormValue("person"), r.PostFormValue("password"))
	if err == nil {
		http.Redirect(w, r, p.Auth.Base()+"/", http.StatusSeeOther)
		return
	}
	if say := p.view(w, r, "").saying(err); say != "" {
		p.askSetUp(w, r, http.StatusUnauthorized, say)
		return
	}
	p.failed(w, r, err)
}

// enterLink asks before a link is used up: programs that look at messages follow
// links.
func (p *Pages) enterLink(w http.ResponseWriter, r *http.Request) {
	token := chi.URLParam(r, "link")
	if r.Method == http.MethodGet {
		v := p.view(w, r, "")
		v.Bare, v.Title, v.Body = true, v.T("link_title"), loginBody{Link: token}
		p.send(w, r, http.StatusOK, "link", v)
		return
	}
	kind, site, err := p.Auth.EnterLink(r, token)
	switch {
	case errors.Is(err, auth.ErrLink):
		p.fault(w, r, http.StatusForbidden, "fault_link")
	case errors.As(err, new(auth.ErrThrottled)):
		p.fault(w, r, http.StatusTooManyRequests, "fault_fast")
	case err != nil:
		p.failed(w, r, err)
	case kind == auth.PasswordLink:
		http.Redirect(w, r, p.Auth.Base()+"/password", http.StatusSeeOther)
	case site != "":
		http.Redirect(w, r, p.Auth.Base()+"/site/"+url.PathEscape(site)+"/rounds", http.StatusSeeOther)
	default:
		http.Redirect(w, r, p.Auth.Base()+"/", http.StatusSeeOther)
	}
}

func (p *Pages) askPassword(w http.ResponseWriter, r *http.Request) {
	p.passwordPage(w, r, http.StatusOK, "")
}

func (p *Pages) passwordPage(w http.ResponseWriter, r *http.Request, status int, wrong string) {
	v := p.view(w, r, "")
	if v.Identity.Person == "" {
		http.Redirect(w, r, p.Auth.Base()+"/login", http.StatusSeeOther)
		return
	}
	v.Bare, v.Title, v.Wrong, v.Body = true, v.T("password_title", "Name", v.Identity.Name), wrong,
		loginBody{Person: v.Identity.Person, Invited: p.Auth.Invited(r)}
	p.send(w, r, status, "password", v)
}

func (p *Pages) takePassword(w http.ResponseWriter, r *http.Request) {
	err := p.Auth.ChangePassword(w, r, r.PostFormValue("old"), r.PostFormValue("password"))
	if err == nil {
		http.Redirect(w, r, p.Auth.Base()+"/?done=done_password", http.StatusSeeOther)
		return
	}
	if say := p.view(w, r, "").saying(err); say != "" {
		p.passwordPage(w, r, http.StatusUnauthorized, say)
		return
	}
	p.failed(w, r, err)
}

// toProvider sends somebody to the OpenID provider.
func (p *Pages) toProvider(w http.ResponseWriter, r *http.Request) {
	if !p.Auth.ByProvider() {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	address, err := p.Auth.BeginProvider(r, auth.LocalPath(r.URL.Query().Get("to")))
	if err != nil {
		p.Log.Error("the OpenID provider can't be asked", "error", err)
		p.fault(w, r, http.StatusServiceUnavailable, "fault_provider")
		return
	}
	http.Redirect(w, r, address, http.StatusSeeOther)
}

// fromProvider lets in whom the provider sends back.
func (p *Pages) fromProvider(w http.ResponseWriter, r *http.Request) {
	to, err := p.Auth.EndProvider(r)
	if err != nil {
		p.Log.Warn("the OpenID provider let nobody in", "error", err)
		p.fault(w, r, http.StatusForbidden, "fault_provider")
		return
	}
	http.Redirect(w, r, p.Auth.Base()+auth.LocalPath(to), http.StatusSeeOther)
}
