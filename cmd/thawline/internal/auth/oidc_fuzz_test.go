package auth

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"thawline/forecast/archive"
	"thawline/forecast/secret"
)

// FuzzProviderBack comes back from a hostile provider, with whatever query and whatever
// answers to what it is asked then: nobody gets in without a token that its key has signed.
func FuzzProviderBack(f *testing.F) {
	for _, s := range [][4]string{
		{"state=STATE&code=1", `{"access_token":"a","token_type":"Bearer","id_token":"e30.e30.e30"}`, `{"keys":[]}`,
			`{"sub":"id1","roles":["keeper"]}`},
		{"state=STATE&code=1", `{"access_token":"a","id_token":"eyJhbGciOiJub25lIn0.eyJzdWIiOiJpZDEifQ."}`,
			`{"keys":[{"kty":"oct","k":"AA"}]}`, `{}`},
		{"state=STATE&code=1&state=x", `access_token=a&id_token=x`, `[]`, ``},
		{"state=STATE&error=access_denied", `{"error":"invalid_grant"}`, `nil`, `{"sub":1}`},
		{"state=&code=1", ``, ``, ``}, {"%zz&state=STATE;code=1", `{}`, `{`, `\x00`},
	} {
		f.Add(s[0], s[1], s[2], s[3])
	}
	var token, keys, info string
	var idp *httptest.Server
	idp = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		switch r.URL.Path {
		case "/.well-known/openid-configuration":
			_ = json.NewEncoder(w).Encode(map[string]any{"issuer": idp.URL, "authorization_endpoint": idp.URL + "/auth",
				"token_endpoint": idp.URL + "/token", "jwks_uri": idp.URL + "/keys", "userinfo_endpoint": idp.URL + "/info"})
		case "/token":
			_, _ = w.Write([]byte(token))
		case "/keys":
			_, _ = w.Write([]byte(keys))
		default:
			_, _ = w.Write([]byte(info))
		}
	}))
	f.Cleanup(idp.Close)
	a, err := archive.Open(f.Context(), filepath.Join(f.TempDir(), "x.db"))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = a.Close() })
	var g *bush
	f.Fuzz(func(t *testing.T, query, tokenSays, keysSay, infoSays string) {
		if g == nil { // one for all
			g = openedOn(t, a, Settings{})
			g.SetSettings(Settings{Link: "http://127.0.0.1", People: people,
				Provider: Provider{Issuer: idp.URL, ClientID: "thawline", Secret: secret.New("s"), RolesClaim: "roles",
					PersonClaim: "sub"}})
		}
		token, keys, info = tokenSays, keysSay, infoSays
		var state string
		var got Identity
		in := false
		pages := g.Middleware(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			switch r.URL.Path {
			case "/login/provider":
				to, err := g.BeginProvider(r, "/desk")
				if err != nil {
					t.Fatal(err)
				}
				address, err := url.Parse(to)
				if err != nil {
					t.Fatal(err)
				}
				state = address.Query().Get("state")
			case "/login/provider/back":
				_, err := g.EndProvider(r)
				in = err == nil
			default:
				got = From(r.Context())
			}
		}))
		var cookies []*http.Cookie
		ask := func(path, query string) {
			r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil)
			r.URL.RawQuery = query
			for _, c := range cookies {
				r.AddCookie(c)
			}
			w := httptest.NewRecorder()
			pages.ServeHTTP(w, r)
			cookies = append(cookies, w.Result().Cookies()...)
		}
		ask("/login/provider", "")
		ask("/login/provider/back", strings.ReplaceAll(query, "STATE", state))
		ask("/who", "")
		if in || got.Role != Nobody || got.Person != "" {
			t.Errorf("%q lets %s in as %q", query, got.Person, got.Role)
		}
	})
}
