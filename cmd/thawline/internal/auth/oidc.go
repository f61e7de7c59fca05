package auth

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"thawline/forecast/secret"
)

// Provider is an OpenID provider by which people log in, beside passwords and links.
type Provider struct {
	Issuer, ClientID string      // "" for none
	Secret           secret.Text // of this client; none for one that only has PKCE
	// RolesClaim has the roles of somebody: one of keeper, crew and viewer, alone or after
	// "thawline-". PersonClaim has who they are here, by id.
	RolesClaim, PersonClaim string
}

// ErrProvider is what a login by the provider gives that did not come to a good end.
var ErrProvider = errors.New("the provider did not let you in here")

// What a session holds of a login by the provider.
const (
	sessionState    = "oidc_state"
	sessionNonce    = "oidc_nonce"
	sessionVerifier = "oidc_verifier"
	sessionTo       = "oidc_to"
	sessionToken    = "oidc_token" // a sealed oauth2.Token
	sessionSubject  = "oidc_subject"
)

const (
	providerTimeout = 10 * time.Second
	// claimsLife is how long an answer of the provider stands for the pictures and styles of
	// a page: a role that is taken away there is gone within it.
	claimsLife = time.Second
	// providerLife is how long a login by the provider lasts.
	providerLife = 12 * time.Hour
)

// provider is what is known of the one of the settings.
type provider struct {
	mu     sync.Mutex
	of     Provider
	found  *oidc.Provider
	claims map[string]claimed // by access token
}

type claimed struct {
	values map[string]any
	at     time.Time
}

// ByProvider reports whether people can log in by a provider.
func (g *Service) ByProvider() bool { return g.state.Load().Provider.Issuer != "" }

// discover asks the provider where its pages are, once.
func (g *Service) discover(ctx context.Context, of Provider) (*oidc.Provider, error) {
	g.provider.mu.Lock()
	defer g.provider.mu.Unlock()
	if g.provider.found != nil && g.provider.of.Issuer == of.Issuer {
		return g.provider.found, nil
	}
	found, err := oidc.NewProvider(context.WithoutCancel(ctx), of.Issuer) // its keys are asked for later too
	if err != nil {
		return nil, fmt.Errorf("OpenID provider %s: %w", of.Issuer, err)
	}
	g.provider.found, g.provider.of = found, of
	return found, nil
}

func (g *Service) clientOf(of Provider, found *oidc.Provider) *oauth2.Config {
	return &oauth2.Config{ClientID: of.ClientID, ClientSecret: of.Secret.Reveal(), Endpoint: found.Endpoint(),
		RedirectURL: g.Address("/login/provider/back"), Scopes: []string{oidc.ScopeOpenID, "profile", "email", oidc.ScopeOfflineAccess}}
}

// BeginProvider is the address at the provider where somebody logs in; to is where they
// go then.
func (g *Service) BeginProvider(r *http.Request, to string) (address string, err error) {
	ctx, cancel := context.WithTimeout(r.Context(), providerTimeout)
	defer cancel()
	of := g.state.Load().Provider
	if of.Issuer == "" {
		return "", ErrProvider
	}
	found, err := g.discover(ctx, of)
	if err != nil {
		return "", err
	}
	state, nonce, verifier := rand.Text(), rand.Text(), oauth2.GenerateVerifier()
	s := g.sessionsOf(r)
	for key, value := range map[string]string{sessionState: state, sessionNonce: nonce, sessionVerifier: verifier, sessionTo: to} {
		s.Put(r.Context(), key, value)
	}
	return g.clientOf(of, found).AuthCodeURL(state, oidc.Nonce(nonce), oauth2.S256ChallengeOption(verifier)), nil
}

// EndProvider starts a session for whom the provider has let in, and says where they go.
// It gives ErrProvider where the answer is not one to a question of this browser, or has
// no role.
func (g *Service) EndProvider(r *http.Request) (to string, err error) {
	ctx, cancel := context.WithTimeout(r.Context(), providerTimeout)
	defer cancel()
	s, of, query := g.sessionsOf(r), g.state.Load().Provider, r.URL.Query()
	state, nonce, verifier := s.PopString(r.Context(), sessionState), s.PopString(r.Context(), sessionNonce),
		s.PopString(r.Context(), sessionVerifier)
	to = s.PopString(r.Context(), sessionTo)
	if of.Issuer == "" || state == "" || subtle.ConstantTimeCompare([]byte(state), []byte(query.Get("state"))) != 1 ||
		query.Get("code") == "" {
		return "", ErrProvider
	}
	found, err := g.discover(ctx, of)
	if err != nil {
		return "", err
	}
	token, err := g.clientOf(of, found).Exchange(ctx, query.Get("code"), oauth2.VerifierOption(verifier))
	if err != nil {
		return "", errors.Join(ErrProvider, err)
	}
	raw, _ := token.Extra("id_token").(string)
	signed, err := found.Verifier(&oidc.Config{ClientID: of.ClientID}).Verify(ctx, raw)
	if err != nil || subtle.ConstantTimeCompare([]byte(signed.Nonce), []byte(nonce)) != 1 {
		return "", errors.Join(ErrProvider, err)
	}
	values, token, err := g.ask(ctx, of, token, signed.Subject)
	if err != nil {
		return "", errors.Join(ErrProvider, err)
	}
	if v := g.identityOf(values); v.Role == Nobody {
		g.log.Warn("the provider knows somebody who has no role here", "subject", signed.Subject)
		return "", ErrProvider
	}
	if err := g.begin(r, map[string]any{sessionSubject: signed.Subject}, g.now().Add(providerLife)); err != nil {
		return "", err
	}
	kept, err := sealToken(s.Token(r.Context()), token)
	if err != nil {
		return "", err
	}
	s.Put(r.Context(), sessionToken, kept)
	return to, nil
}

