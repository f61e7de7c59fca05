// Package web serves the pages: what an old phone can read with one bar of
// signal, and what a printer can put on the sugarhouse wall. Every page works
// without script; the script keeps entries while there is no signal and reads
// values out of pictures.
package web

import (
	"bytes"
	"context"
	"embed"
	"html/template"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"path"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/intake"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/cmd/thawline/internal/members"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

//go:embed pages/*.html pages/parts/*.html
var pageFiles embed.FS

// Outlooks are what the daemon knows of its sites and of itself.
type Outlooks interface {
	Outlook(ctx context.Context, site string) *forecast.Outlook
	// Behind reports whether the outlook of a site does not know of all records.
	Behind(ctx context.Context, site string) bool
	Sites() []forecast.Site
	LeftOut() []string
	Standings() (jobs []daemon.Standing, fault string)
	Recipients() daemon.Recipients
	PersonBehind(ctx context.Context, what, token string) string
	Thresholds(ctx context.Context, site string, now time.Time) (settings, tuned alerts.Thresholds, err error)
}

// Records are what was collected, when taps were put in and pulled, and the weather and
// evenings of the past.
type Records interface {
	intake.TapStore
	Visits(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.Stored, error)
	VisitsWithin(ctx context.Context, site string, from, to time.Time, zone *time.Location) ([]archive.Stored, error)
	VisitHours(ctx context.Context, site string, zone *time.Location) ([]time.Time, error)
	Visit(ctx context.Context, id string, zone *time.Location) (archive.Stored, error)
	Remove(ctx context.Context, id string, revision int, by string, now time.Time) error
	Undo(ctx context.Context, id, by string, now time.Time) error
	Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error)
	HoursKept(ctx context.Context, place string) (first, last time.Time, err error)
	BriefMark(ctx context.Context, site, place string) (string, error)
	SeasonMarks(ctx context.Context, site, place string, spans ...archive.Span) ([]string, error)
	PastDays(ctx context.Context, site string, into any) error
	PutPastDays(ctx context.Context, site string, days any) error
}

// Messages are what people were told.
type Messages interface {
	RecentOf(ctx context.Context, sites []string, most int) ([]ledger.Delivery, error)
	Decision(ctx context.Context, id string) (alerts.Decision, time.Time, []ledger.Delivery, error)
	Attempts(ctx context.Context, delivery string) ([]ledger.Attempt, error)
	Acknowledge(ctx context.Context, delivery string, now time.Time) error
	PushKeys(ctx context.Context) (private, public string, err error)
	Asked(ctx context.Context, site, person string, since time.Time) (alerts.Verdict, error)
	Answer(ctx context.Context, site, warning string, answer alerts.Answer, by string, now time.Time) error
	Verdicts(ctx context.Context, site string, since time.Time) ([]alerts.Verdict, error)
	Warnings(ctx context.Context, site string, kinds []alerts.Kind, since time.Time) ([]alerts.Told, error)
}

// Pages are what a browser is shown.
type Pages struct {
	Version  string // of the program: what another one worked out of past seasons is not shown
	Outlooks Outlooks
	PlaceKey func(*forecast.Site) string // under which a site's weather is kept
	Records  Records
	Past     lookback.Archive
	Taught   lookback.Taught
	Intake   intake.Service
	Messages Messages
	Auth     *auth.Service
	Log      *slog.Logger
	Now      func() time.Time
	Office   Office        // what the desk shows beside members
	Desk     *members.Desk // nil where the database keeps no members

	settings atomic.Pointer[Settings]
	past     pastSeasons
	drawn    drawn
	reviews  reviews
	springs  springs
	visited  visited
	oneFile  sync.Mutex // held while a file of records is read: one at a time
	bush     []bushPage // pages of a bush that phones keep, by the routes
}

// Settings are what pages go by; SetSettings replaces them while they are served.
type Settings struct {
	Usual     message.Reader            // for a browser that asks for nothing
	Readers   map[string]message.Reader // of people, by id
	Names     map[string]string         // of people, by id
	Catalogue *message.Catalogue
	PerDay    map[string]float64 // questions that a service may be asked in a day
}

// SetSettings takes settings.
func (p *Pages) SetSettings(s Settings) { p.settings.Store(&s) }

// UsualWords are the words for those who ask for none.
func (p *Pages) UsualWords() (*message.Words, error) {
	s := p.settings.Load()
	return s.Catalogue.Words(s.Usual)
}

// WordsIn are the words in a language that a program accepts, English where it names none
// that is there; volumes are litres.
func (p *Pages) WordsIn(accepted string) (*message.Words, error) {
	s := p.settings.Load()
	reader := message.Reader{Language: "en", Units: units.Metric}
	if accepted != "" {
		reader.Language = s.matched(accepted, reader.Language)
	}
	return s.Catalogue.Words(reader)
}

