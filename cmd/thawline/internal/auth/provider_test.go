package auth

import (
	"crypto"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/forecast/secret"
)

// office is an OpenID provider whose tokens end at once, and whose refresh tokens work once
// (RFC 9700, 4.14.2, from memory): one that is used again ends the login there.
type office struct {
	*httptest.Server
	key *rsa.PrivateKey

	mu      sync.Mutex
	asked   map[string]int // times, by path
	used    map[string]bool
	nonce   string
	given   int  // tokens so far
	spoilt  bool // a refresh token came back that had been used
	as      string
	roles   any
	forges  string // the subject of the signed token, where it is another's
	another string // the nonce of the signed token, where it is not the one asked with
}

func openOffice(t *testing.T) *office {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	o := &office{key: key, asked: map[string]int{}, used: map[string]bool{}, as: "robin", roles: "keeper"}
	o.Server = httptest.NewServer(o)
	t.Cleanup(o.Close)
	return o
}

func (o *office) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.asked[r.URL.Path]++
	answer := map[string]any{}
	switch r.URL.Path {
	case "/.well-known/openid-configuration":
		answer = map[string]any{"issuer": o.URL, "authorization_endpoint": o.URL + "/auth", "token_endpoint": o.URL + "/token",
			"jwks_uri": o.URL + "/keys", "userinfo_endpoint": o.URL + "/info", "id_token_signing_alg_values_supported": []string{"RS256"}}
	case "/keys":
		answer["keys"] = []any{map[string]any{"kty": "RSA", "use": "sig", "alg": "RS256", "kid": "k",
			"n": base64.RawURLEncoding.EncodeToString(o.key.N.Bytes()),
			"e": base64.RawURLEncoding.EncodeToString(big.NewInt(int64(o.key.E)).Bytes())}}
	case "/token":
		if from := r.FormValue("refresh_token"); from != "" {
			if o.used[from] {
				o.spoilt = true
				http.Error(w, `{"error":"invalid_grant"}`, http.StatusBadRequest)
				return
			}
			o.used[from] = true
		}
		o.given++
		answer = map[string]any{"access_token": fmt.Sprint("access ", o.given), "token_type": "Bearer", "expires_in": 1,
			"refresh_token": fmt.Sprint("refresh ", o.given), "id_token": o.signed()}
	default:
		answer = map[string]any{"sub": o.as, "who": o.as, "name": "Robin Hill", "roles": o.roles}
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(answer)
}

func (o *office) signed() string {
	said := map[string]any{"iss": o.URL, "aud": "thawline", "sub": o.as, "nonce": o.nonce, "iat": time.Now().Unix(),
		"exp": time.Now().Add(time.Hour).Unix()}
	if o.forges != "" {
		said["sub"] = o.forges
	}
	if o.another != "" {
		said["nonce"] = o.another
	}
	body, err := json.Marshal(said)
	if err != nil {
		return ""
	}
	text := base64.RawURLEncoding.EncodeToString([]byte(`{"alg":"RS256","kid":"k"}`)) + "." + base64.RawURLEncoding.EncodeToString(body)
	sum := sha256.Sum256([]byte(text))
	mark, err := rsa.SignPKCS1v15(rand.Reader, o.key, crypto.SHA256, sum[:])
	if err != nil {
		return ""
	}
	return text + "." + base64.RawURLEncoding.EncodeToString(mark)
}

func (o *office) set(change func()) {
	o.mu.Lock()
	defer o.mu.Unlock()
	change()
}

// times is how often a path was asked for.
func (o *office) times(path string) int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.asked[path]
}

// behind is a house whose people come by the office: pages at /in, /back and /who.
func (o *office) behind(t *testing.T) (*bush, *httptest.Server) {
	t.Helper()
	g := opened(t, Settings{})
	site := httptest.NewServer(g.Middleware(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/in":
			to, err := g.BeginProvider(r, "/who")
			if err != nil {
				http.Error(w, err.Error(), http.StatusForbidden)
				return
			}
			at, err := url.Parse(to)
			if err != nil {
				t.Error(err)
				return
			}
			o.set(func() { o.nonce = at.Query().Get("nonce") })
			_, _ = io.WriteString(w, at.Query().Get("state"))
		case "/back":
			if _, err := g.EndProvider(r); err != nil {
				http.Error(w, err.Error(), http.StatusForbidden)
			}
		default:
			v := From(r.Context())
			_, _ = io.WriteString(w, strings.TrimSpace(string(v.Role)+" "+v.Person))
		}
	})))
	t.Cleanup(site.Close)
	g.server = site
	g.SetSettings(Settings{Link: site.URL, People: []Person{{"robin", "Robin", Viewer, nil}, {"kim", "Kim", Keeper, nil}},
		Provider: Provider{Issuer: o.URL, ClientID: "thawline", Secret: secret.New("s"), RolesClaim: "roles", PersonClaim: "who"}})
	return g, site
}

// comeIn logs a browser in by the provider, and says how the answer was taken.
func (p *phone) comeIn() int {
	p.t.Helper()
	state := p.must(200, "GET", "/in", nil, nil)
	status, _, _ := p.ask("GET", "/back?code=1&state="+url.QueryEscape(state), nil, nil)
	return status
}

