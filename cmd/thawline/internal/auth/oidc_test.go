package auth

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/zitadel/oidc/v3/example/server/exampleop"
	"github.com/zitadel/oidc/v3/example/server/storage"
	"github.com/zitadel/oidc/v3/pkg/oidc"
	"github.com/zitadel/oidc/v3/pkg/op"

	"thawline/forecast/secret"
)

// association is the storage of an OpenID provider that says roles of its people.
type association struct {
	*storage.Storage
	mu    sync.Mutex
	roles []any
}

func (a *association) set(roles ...any) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.roles = roles
}

func (a *association) SetUserinfoFromToken(ctx context.Context, info *oidc.UserInfo, tokenID, subject, origin string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	info.AppendClaims("roles", a.roles)
	return a.Storage.SetUserinfoFromToken(ctx, info, tokenID, subject, origin)
}

// oneUser is the user store of the provider.
type oneUser struct{ storage.UserStore }

func (u oneUser) user() *storage.User {
	return &storage.User{ID: "id1", Username: "robin", Password: "verysecure", FirstName: "Robin", LastName: "Hill",
		Email: "robin@example.org", EmailVerified: true}
}
func (u oneUser) GetUserByID(string) *storage.User       { return u.user() }
func (u oneUser) GetUserByUsername(string) *storage.User { return u.user() }

// A real OpenID provider, started here, lets people in with the roles that it says; a role
// that is taken away there is gone here at the next look.
func TestLoginByProvider(t *testing.T) {
	var provider, pages http.Handler
	idp := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { provider.ServeHTTP(w, r) }))
	defer idp.Close()
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { pages.ServeHTTP(w, r) }))
	defer site.Close()
	storage.RegisterClients(storage.WebClient("thawline", "s3cret", site.URL+"/login/provider/back"))
	office := &association{Storage: storage.NewStorage(oneUser{storage.NewUserStore(idp.URL)})}
	provider = exampleop.SetupServer(idp.URL, office, nil, false, op.WithAllowInsecure())

	g := opened(t, Settings{})
	settings := Settings{Link: site.URL, People: []Person{{ID: "robin", Name: "Robin", Role: Viewer, Sites: []string{"hill"}}},
		Provider: Provider{Issuer: idp.URL, ClientID: "thawline", Secret: secret.New("s3cret"), RolesClaim: "roles",
			PersonClaim: "preferred_username"}}
	g.SetSettings(settings)
	pages = g.Middleware(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/login/provider":
			to, err := g.BeginProvider(r, "/desk")
			if err != nil {
				t.Error(err)
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
		case "/login/provider/back":
			to, err := g.EndProvider(r)
			if err != nil {
				http.Error(w, "no", http.StatusForbidden)
				return
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
		default:
			v := From(r.Context())
			_, _ = io.WriteString(w, string(v.Role)+" "+v.Person+" "+strings.Join(v.Sites, ","))
		}
	}))
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	browser := &http.Client{Jar: jar}
	get := func(address string) (status int, body string, at *url.URL) {
		t.Helper()
		answer, err := browser.Get(address)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer.StatusCode, string(text), answer.Request.URL
	}
	logIn := func() (status int, body string) {
		t.Helper()
		_, _, form := get(site.URL + "/login/provider")
		answer, err := browser.PostForm(idp.URL+"/login/username",
			url.Values{"id": {form.Query().Get("authRequestID")}, "username": {"robin"}, "password": {"verysecure"}})
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer.StatusCode, string(text)
	}
	look := func(want string) {
		t.Helper()
		g.pass(2 * time.Second)
		if _, got, _ := get(site.URL + "/who"); got != want {
			t.Errorf("who asks is %q, want %q", got, want)
		}
	}
	office.set()
	if status, _ := logIn(); status != http.StatusForbidden {
		t.Errorf("without a role: %d", status)
	}
	look("  ")
	office.set("baker", "thawline-crew")
	if status, body := logIn(); status != http.StatusOK || body != "crew robin hill" {
		t.Errorf("as crew: %d %q", status, body)
	}
	rows, err := g.db.QueryContext(t.Context(), `SELECT data FROM web_session`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var data []byte
		if err := rows.Scan(&data); err != nil || bytes.Contains(data, []byte("access_token")) || bytes.Contains(data, []byte("Bearer")) {
			t.Errorf("a token of the provider lies open in the database, %v", err)
		}
	}
	if err := rows.Close(); err != nil {
		t.Fatal(err)
	}
	office.set("keeper")
	look("keeper robin hill")
	office.set("viewer")
	look("viewer robin hill")
	office.set() // taken away
	look("  ")
	office.set("keeper")
	look("keeper robin hill")
	settings.People = nil
	g.SetSettings(settings)
	look("keeper  ")
	office.set("crew") // nobody of the settings, and no keeper: whose bushes would it be
	look("  ")
	if status, _, _ := get(site.URL + "/login/provider/back?state=made-up&code=1"); status != http.StatusForbidden {
		t.Errorf("an answer to no question: %d", status)
	}
	settings.Provider = Provider{}
	g.SetSettings(settings)
	office.set("keeper")
	look("  ")
}