// Register adds the pages to a router.
func (p *Pages) Register(r chi.Router) {
	r.Use(middleware.Compress(5, "text/html", "text/css", "text/javascript", "application/json", "application/manifest+json",
		"image/svg+xml", "text/csv", "text/calendar"))
	p.Auth.Faults = p.fault
	p.files(r)
	p.comeIn(r)
	viewer := r.With(p.need(auth.Viewer))
	viewer.Get("/", p.home)
	viewer.Get("/status", p.status)
	viewer.Get("/pages.json", p.pagesJSON)
	viewer.Get("/offline", p.offline)
	viewer.Route("/site/{site}", func(r chi.Router) {
		r.Get("/", p.tonight)
		r.Get("/flow", p.flow)
		r.Get("/flow.png", p.flowPNG)
		r.Get("/flow.csv", p.flowCSV)
		r.Get("/season", p.season)
		r.Get("/boil", p.boil)
		r.Get("/pan", p.pan)
		r.Get("/sugar", p.sugar)
		r.Get("/school", p.school)
		r.Get("/school.ics", p.schoolICS)
		r.Get("/class", p.class)
		r.Get("/skill", p.skill)
		r.Get("/review", p.review)
		r.Get("/wall", p.wall)
		r.Get("/more", p.more)
		r.Get("/rounds", p.rounds)
		r.Get("/latest", p.latest)
		r.Get("/records", p.records)
		r.Get("/records.csv", p.recordsCSV)
		r.Get("/observations.csv", p.observationsCSV)
		crew := r.With(p.need(auth.Crew))
		crew.Get("/messages", p.told)
		crew.Post("/entries", p.enter)
		crew.Post("/undo", p.takeBack)
		crew.Post("/attendance", p.attend)
		crew.Post("/taps", p.taps)
		crew.Post("/house", p.house)
		crew.Post("/class", p.guess)
		crew.Post("/observations", p.observe)
		crew.Post("/seen", p.seen)
		crew.Post("/answer", p.answer)
		keeper := r.With(p.need(auth.Keeper))
		keeper.Post("/records/{id}", p.changeRecord)
		keeper.Post("/school", p.bookClass)
		keeper.Post("/records/import", p.importRecords)
	})
	keeper := r.With(p.need(auth.Keeper), p.ofAll)
	keeper.Get("/people", p.people)
	keeper.Post("/people", p.letIn)
	p.desk(keeper)
	var err error
	if p.bush, err = bushPages(r); err != nil {
		p.Log.Error("phones keep no pages", "error", err)
	}
	r.NotFound(p.need(auth.Viewer)(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
	})).ServeHTTP)
}

// ofAll keeps what concerns all sites from those who see only some.
func (p *Pages) ofAll(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !auth.From(r.Context()).SeesAll() {
			p.fault(w, r, http.StatusForbidden, "fault_all_sites")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (p *Pages) need(role auth.Role) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler { return p.Auth.RequireRole(role, next) }
}

// templates are the pages by the names of their files.
var templates = parse()

var functions = template.FuncMap{"mark": markOf, "blocks": blocksOf}

// page is a template that is parsed when it is first shown: all of them take 8 MB, and
// longer than anything else at a start.
type page func() *template.Template

// Execute fills it in.
func (p page) Execute(w io.Writer, data any) error { return p().Execute(w, data) }

func parse() map[string]page {
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic(err) // the pattern is wrong
	}
	out := map[string]page{}
	for _, file := range files {
		out[strings.TrimSuffix(path.Base(file), ".html")] = sync.OnceValue(func() *template.Template {
			return template.Must(template.New("frame.html").Funcs(functions).ParseFS(pageFiles, "pages/parts/*.html", file))
		})
	}
	return out
}

// policy allows what this address serves and nothing else: no script or style
// within a page, no other host.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// send fills a page into the frame. Nothing is sent unless all of it could be
// made.
func (p *Pages) send(w http.ResponseWriter, r *http.Request, status int, name string, v *view) {
	var body bytes.Buffer
	if err := templates[name].Execute(&body, v); err != nil {
		p.Log.Error("a page could not be made", "page", name, "path", r.URL.Path, "error", err)
		body.Reset()
		v.Title, v.Body = v.T("fault_title"), v.T("fault_here")
		if err := templates["fault"].Execute(&body, v); err != nil {
			http.Error(w, "not now", http.StatusInternalServerError)
			return
		}
		status = http.StatusInternalServerError
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "private, no-cache")
	h.Add("Vary", "Accept-Language, Cookie")
	if len(v.pieces) > 0 {
		v.sendParted(w, r, status, body.String())
		return
	}
	w.WriteHeader(status)
	_, _ = io.WriteString(w, message.Tied(message.Settle(body.String()), v.Lang))
}

// fault shows what went wrong in the reader's words.
func (p *Pages) fault(w http.ResponseWriter, r *http.Request, status int, key string) {
	v := p.view(w, r, "")
	v.Title, v.Body, v.LogIn = v.T("fault_title"), v.T(key), status == http.StatusUnauthorized
	p.send(w, r, status, "fault", v)
}

// failed logs what the visitor can do nothing about.
func (p *Pages) failed(w http.ResponseWriter, r *http.Request, err error) {
	p.Log.Error("a page failed", "path", r.URL.Path, "error", err)
	p.fault(w, r, http.StatusInternalServerError, "fault_here")
}
