package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"golang.org/x/text/language"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/units"
)

// view is what every page is filled from.
type view struct {
	Lang, Base, Path, Title string
	Identity                auth.Identity
	Site                    *forecast.Site // nil on pages of no site
	Sites                   []link
	Menu                    []link
	Tongues                 []link
	Systems                 []link
	Notice                  string // what came of a form
	Undo                    int64  // the entry that the notice is about and that can be taken back; 0 for none
	Wrong                   string // what was wrong with it
	Bare                    bool   // without menu: before somebody is let in
	Now                     string // when the page was made, in the bush's own time
	InMore                  string // how the place "more" is marked as the current one, "" where it is not
	Since                   string // what was written down after the outlook was made
	Stopped                 string // where no weather can be used any more
	LogIn                   bool   // leads to the login
	Body                    any

	words     *message.Words
	reader    message.Reader     // whose words they are
	catalogue *message.Catalogue // from which
	pieces    []*piece           // that stand in the page
	// Direction is how the language is written, "ltr" or "rtl".
	Direction string
	system    units.System
}

type link struct {
	Href, Text, Lang string
	Here             bool
	More             bool // behind "more" on a phone
}

// T says a key in the reader's language; values come as pairs of name and value.
func (v *view) T(key string, pairs ...any) string {
	return v.words.Say(key, paired(pairs))
}

func paired(pairs []any) map[string]any {
	values := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if name, ok := pairs[i].(string); ok {
			values[name] = pairs[i+1]
		}
	}
	return values
}

// N says a key that depends on a number, which is filled in as N.
func (v *view) N(key string, n int, pairs ...any) string {
	return v.words.PluralWith(key, n, paired(pairs))
}

// At is the address of a page of the site.
func (v *view) At(page string) string {
	if v.Site == nil {
		return v.Base + "/"
	}
	return v.Base + "/site/" + url.PathEscape(v.Site.ID) + page
}

// With is the view with another body, for a part of a page.
func (v *view) With(body any) *view {
	part := *v
	part.Body = body
	return &part
}

// May reports whether the visitor has a role.
func (v *view) May(role string) bool { return v.Identity.Role.May(auth.Role(role)) }

// Volume is litres in the reader's unit, with its name.
func (v *view) Volume(litres float64) string {
	n, unit := v.words.Volume(litres)
	return n + " " + unit
}

// Unit is the name of the reader's unit of volume.
func (v *view) Unit() string { return v.words.VolumeUnit() }

// System names the reader's units, for forms.
func (v *view) System() string { return string(v.system) }

// Head is the name at the head of a page: the bush's, or the program's.
func (v *view) Head() string {
	if v.Site == nil {
		return "thawline"
	}
	return v.Site.Name
}

// Day is a weekday and date.
func (v *view) Day(t time.Time) string { return v.words.Weekday(t) + " " + v.words.Date(t) }

// ShortDay is a weekday, shortened, and date.
func (v *view) ShortDay(t time.Time) string { return v.words.ShortWeekday(t) + " " + v.words.Date(t) }

// Moment is a weekday, date and time of day.
func (v *view) Moment(t time.Time) string { return v.ShortDay(t) + " " + v.words.Time(t) }

// notices are what an address may say that came of a form.
var notices = []string{"done_going", "done_away", "done_attend_undone", "done_pulled", "done_tapped", "done_taps_undone", "done_house",
	"done_house_undone", "done_class", "done_class_undone", "done_observed", "done_observed_undone", "done_seen", "done_answered",
	"done_corrected", "done_removed", "done_undone", "done_password", "done_withdrawn", "done_member"}

// mostListed is how many bushes the head of a page lists.
const mostListed = 12

const (
	cookieName = "thawline-reads"
	yearLong   = 365 * 24 * 3600
)

