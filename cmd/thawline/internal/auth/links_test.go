package auth

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"net/url"
	"strings"
	"testing"
	"time"
)

func TestCrewLink(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Site: "hill", Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	helper, second := b.phone(t), b.phone(t)
	for _, p := range []*phone{helper, second, helper} { // as often as they tap on it
		p.must(200, "POST", "/l/"+token, nil, nil)
		if said := p.must(200, "GET", "/", nil, nil); said != "crew hill" {
			t.Error(said)
		}
		p.must(403, "GET", "/keeper", nil, nil)
		p.must(200, "POST", "/crew", url.Values{}, nil)
	}
	links, err := b.Links(t.Context())
	if err != nil || len(links) != 1 {
		t.Fatal(links, err)
	}
	if err := b.Withdraw(t.Context(), links[0].ID); err != nil {
		t.Fatal(err)
	}
	helper.must(401, "GET", "/", nil, nil) // at once
	helper.must(401, "POST", "/l/"+token, nil, nil)
	if err := b.Withdraw(t.Context(), links[0].ID); !errors.Is(err, ErrNone) {
		t.Error(err)
	}

	some := Identity{Role: Keeper, Sites: []string{"hill"}}
	if !some.Sees("hill") || some.Sees("far") || some.SeesAll() || !(Identity{Role: Keeper}).SeesAll() || (Identity{}).SeesAll() {
		t.Error("a keeper of one bush sees another")
	}
	token, err = b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "more", Role: Viewer, Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	second.must(200, "POST", "/l/"+token, nil, nil)
	second.must(403, "POST", "/crew", url.Values{}, nil)
	b.pass(73 * time.Hour)
	second.must(401, "GET", "/", nil, nil)
	second.must(401, "POST", "/l/"+token, nil, nil)

	for _, wrong := range []Link{{Kind: CrewLink, Name: "x", Role: Keeper, Days: 3}, {Kind: CrewLink, Role: Crew, Days: 3},
		{Kind: CrewLink, Name: "x", Role: Crew, Days: 9999}, {Kind: PasswordLink, Person: "nobody", Days: 3}, {Kind: "other", Days: 3}} {
		if _, err := b.MakeLink(t.Context(), wrong, "Wren"); err == nil {
			t.Errorf("%+v was made", wrong)
		}
	}
}

// Every byte of a link counts, and only this installation can sign one.
func TestForgedLinks(t *testing.T) {
	b := opened(t, elsewhere)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Days: 1}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		t.Fatal(err)
	}
	for i := range raw {
		forged := bytes.Clone(raw)
		forged[i] ^= 1
		if _, err := b.opened(t.Context(), base64.RawURLEncoding.EncodeToString(forged)); !errors.Is(err, ErrLink) {
			t.Errorf("byte %d changed: %v", i, err)
		}
	}
	for _, nonsense := range []string{"", "x", token[:20], token + "AAAA", strings.Repeat("A", 43)} {
		if _, err := b.opened(t.Context(), nonsense); !errors.Is(err, ErrLink) {
			t.Errorf("%q: %v", nonsense, err)
		}
	}
	b.secret = func(context.Context) ([]byte, error) { return []byte("another installation"), nil }
	if _, err := b.opened(t.Context(), token); !errors.Is(err, ErrLink) {
		t.Errorf("another key: %v", err)
	}
	p := b.phone(t)
	for range freeTries {
		p.must(401, "POST", "/l/AAAA", nil, nil)
	}
	p.must(429, "POST", "/l/AAAA", nil, nil)
}

// An invitation works once, and a second phone that holds it is too late.
func TestInvitationWorksOnce(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: PasswordLink, Person: "odell", Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	odell, thief := b.phone(t), b.phone(t)
	odell.must(200, "POST", "/l/"+token, nil, nil)
	thief.must(200, "POST", "/l/"+token, nil, nil)
	odell.must(401, "GET", "/", nil, nil) // not before a password is chosen
	odell.must(401, "POST", "/password", url.Values{"password": {"short"}}, nil)
	odell.must(200, "POST", "/password", url.Values{"password": {"odell's own words"}}, nil)
	if said := odell.must(200, "GET", "/", nil, nil); said != "odell crew" {
		t.Error(said)
	}
	thief.must(401, "POST", "/password", url.Values{"password": {"the thief's words"}}, nil)
	thief.must(401, "POST", "/l/"+token, nil, nil)
	again := b.phone(t)
	again.must(200, "POST", "/login", url.Values{"person": {"odell"}, "password": {"odell's own words"}}, nil)
}

func TestTokens(t *testing.T) {
	b := opened(t, elsewhere)
	text, err := b.MakeToken(t.Context(), Token{Name: "station", Scopes: []Scope{ReadRecords}, Days: 10}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	p := b.phone(t)
	bearer := header("Authorization", "Bearer "+text)
	if said := p.must(200, "GET", "/api/who", nil, bearer); said != "station viewer true false" {
		t.Error(said)
	}
	p.must(403, "GET", "/", nil, bearer) // pages are for people
	p.must(401, "GET", "/api/who", nil, header("Authorization", "Bearer thawline_wrong"))
	var n int
	if err := b.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM access_token WHERE hash = ?1`, text).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d tokens in plain, %v", n, err)
	}
	b.pass(11 * 24 * time.Hour)
	p.must(401, "GET", "/api/who", nil, bearer)
	for _, wrong := range []Token{{Name: "x", Days: 10}, {Scopes: []Scope{ReadRecords}, Days: 10},
		{Name: "x", Scopes: []Scope{"everything"}, Days: 10}, {Name: "x", Scopes: []Scope{ReadRecords}}} {
		if _, err := b.MakeToken(t.Context(), wrong, "Wren"); err == nil {
			t.Errorf("%+v was made", wrong)
		}
	}
	// On this machine alone, a token has its own rights and no more.
	here := opened(t, Settings{Listen: "127.0.0.1:1"})
	if text, err = here.MakeToken(t.Context(), Token{Name: "station", Scopes: []Scope{ReadOutlook}, Days: 10}, "Wren"); err != nil {
		t.Fatal(err)
	}
	if said := here.phone(t).must(200, "GET", "/api/who", nil,
		header("Authorization", "Bearer "+text)); said != "station viewer false false" {
		t.Error(said)
	}
}
