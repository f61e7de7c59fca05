package web

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"thawline/cmd/thawline/internal/auth"
)

// notKept are addresses of a bush that are no pages to read without signal.
var notKept = []string{"latest"}

// bushPage is a page of a bush, such as "rounds", "" for the first, and the least role that
// may open it.
type bushPage struct {
	name string
	need auth.Role
}

// bushPages are the pages of a bush by the routes: what a phone keeps for when there is no
// signal.
func bushPages(routes chi.Routes) ([]bushPage, error) {
	var pages []bushPage
	err := chi.Walk(routes, func(method, route string, _ http.Handler, guards ...func(http.Handler) http.Handler) error {
		page, of := strings.CutPrefix(route, "/site/{site}/")
		if of && method == http.MethodGet && !strings.ContainsAny(page, ".{") && !slices.Contains(notKept, page) {
			pages = append(pages, bushPage{page, leastRole(guards)})
		}
		return nil
	})
	slices.SortFunc(pages, func(a, b bushPage) int { return strings.Compare(a.name, b.name) })
	return pages, err
}

// leastRole asks what stands before a page whom it lets through: so nothing else has to
// know.
func leastRole(guards chi.Middlewares) auth.Role {
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		opens := false
		page := guards.HandlerFunc(func(http.ResponseWriter, *http.Request) { opens = true })
		r := &http.Request{Method: http.MethodGet, URL: &url.URL{Path: "/"}, Header: http.Header{}}
		page.ServeHTTP(unread{http.Header{}}, r.WithContext(auth.With(context.Background(), auth.Identity{Role: role})))
		if opens {
			return role
		}
	}
	return auth.Keeper
}

// unread takes an answer that nobody reads.
type unread struct{ header http.Header }

func (u unread) Header() http.Header          { return u.header }
func (unread) Write(text []byte) (int, error) { return len(text), nil }
func (unread) WriteHeader(int)                {}

// pagesJSON lists the addresses that a phone keeps: the pages of the visitor's bushes that
// they may open.
func (p *Pages) pagesJSON(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "")
	list := []string{v.Base + "/offline", v.Base + "/"}
	for i, s := range p.Outlooks.Sites() {
		if !v.Identity.Sees(s.ID) || i >= mostListed {
			continue
		}
		at := v.Base + "/site/" + url.PathEscape(s.ID)
		for _, page := range p.bush {
			if v.Identity.Role.May(page.need) {
				list = append(list, strings.TrimSuffix(at+"/"+page.name, "/"))
			}
		}
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "private, no-store")
	_ = json.NewEncoder(w).Encode(list)
}

// offline stands where there is no signal and nothing is kept.
func (p *Pages) offline(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "")
	v.Title, v.Body = v.T("offline_title"), v.Menu
	p.send(w, r, http.StatusOK, "offline", v)
}
