// Package api is /api/v1: outlooks, records in and out, and messages, for
// programs. It is described by OpenAPI 3.1 at /api/v1/openapi.json.
package api

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/go-chi/chi/v5"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/cmd/thawline/internal/members"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// Records are what was collected, and when taps were put in and pulled.
type Records interface {
	intake.TapStore
	Visits(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.Stored, error)
	Visit(ctx context.Context, id string, zone *time.Location) (archive.Stored, error)
	Remove(ctx context.Context, id string, revision int, by string, now time.Time) error
	Undo(ctx context.Context, id, by string, now time.Time) error
}

// Messages are what people were told.
type Messages interface {
	RecentOf(ctx context.Context, sites []string, most int) ([]ledger.Delivery, error)
	Decision(ctx context.Context, id string) (alerts.Decision, time.Time, []ledger.Delivery, error)
	Acknowledge(ctx context.Context, delivery string, now time.Time) error
	Answer(ctx context.Context, site, warning string, answer alerts.Answer, by string, now time.Time) error
	Verdicts(ctx context.Context, site string, since time.Time) ([]alerts.Verdict, error)
	Warnings(ctx context.Context, site string, kinds []alerts.Kind, since time.Time) ([]alerts.Told, error)
}

// Backend is what the API answers from.
type Backend struct {
	Outlook func(ctx context.Context, site string) *forecast.Outlook
	Sites   func() []forecast.Site
	Words   func() (*message.Words, error) // in which an outlook's texts are
	// WordsIn are the words in a language that a program accepts, English where it names
	// none that is there; volumes are litres.
	WordsIn  func(accepted string) (*message.Words, error)
	Records  Records
	Intake   intake.Service
	Messages Messages
	// Thresholds are those of the settings, and those that a site's answers have led to.
	Thresholds func(ctx context.Context, site string, now time.Time) (settings, tuned alerts.Thresholds, err error)
	Now        func() time.Time
	Log        *slog.Logger
	Desk       *members.Desk // nil where the database keeps no members
}

// Version is that of the API; what it says only grows within it.
const Version = "1.0.0"

const prefix = "/api/v1"

// Register adds the API to a router.
func Register(r chi.Router, b Backend) huma.API {
	c := huma.DefaultConfig("thawline", Version)
	c.OpenAPIPath, c.SchemasPath, c.DocsPath = prefix+"/openapi", prefix+"/schemas", "" // a page of documents would ask another host
	c.Info.Description = "When maple sap runs: outlooks, records, messages. Volumes are litres, temperatures °C, times RFC 3339. A forecast is an estimate."
	c.Info.License = &huma.License{Name: "Apache-2.0", Identifier: "Apache-2.0"}
	c.Servers = []*huma.Server{{URL: "/", Description: "this address; below the base path, if there is one"}}
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{"token": {Type: "http", Scheme: "bearer",
		Description: "A token that a keeper has made. Each operation names the scope that it needs."}}
	c.CreateHooks = nil // no links to schemas within answers
	c.Info.Contact = &huma.Contact{Name: "the keepers of this bush"}
	c.Tags = tags
	inner := chi.NewRouter()
	inner.NotFound(problem(http.StatusNotFound, "there is nothing at this address; "+prefix+"/openapi.json lists what there is"))
	inner.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"} {
			if inner.Match(chi.NewRouteContext(), strings.Replace(method, "HEAD", "GET", 1), r.URL.Path) {
				w.Header().Add("Allow", method)
			}
		}
		problem(http.StatusMethodNotAllowed, "that can't be done here; see Allow for what can")(w, r)
	})
	r.Handle("/api/*", tagged(inner))
	a := humachi.New(inner, c)
	s := &server{Backend: b, api: a}
	s.outlooks()
	s.records()
	s.messages()
	s.verdicts()
	s.attendance()
	s.members()
	describe(a)
	return a
}

type server struct {
	Backend
	api huma.API
}

// scopeOf is the key of an operation's metadata that names its scope.
const scopeOf = "scope"

// add registers an operation behind the scope that it needs: there is no other
// way to register one.
func add[I, O any](s *server, scope auth.Scope, op huma.Operation, handler func(context.Context, *I) (*O, error)) {
	op.Path = prefix + op.Path
	op.Metadata = map[string]any{scopeOf: scope}
	op.Security = []map[string][]string{{"token": {}}}
	op.Description += " Needs the scope `" + string(scope) + "`."
	op.Tags = []string{tagOf(op.OperationID)}
	op.Errors = append(op.Errors, mayFail...)
	switch op.Method {
	case http.MethodGet:
		op.Errors = append(op.Errors, http.StatusNotModified)
	case http.MethodPost, http.MethodPut:
		op.Errors = append(op.Errors, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)
	}
	op.MaxBodyBytes = 1 << 20
	if op.OperationID == "import-members" {
		op.MaxBodyBytes = 8 << 20
	}
	op.Middlewares = huma.Middlewares{func(ctx huma.Context, next func(huma.Context)) {
		v := auth.From(ctx.Context())
		switch {
		case v.Role == auth.Nobody && v.Scopes == nil:
			ctx.SetHeader("WWW-Authenticate", "Bearer")
			_ = huma.WriteErr(s.api, ctx, http.StatusUnauthorized, "a token is needed; a keeper makes one")
		case !v.Can(scope):
			_ = huma.WriteErr(s.api, ctx, http.StatusForbidden, "this needs the scope "+string(scope))
		default:
			next(ctx)
		}
	}}
	huma.Register(s.api, op, handler)
}

// site is one that the visitor may see.
func (s *server) site(ctx context.Context, id string) (*forecast.Site, error) {
	v := auth.From(ctx)
	for _, site := range s.Sites() {
		if site.ID == id && v.Sees(id) {
			return &site, nil
		}
	}
	return nil, huma.Error404NotFound("there is no site " + id + " here")
}

// wordsIn are the words of an answer, open: message.Settle chooses the language of each
// sentence, so that none mixes two.
func (s *server) wordsIn(language string) (*message.Words, error) {
	words, err := s.WordsIn(language)
	if err != nil {
		return nil, err
	}
	return words.Open(), nil
}

// failed logs what a program can do nothing about.
func (s *server) failed(doing string, err error) error {
	s.Log.Error("the API failed", "doing", doing, "error", err)
	return huma.Error503ServiceUnavailable("something went wrong here; try again in a while")
}
