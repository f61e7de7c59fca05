package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"
)

// notKept are addresses of a bush that are no pages to read without signal.
var notKept = []string{"latest"}

// bushPages are the pages of a bush by the routes, such as "rounds", "" for the first: what
// a phone keeps for when there is no signal.
func bushPages(routes chi.Routes) ([]string, error) {
	var pages []string
	err := chi.Walk(routes, func(method, route string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		page, of := strings.CutPrefix(route, "/site/{site}/")
		if of && method == http.MethodGet && !strings.ContainsAny(page, ".{") && !slices.Contains(notKept, page) {
			pages = append(pages, page)
		}
		return nil
	})
	slices.Sort(pages)
	return pages, err
}

// pagesJSON lists the addresses that a phone keeps: the pages of the visitor's bushes.
func (p *Pages) pagesJSON(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "")
	list := []string{v.Base + "/offline", v.Base + "/"}
	for i, s := range p.Outlooks.Sites() {
		if !v.Identity.Sees(s.ID) || i >= mostListed {
			continue
		}
		at := v.Base + "/site/" + url.PathEscape(s.ID)
		for _, page := range p.bush {
			list = append(list, strings.TrimSuffix(at+"/"+page, "/"))
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
