package auth

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// bush is the service with pages behind it, and a clock that the test turns.
type bush struct {
	*Service
	server *httptest.Server
	mu     sync.Mutex
	at     time.Time
}

func (b *bush) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.at
}

func (b *bush) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.at = b.at.Add(d)
}

var people = []Person{{"wren", "Wren", Keeper, nil}, {"odell", "Odell", Crew, nil}, {"ida", "Ida", Viewer, []string{"hill"}}}

func opened(t *testing.T, s Settings) *bush {
	t.Helper()
	a, err := archive.Open(context.Background(), beside.Where(t, filepath.Join(t.TempDir(), "x.db")))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return openedOn(t, a, s)
}

// openedOn is opened on an archive that is open already.
func openedOn(t *testing.T, a *archive.Archive, s Settings) *bush {
	t.Helper()
	b := &bush{at: time.Now()}
	b.Service = New(a.DB(), func(context.Context) ([]byte, error) { return []byte("the key of this installation"), nil },
		slog.New(slog.DiscardHandler), b.clock)
	b.pause = func(_ context.Context, d time.Duration) error { b.pass(d); return nil }
	if s.People == nil {
		s.People = people
	}
	b.SetSettings(s)
	mux := http.NewServeMux()
	mux.Handle("GET /{$}", b.RequireRole(Viewer, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		fmt.Fprintf(w, "%s %s %s", v.Person, v.Role, v.Site)
	})))
	mux.Handle("POST /crew", b.RequireRole(Crew, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := r.ParseForm(); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		fmt.Fprint(w, "done")
	})))
	mux.Handle("GET /keeper", b.RequireRole(Keeper,
		http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "kept") })))
	mux.Handle("GET /sees", b.RequireRole(Viewer, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		if v.SeesAll() {
			fmt.Fprint(w, "sees all")
			return
		}
		fmt.Fprint(w, "sees "+strings.Join(v.Sites, " "))
	})))
	mux.HandleFunc("GET /broken", func(http.ResponseWriter, *http.Request) { panic("broken") })
	mux.HandleFunc("GET /api/who", func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		fmt.Fprintf(w, "%s %v %t %t", v.Name, v.Role, v.Can(ReadRecords), v.Can(WriteRecords))
	})
	mux.HandleFunc("POST /login", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.Login(w, r, r.PostFormValue("person"), r.PostFormValue("password")))
	})
	mux.HandleFunc("POST /setup", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.SetUp(w, r, r.PostFormValue("code"), r.PostFormValue("person"), r.PostFormValue("password")))
	})
	mux.HandleFunc("POST /l/{link}", func(w http.ResponseWriter, r *http.Request) {
		_, _, err := b.EnterLink(r, r.PathValue("link"))
		b.say(w, err)
	})
	mux.HandleFunc("POST /password", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.ChangePassword(w, r, r.PostFormValue("old"), r.PostFormValue("password")))
	})
	b.server = httptest.NewServer(b.Middleware(mux))
	t.Cleanup(b.server.Close)
	return b
}

func (b *bush) say(w http.ResponseWriter, err error) {
	var wait ErrThrottled
	switch {
	case errors.As(err, &wait):
		http.Error(w, err.Error(), http.StatusTooManyRequests)
	case err != nil:
		http.Error(w, err.Error(), http.StatusUnauthorized)
	}
}

// phone is a browser with cookies of its own.
type phone struct {
	t *testing.T
	b *bush
	c *http.Client
}

func (b *bush) phone(t *testing.T) *phone {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &phone{t, b, &http.Client{Jar: jar,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (p *phone) ask(method, path string, form url.Values, change func(*http.Request)) (int, string, http.Header) {
	p.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(p.t.Context(), method, p.b.server.URL+path, body)
	if err != nil {
		p.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if change != nil {
		change(r)
	}
	answer, err := p.c.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	said, err := io.ReadAll(answer.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return answer.StatusCode, strings.TrimSpace(string(said)), answer.Header
}

func (p *phone) must(want int, method, path string, form url.Values, change func(*http.Request)) string {
	p.t.Helper()
	status, said, _ := p.ask(method, path, form, change)
	if status != want {
		p.t.Errorf("%s %s: %d %q, not %d", method, path, status, said, want)
	}
	return said
}

func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

const goodPassword = "three plain words"

// setUp makes Wren the first keeper, on a phone of hers.
func (b *bush) setUp(t *testing.T) *phone {
	t.Helper()
	code, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	p := b.phone(t)
	p.must(200, "POST", "/setup", url.Values{"code": {strings.ToLower(code)}, "person": {"wren"}, "password": {goodPassword}}, nil)
	return p
}

var elsewhere = Settings{Listen: "0.0.0.0:8787"}
