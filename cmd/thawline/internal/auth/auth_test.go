package auth

import (
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/testdata/beside"
)

func TestNoLoginOnThisMachineAlone(t *testing.T) {
	for _, c := range []struct {
		s    Settings
		open bool
	}{
		{Settings{Listen: "127.0.0.1:8787"}, true}, {Settings{Listen: "localhost:80"}, true}, {Settings{Listen: "[::1]:80"}, true},
		{Settings{Listen: ":8787"}, false}, {Settings{Listen: "0.0.0.0:8787"}, false}, {Settings{Listen: "192.168.1.4:80"}, false},
		{Settings{Listen: "[::]:80"}, false},
		{Settings{Listen: "127.0.0.1:8787", Link: "https://bush.example.org"}, false},
		{Settings{Listen: "127.0.0.1:8787", AlwaysLogin: true}, false},
	} {
		b := opened(t, c.s)
		status, said, _ := b.phone(t).ask("GET", "/keeper", nil, nil)
		if (status == 200) != c.open {
			t.Errorf("%+v: %d %s", c.s, status, said)
		}
	}
}

func TestSetUpOnceWithTheCode(t *testing.T) {
	b := opened(t, elsewhere)
	stranger := b.phone(t)
	if _, _, h := stranger.ask("GET", "/?x=1", nil, header("Accept", "text/html")); h.Get("Location") != "/login?to=%2F%3Fx%3D1" {
		t.Errorf("led to %q", h.Get("Location"))
	}
	form := func(code, person, password string) url.Values {
		return url.Values{"code": {code}, "person": {person}, "password": {password}}
	}
	stranger.must(401, "POST", "/setup", form("", "wren", goodPassword), nil) // no code was made
	old, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	code, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stranger.must(401, "POST", "/setup", form(old, "wren", goodPassword), nil)
	stranger.must(401, "POST", "/setup", form(code, "odell", goodPassword), nil) // no keeper
	stranger.must(401, "POST", "/setup", form(code, "wren", "short"), nil)
	b.pass(25 * time.Hour)
	stranger.must(401, "POST", "/setup", form(code, "wren", goodPassword), nil) // too old
	wren := b.setUp(t)
	if said := wren.must(200, "GET", "/", nil, nil); said != "wren keeper" {
		t.Error(said)
	}
	again, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stranger.must(401, "POST", "/setup", form(again, "wren", "another password"), nil) // it is done
}

func TestSessionIsRenewedAndEnds(t *testing.T) {
	b := opened(t, elsewhere)
	wren := b.setUp(t)
	at, err := url.Parse(b.server.URL)
	if err != nil {
		t.Fatal(err)
	}
	// A token that somebody planted is worth nothing after the login.
	victim := b.phone(t)
	victim.c.Jar.SetCookies(at, []*http.Cookie{{Name: "thawline", Value: "planted", Path: "/"}})
	victim.must(200, "POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}}, nil)
	var kept *http.Cookie
	for _, c := range victim.c.Jar.Cookies(at) {
		if kept = c; c.Value == "planted" {
			t.Error("the planted token lives on")
		}
	}
	_, _, h := b.phone(t).ask("POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}}, nil)
	if c := h.Get("Set-Cookie"); !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=Lax") {
		t.Error(c)
	}
	// The database holds no token that a thief could use.
	var n int
	if err := b.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM web_session WHERE token = ?1`, kept.Value).Scan(&n); err != nil ||
		n != 0 {
		t.Errorf("%d tokens in plain, %v", n, err)
	}
	// A new password ends the other sessions.
	wren.must(401, "POST", "/password", url.Values{"old": {"a wrong one!"}, "password": {"four quite plain words"}}, nil)
	b.pass(time.Minute)
	wren.must(200, "POST", "/password", url.Values{"old": {goodPassword}, "password": {"four quite plain words"}}, nil)
	wren.must(200, "GET", "/", nil, nil)
	victim.must(401, "GET", "/", nil, nil)
	b.pass(sessionLife + time.Hour)
	wren.must(401, "GET", "/", nil, nil)
	if err := b.Tidy(t.Context(), b.clock()); err != nil {
		t.Error(err)
	}
}

// What settings take away is gone at the next request.
func TestRoleOfTheSettingsCounts(t *testing.T) {
	b := opened(t, elsewhere)
	wren := b.setUp(t)
	wren.must(200, "GET", "/keeper", nil, nil)
	b.SetSettings(Settings{Listen: elsewhere.Listen, People: []Person{{"wren", "Wren", Viewer, nil}}})
	wren.must(403, "GET", "/keeper", nil, nil)
	wren.must(200, "GET", "/", nil, nil)
	b.SetSettings(Settings{Listen: elsewhere.Listen, People: []Person{{"odell", "Odell", Keeper, nil}}})
	wren.must(401, "GET", "/", nil, nil)
}

func TestManyPhonesAtOnce(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			p := b.phone(t)
			p.must(200, "POST", "/l/"+token, nil, nil)
			p.must(200, "GET", "/", nil, nil)
			b.SetSettings(Settings{Listen: elsewhere.Listen, People: people}) // settings are reloaded meanwhile
			p.must(200, "GET", "/", nil, nil)
		})
	}
	wg.Wait()
}

func TestOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){
		"set-up": TestSetUpOnceWithTheCode, "sessions": TestSessionIsRenewedAndEnds, "roles": TestRoleOfTheSettingsCounts,
		"crew links":  TestCrewLink,
		"invitations": TestInvitationWorksOnce, "tokens": TestTokens, "many phones": TestManyPhonesAtOnce,
	})
}