// ask is what the provider says of somebody now, and their token, which may be a newer one.
func (g *Service) ask(ctx context.Context, of Provider, token *oauth2.Token, subject string) (map[string]any, *oauth2.Token, error) {
	found, err := g.discover(ctx, of)
	if err != nil {
		return nil, nil, err
	}
	source := g.clientOf(of, found).TokenSource(ctx, token)
	info, err := found.UserInfo(ctx, source)
	if err != nil {
		return nil, nil, fmt.Errorf("OpenID provider: %w", err)
	}
	if info.Subject != subject {
		return nil, nil, errors.New("OpenID provider: it answered about somebody else")
	}
	values := map[string]any{}
	if err := info.Claims(&values); err != nil {
		return nil, nil, fmt.Errorf("OpenID provider: %w", err)
	}
	newest, err := source.Token()
	return values, newest, err
}

// byProvider finds out who asks in a session that the provider opened, by what the provider
// says now; false for other sessions. Who it says nothing good of is nobody.
func (g *Service) byProvider(r *http.Request, s *state) (v Identity, is bool) {
	ctx := r.Context()
	text := s.sessions.GetString(ctx, sessionToken)
	if text == "" {
		return Identity{}, false
	}
	if s.Provider.Issuer == "" {
		return Identity{}, true
	}
	now := g.now()
	g.provider.mu.Lock()
	have, known := g.provider.claims[text]
	g.provider.mu.Unlock()
	if known && now.Sub(have.at) < claimsLife {
		return g.identityOf(have.values), true
	}
	token, err := openToken(s.sessions.Token(ctx), text)
	if err != nil {
		return Identity{}, true
	}
	asking, cancel := context.WithTimeout(ctx, providerTimeout)
	defer cancel()
	values, newest, err := g.ask(asking, s.Provider, token, s.sessions.GetString(ctx, sessionSubject))
	if err != nil {
		g.log.Warn("the provider does not say who this is: they have to log in again", "error", err)
		return Identity{}, true
	}
	if newest.AccessToken != token.AccessToken {
		if kept, err := sealToken(s.sessions.Token(ctx), newest); err == nil {
			text = kept
			s.sessions.Put(ctx, sessionToken, text)
		}
	}
	g.provider.mu.Lock()
	defer g.provider.mu.Unlock()
	if g.provider.claims == nil || len(g.provider.claims) > mostClaims {
		g.provider.claims = map[string]claimed{}
	}
	g.provider.claims[text] = claimed{values, now}
	return g.identityOf(values), true
}

// mostClaims is how many answers of the provider are held at a time.
const mostClaims = 1000

// identityOf is who somebody is here by the provider's claims: a person of the settings
// with the role of the claim, and who is none only as a keeper, of everything.
func (g *Service) identityOf(values map[string]any) Identity {
	s := g.state.Load()
	v := Identity{Role: roleOf(values[s.Provider.RolesClaim])}
	if v.Role == Nobody {
		return Identity{}
	}
	id, _ := values[s.Provider.PersonClaim].(string)
	name, _ := values["name"].(string)
	if p, known := s.person(id); known && id != "" {
		v.Person, v.Name, v.Sites = p.ID, p.Name, p.Sites
		return v
	}
	if v.Role != Keeper {
		return Identity{}
	}
	if v.Name = name; name == "" {
		v.Name = id
	}
	return v
}

// roleOf is the highest role of a claim, which is one text or a list.
func roleOf(claim any) Role {
	var said []string
	switch given := claim.(type) {
	case string:
		said = strings.FieldsFunc(given, func(r rune) bool { return r == ' ' || r == ',' })
	case []any:
		for _, one := range given {
			if text, is := one.(string); is {
				said = append(said, text)
			}
		}
	case map[string]any: // some providers name roles as keys
		for name := range given {
			said = append(said, name)
		}
	}
	for _, role := range []Role{Keeper, Crew, Viewer} {
		if slices.Contains(said, string(role)) || slices.Contains(said, "thawline-"+string(role)) {
			return role
		}
	}
	return Nobody
}
