package web

import (
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
)

type peopleBody struct {
	Query         string
	How           string // where people are listed, and what an invitation does
	People        []personRow
	More          int // how many people are not shown
	Links, Tokens []grantRow
	Fresh         string // an address or token that is shown this once
	FreshIs       string
	QR            template.HTML // of an address, for a phone's camera
	Scopes        []auth.Scope
	AllSites      []forecast.Site
	MoreSites     int // that can't be chosen
}

type personRow struct {
	ID, Name, Role string
	Login          bool
}

type grantRow struct {
	ID, Name, What, Until, Withdraw string
	Ended                           bool
}

// people is where keepers let others in: passwords, links for the crew, tokens
// for programs.
func (p *Pages) people(w http.ResponseWriter, r *http.Request) {
	p.peoplePage(w, r, http.StatusOK, "", "", "")
}

func (p *Pages) peoplePage(w http.ResponseWriter, r *http.Request, status int, wrong, fresh, is string) {
	v := p.view(w, r, "people")
	v.Title, v.Wrong = v.T("nav_people"), wrong
	b := &peopleBody{Fresh: fresh, FreshIs: is, Scopes: auth.Scopes(), Query: strings.TrimSpace(r.URL.Query().Get("q"))}
	if b.How = v.T("people_list_how"); p.Desk != nil {
		b.How = v.T("people_list_how_members")
	}
	if strings.Contains(fresh, "://") {
		b.QR = qrOf(fresh)
	}
	have, err := p.Auth.HaveAccounts(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.find(p.Auth.People(), p.Outlooks.Sites(), func(person *auth.Person) personRow {
		return personRow{person.ID, person.Name, v.T("role_" + string(person.Role)), have[person.ID]}
	})
	links, err := p.Auth.Links(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for _, l := range links {
		b.Links = append(b.Links, grantRow{l.ID, l.Name, v.T("role_" + string(l.Role)), v.until(l.ExpiresAt), v.T("people_withdraw"),
			!l.Good(time.Now())})
	}
	tokens, err := p.Auth.Tokens(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for _, t := range tokens {
		var scopes []string
		for _, s := range t.Scopes {
			scopes = append(scopes, string(s))
		}
		b.Tokens = append(b.Tokens, grantRow{t.ID, t.Name, strings.Join(scopes, ", "), v.until(t.ExpiresAt), v.T("people_withdraw"),
			!t.Good(time.Now())})
	}
	v.Body = b
	p.send(w, r, status, "people", v)
}

// find lists the people of whom, or of whose bushes, name or id has what is looked for, and the
// bushes of which that is so, all where it is so of none; of each as many as a page shows.
func (b *peopleBody) find(people []auth.Person, sites []forecast.Site, row func(*auth.Person) personRow) {
	found := map[string]bool{}
	for i := range sites {
		if !contains(b.Query, sites[i].Name, sites[i].ID) {
			continue
		}
		found[sites[i].ID] = true
		if len(b.AllSites) < mostMembers {
			b.AllSites = append(b.AllSites, sites[i])
		}
	}
	b.MoreSites = len(found) - len(b.AllSites)
	if len(found) == 0 {
		b.AllSites = sites[:min(mostMembers, len(sites))]
		b.MoreSites = len(sites) - len(b.AllSites)
	}
	for i := range people {
		one := &people[i]
		if !contains(b.Query, one.Name, one.ID) && !slices.ContainsFunc(one.Sites, func(id string) bool { return found[id] }) {
			continue
		}
		if len(b.People) == mostMembers {
			b.More++
			continue
		}
		b.People = append(b.People, row(one))
	}
}

func (v *view) until(t time.Time) string {
	zone := time.UTC
	if v.Site != nil {
		zone = v.Site.Zone
	}
	return v.words.Date(t.In(zone)) + " " + strconv.Itoa(t.In(zone).Year())
}

// reached is the whole address of a path: that of the settings, else the one by
// which the keeper has come in.
func (p *Pages) reached(r *http.Request, path string) string {
	if address := p.Auth.Address(path); address != path {
		return address
	}
	return "http://" + r.Host + path
}

// allSites is how a form says that a link or token is for all bushes: a token is for one
// unless somebody chose that.
const allSites = "*"

// letIn makes and withdraws what lets others in.
func (p *Pages) letIn(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "people")
	days, err := strconv.Atoi(r.PostFormValue("days"))
	if err != nil || days < 1 || days > 120 {
		days = 7
	}
	name := strings.TrimSpace(r.PostFormValue("name"))
	site := r.PostFormValue("site")
	if site == allSites {
		site = ""
	} else if known := slices.ContainsFunc(p.Outlooks.Sites(), func(s forecast.Site) bool { return s.ID == site }); !known &&
		(site != "" || r.PostFormValue("do") == "token") {
		p.peoplePage(w, r, http.StatusUnprocessableEntity, v.T("people_no_site"), "", "")
		return
	}
	var fresh, is string
	switch r.PostFormValue("do") {
	case "invite":
		fresh, err = p.Auth.MakeLink(r.Context(), auth.Link{Kind: auth.PasswordLink, Person: r.PostFormValue("person"), Days: 3},
			v.Identity.Name)
		fresh, is = p.reached(r, "/l/"+fresh), "people_fresh_invite"
	case "link":
		if name == "" {
			p.peoplePage(w, r, http.StatusUnprocessableEntity, v.T("people_name_missing"), "", "")
			return
		}
		fresh, err = p.Auth.MakeLink(r.Context(),
			auth.Link{Kind: auth.CrewLink, Name: name, Role: auth.Role(r.PostFormValue("role")), Site: site, Days: days}, v.Identity.Name)
		fresh, is = p.reached(r, "/l/"+fresh), "people_fresh_link"
	case "token":
		if name == "" {
			p.peoplePage(w, r, http.StatusUnprocessableEntity, v.T("people_name_missing"), "", "")
			return
		}
		var scopes []auth.Scope
		for _, s := range r.PostForm["scope"] {
			scopes = append(scopes, auth.Scope(s))
		}
		fresh, err = p.Auth.MakeToken(r.Context(), auth.Token{Name: name, Scopes: scopes, Site: site, Days: days}, v.Identity.Name)
		is = "people_fresh_token"
	case "withdraw":
		err = p.Auth.Withdraw(r.Context(), r.PostFormValue("id"))
	default:
		p.fault(w, r, http.StatusBadRequest, "entry_wrong_form")
		return
	}
	if err != nil {
		p.peoplePage(w, r, http.StatusUnprocessableEntity, v.words.Phrase(err.Error()), "", "")
		return
	}
	if fresh == "" || is == "" {
		http.Redirect(w, r, v.Base+"/people?done=done_withdrawn", http.StatusSeeOther)
		return
	}
	p.peoplePage(w, r, http.StatusOK, "", fresh, v.T(is))
}