// reader is who looks: what the address asks for comes first and is kept on the
// phone, then what was kept, then what is known of the person, then what the
// browser asks for.
func (p *Pages) reader(w http.ResponseWriter, r *http.Request, who *auth.Identity) message.Reader {
	s := p.settings.Load()
	known := map[string]bool{}
	for _, t := range s.Catalogue.Languages() {
		known[t.Tag] = true
	}
	reader := s.Usual
	if asked := r.Header.Get("Accept-Language"); asked != "" {
		reader.Language = s.matched(asked, reader.Language)
	}
	if of, ok := s.Readers[who.Person]; ok {
		reader = of
	}
	take := func(language, system string) {
		if known[language] {
			reader.Language = language
		}
		if u, err := units.ParseSystem(system); err == nil {
			reader.Units = u
		}
	}
	if kept, err := r.Cookie(cookieName); err == nil {
		language, system, _ := strings.Cut(kept.Value, ".")
		take(language, system)
	}
	query := r.URL.Query()
	if query.Has("lang") || query.Has("units") {
		take(query.Get("lang"), query.Get("units"))
		http.SetCookie(w, &http.Cookie{Name: cookieName, Value: reader.Language + "." + string(reader.Units), Path: "/",
			MaxAge: yearLong, SameSite: http.SameSiteLaxMode, HttpOnly: true, Secure: r.TLS != nil})
	}
	return reader
}

func (s *Settings) matched(asked, otherwise string) string {
	list := s.Catalogue.Languages()
	var tags []language.Tag
	for _, t := range list {
		tags = append(tags, language.Make(t.Tag))
	}
	want, _, err := language.ParseAcceptLanguage(asked)
	if err != nil {
		return otherwise
	}
	if _, i, sure := language.NewMatcher(tags).Match(want...); sure != language.No {
		return list[i].Tag
	}
	return otherwise
}

// speakTo turns a page to the language of a person whose own address it is,
// unless the address asks for another.
func (p *Pages) speakTo(v *view, r *http.Request, person string) {
	s := p.settings.Load()
	of, known := s.Readers[person]
	if !known || r.URL.RawQuery != "" {
		return
	}
	if words, err := s.Catalogue.Words(of); err == nil {
		v.words, v.Lang, v.Direction, v.reader = words.Open(), words.Language(), words.Direction(), of
	}
}

// menu are the pages of a site. Four places and "more" fit a phone.
var menu = []struct {
	page, key string
	need      auth.Role
	more      bool
}{
	{"", "nav_outlook", auth.Viewer, false}, {"/rounds", "nav_rounds", auth.Viewer, false}, {"/boil", "nav_boil", auth.Viewer, false},
	{"/season", "nav_season", auth.Viewer, false}, {"/flow", "nav_flow", auth.Viewer, true}, {"/records", "nav_records", auth.Viewer, true},
	{"/skill", "nav_skill", auth.Viewer, true}, {"/wall", "nav_wall", auth.Viewer, true}, {"/messages", "nav_messages", auth.Crew, true},
}

// view begins a page; here is its place in the menu.
func (p *Pages) view(w http.ResponseWriter, r *http.Request, here string) *view {
	v := &view{Identity: auth.From(r.Context()), Base: p.Auth.Base(), Path: r.URL.Path, Title: "thawline"}
	reader := p.reader(w, r, &v.Identity)
	v.system, v.reader = reader.Units, reader
	s := p.settings.Load()
	words, err := s.Catalogue.Words(reader)
	if err != nil { // the catalogue was checked when it was loaded
		p.Log.Error("a page has no words", "language", reader.Language, "error", err)
		words, _ = s.Catalogue.Words(s.Usual)
	}
	v.words, v.Lang, v.Direction, v.catalogue = words.Open(), words.Language(), words.Direction(), s.Catalogue
	v.choices(r, s.Catalogue.Languages(), reader.Units)
	if v.Identity.Role == auth.Nobody {
		v.Bare = true
		return v
	}
	sites := p.Outlooks.Sites()
	id := chi.URLParam(r, "site")
	v.seen(sites, id, here)
	if v.Site != nil {
		v.Title, v.Now = v.Site.Name, v.Moment(p.Now().In(v.Site.Zone))
	}
	v.fillMenu(here, id != "", len(sites) > 1)
	if key := r.URL.Query().Get("done"); slices.Contains(notices, key) {
		v.Notice = v.T(key)
	}
	return v
}