// Who stays for an evening is not asked to log in again each minute: a token that the
// provider has renewed takes the place of the one that works no more.
func TestRenewedTokensAreKept(t *testing.T) {
	o := openOffice(t)
	g, _ := o.behind(t)
	p := g.phone(t)
	if status := p.comeIn(); status != 200 {
		t.Fatalf("not let in: %d", status)
	}
	for range 4 {
		g.pass(2 * time.Second)
		if said := p.must(200, "GET", "/who", nil, nil); said != "keeper robin" || o.spoilt {
			t.Fatalf("who asks is %q, an old token came back: %t", said, o.spoilt)
		}
	}
	// The provider is not flooded: its addresses are asked for once, and within a second
	// what it said of each browser stands, however many of them ask in turns.
	if n := o.times("/.well-known/openid-configuration"); n != 1 {
		t.Errorf("asked where its pages are %d times", n)
	}
	second := g.phone(t)
	if status := second.comeIn(); status != 200 {
		t.Fatalf("not let in: %d", status)
	}
	g.pass(2 * time.Second)
	for range 2 { // the first ones may renew what they go by
		p.must(200, "GET", "/who", nil, nil)
		second.must(200, "GET", "/who", nil, nil)
	}
	before := o.times("/info")
	for range 5 {
		for _, one := range []*phone{p, second} {
			if said := one.must(200, "GET", "/who", nil, nil); said != "keeper robin" {
				t.Errorf("who asks is %q", said)
			}
		}
	}
	if n := o.times("/info") - before; n != 0 {
		t.Errorf("asked who they are %d times within a second", n)
	}
	g.pass(claimsLife - time.Millisecond)
	o.set(func() { o.roles = "crew" })
	if said := p.must(200, "GET", "/who", nil, nil); said != "keeper robin" {
		t.Errorf("within a second: %q", said)
	}
	g.pass(time.Millisecond) // and no longer: a role that is taken away there is gone here
	o.set(func() { o.roles = "baker" })
	if said := p.must(200, "GET", "/who", nil, nil); said != "" {
		t.Errorf("a role that was taken away: %q", said)
	}
	// What it said is held for as many as there is room for, and no more.
	for held, want := range map[int]int{mostClaims: mostClaims + 1, mostClaims + 1: 1} {
		g.provider.claims = map[string]claimed{}
		for i := range held {
			g.provider.claims[fmt.Sprint(i)] = claimed{}
		}
		g.pass(2 * claimsLife)
		p.must(200, "GET", "/who", nil, nil)
		if n := len(g.provider.claims); n != want {
			t.Errorf("%d answers are held after one more than %d", n, held)
		}
	}
}

// What the provider says at one address must be about whom it signed for, to the question of
// this browser: else one person's answer lets another in.
func TestAnswersAboutOthersLetNobodyIn(t *testing.T) {
	o := openOffice(t)
	g, _ := o.behind(t)
	for what, c := range map[string]struct {
		change func()
		want   int
	}{
		"as it should be":  {func() {}, 200},
		"another's token":  {func() { o.forges = "kim" }, 403},
		"an older answer":  {func() { o.another = "of yesterday" }, 403},
		"no role":          {func() { o.roles = []any{"baker", 3, nil} }, 403},
		"a role in a list": {func() { o.roles = []any{3, "thawline-viewer"} }, 200},
	} {
		o.set(func() { o.forges, o.another, o.roles = "", "", "keeper"; c.change() })
		p := g.phone(t)
		if status := p.comeIn(); status != c.want {
			t.Errorf("%s: %d, want %d", what, status, c.want)
		}
		if said := p.must(200, "GET", "/who", nil, nil); (said == "") != (c.want == 403) {
			t.Errorf("%s: who asks is %q", what, said)
		}
	}
	o.set(func() { o.forges, o.another, o.roles = "", "", "keeper" })
	// The answer to one browser's question is worth nothing in another, nor twice, nor
	// without a code.
	first, second := g.phone(t), g.phone(t)
	state := first.must(200, "GET", "/in", nil, nil)
	second.must(200, "GET", "/in", nil, nil)
	second.must(403, "GET", "/back?code=1&state="+state, nil, nil)
	o.set(func() { o.nonce = "" }) // a hostile one signs for a question that nobody put
	g.phone(t).must(403, "GET", "/back?code=1&state=", nil, nil)
	first.must(403, "GET", "/back?state="+state, nil, nil)
	first.must(403, "GET", "/back?code=1&state="+state, nil, nil) // it was used up
	// Where the settings name no provider any more, nobody is sent to one, and nobody who
	// came by one is anybody.
	p := g.phone(t)
	if status := p.comeIn(); status != 200 {
		t.Fatal(status)
	}
	g.SetSettings(Settings{Link: g.server.URL, People: []Person{{"robin", "Robin", Keeper, nil}}})
	if said := p.must(200, "GET", "/who", nil, nil); said != "" {
		t.Errorf("without a provider: %q", said)
	}
	p.must(403, "GET", "/in", nil, nil)
}

// Only whole words are roles: a beekeeper keeps no bush.
func TestRolesOfAClaim(t *testing.T) {
	for _, c := range []struct {
		claim any
		want  Role
	}{
		{"keeper", Keeper}, {"thawline-crew", Crew}, {"baker,viewer", Viewer}, {"baker viewer", Viewer}, {"viewer, crew", Crew},
		{"beekeeper", Nobody}, {"keepers", Nobody}, {"", Nobody}, {"keeper-thawline", Nobody}, {"thawline-", Nobody}, {"Keeper", Nobody},
		{nil, Nobody}, {true, Nobody}, {3.0, Nobody}, {[]any{}, Nobody}, {[]any{nil, 1.0, []any{"keeper"}}, Nobody},
		{[]any{"viewer", "thawline-keeper"}, Keeper}, {map[string]any{"crew": map[string]any{}}, Crew}, {map[string]any{"x": "keeper"}, Nobody},
	} {
		if got := roleOf(c.claim); got != c.want {
			t.Errorf("%v: %q, not %q", c.claim, got, c.want)
		}
	}
}