// Tab is what a browser's tab and history call the page: its place in the menu too, where
// the title is no more than the bush's name (WCAG 2.2, 2.4.2).
func (v *view) Tab() string {
	if v.Site == nil || v.Title != v.Site.Name {
		return v.Title
	}
	if v.InMore == "page" {
		return v.T("nav_more") + " · " + v.Title
	}
	for _, one := range v.Menu {
		if one.Here {
			return one.Text + " · " + v.Title
		}
	}
	return v.Title
}

// choices links the page to itself in other languages and units.
func (v *view) choices(r *http.Request, languages []message.Tongue, now units.System) {
	again := func(name, value string) string {
		q := url.Values{}
		for k, values := range r.URL.Query() {
			if k != "lang" && k != "units" && k != "done" && k != "entry" {
				q[k] = values
			}
		}
		q.Set(name, value)
		return v.Base + r.URL.Path + "?" + q.Encode()
	}
	for _, t := range languages {
		v.Tongues = append(v.Tongues, link{Href: again("lang", t.Tag), Text: t.OwnName, Lang: t.Tag, Here: t.Tag == v.Lang})
	}
	for _, u := range []units.System{units.US, units.Imperial, units.Metric} {
		v.Systems = append(v.Systems, link{Href: again("units", string(u)), Text: v.T("units_" + string(u)), Here: u == now})
	}
}

// seen lists the sites that somebody may see; the page is of the one of that id, or of the
// first without an id.
func (v *view) seen(sites []forecast.Site, id, here string) {
	for i := range sites {
		if !v.Identity.Sees(sites[i].ID) {
			continue
		}
		if sites[i].ID == id || id == "" && v.Site == nil {
			v.Site = &sites[i]
		}
	}
	for i := range sites {
		if v.Identity.Sees(sites[i].ID) && len(v.Sites) <= mostListed {
			v.Sites = append(v.Sites, link{Href: v.Base + "/site/" + url.PathEscape(sites[i].ID) + here, Text: sites[i].Name,
				Here: v.Site != nil && sites[i].ID == v.Site.ID})
		}
	}
}

// fillMenu lists the pages that somebody may see: of the site, where there is one, and of all.
func (v *view) fillMenu(here string, ofSite, several bool) {
	if v.Site != nil {
		for _, m := range menu {
			if v.Identity.Role.May(m.need) {
				v.Menu = append(v.Menu, link{Href: v.At(m.page), Text: v.T(m.key), Here: ofSite && m.page == here, More: m.more})
			}
		}
	}
	v.Menu = append(v.Menu, link{Href: v.Base + "/status", Text: v.T("nav_status"), Here: here == "status", More: true})
	if v.May("keeper") && v.Identity.SeesAll() && !v.Identity.Open {
		v.Menu = append(v.Menu, link{Href: v.Base + "/people", Text: v.T("nav_people"), Here: here == "people", More: true})
	}
	if v.May("keeper") && v.Identity.SeesAll() && several {
		v.Menu = append(v.Menu, link{Href: v.Base + "/desk", Text: v.T("desk_title"), Here: here == "desk", More: true})
	}
	for _, one := range v.Menu {
		if one.More && one.Here {
			v.InMore = "true"
		}
	}
	if here == "/more" {
		v.InMore = "page"
	}
}

// ofSite begins a page of the site in the address; nil, with the answer given,
// if there is none such that the visitor may see.
func (p *Pages) ofSite(w http.ResponseWriter, r *http.Request, here string) *view {
	v := p.view(w, r, here)
	if id := chi.URLParam(r, "site"); v.Site == nil || v.Site.ID != id {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return nil
	}
	return v
}
