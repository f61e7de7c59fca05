package auth

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Token lets a program use the API.
type Token struct {
	ID, Name    string
	Scopes      []Scope
	Site        string // "" for all
	Days        int    // how long it is good for, when it is made
	ExpiresAt   time.Time
	WithdrawnAt time.Time
}

// Good reports whether it lets in at a moment.
func (t *Token) Good(now time.Time) bool {
	return now.Before(t.ExpiresAt) && t.WithdrawnAt.IsZero()
}

// Scopes lists what tokens may be good for.
func Scopes() []Scope {
	return []Scope{ReadOutlook, ReadRecords, WriteRecords, ReadMessages, Acknowledge, ReadMetrics, ReadMembers, WriteMembers}
}

// tokenBegins lets people and programs that look for lost secrets know one.
const tokenBegins = "thawline_"

const mostTokenDays = 2 * 366

// MakeToken makes a token and gives its text, of which only a hash is kept.
func (g *Service) MakeToken(ctx context.Context, t Token, by string) (string, error) {
	switch {
	case t.Days < 1 || t.Days > mostTokenDays:
		return "", fmt.Errorf("a token is good for 1 to %d days", mostTokenDays)
	case t.Name == "":
		return "", errors.New("a token needs a name, to be withdrawn by")
	case len(t.Scopes) == 0:
		return "", errors.New("a token needs something that it is good for")
	}
	var scopes []string
	for _, s := range t.Scopes {
		if !slices.Contains(Scopes(), s) {
			return "", fmt.Errorf("%s: tokens are not good for that", s)
		}
		scopes = append(scopes, string(s))
	}
	var raw [32]byte
	if _, err := rand.Read(raw[:]); err != nil {
		return "", fmt.Errorf("token: %w", err)
	}
	text := tokenBegins + base64.RawURLEncoding.EncodeToString(raw[:])
	if _, err := g.db.ExecContext(ctx, `INSERT INTO access_token (id, name, hash, scopes, site, made_by, made_at, expires_at, withdrawn_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, '')`,
		uuid.NewString(), t.Name, hashOf(text), strings.Join(scopes, " "), t.Site, by, stamp(g.now()),
		stamp(g.now().AddDate(0, 0, t.Days))); err != nil {
		return "", fmt.Errorf("token: %w", err)
	}
	return text, nil
}

const tokenColumns = `SELECT id, name, scopes, site, expires_at, withdrawn_at FROM access_token` //nolint:gosec // G101: columns, and no token

func scanToken(row interface{ Scan(...any) error }) (*Token, error) {
	var t Token
	var scopes, expires, withdrawn string
	if err := row.Scan(&t.ID, &t.Name, &scopes, &t.Site, &expires, &withdrawn); err != nil {
		return nil, err
	}
	for s := range strings.FieldsSeq(scopes) {
		t.Scopes = append(t.Scopes, Scope(s))
	}
	t.ExpiresAt, t.WithdrawnAt = unstamp(expires), unstamp(withdrawn)
	return &t, nil
}

// Tokens lists the tokens, the newest first; their texts are not kept.
func (g *Service) Tokens(ctx context.Context) ([]*Token, error) {
	rows, err := g.db.QueryContext(ctx, tokenColumns+` ORDER BY made_at DESC`)
	if err != nil {
		return nil, fmt.Errorf("tokens: %w", err)
	}
	defer rows.Close()
	var out []*Token
	for rows.Next() {
		t, err := scanToken(rows)
		if err != nil {
			return nil, fmt.Errorf("tokens: %w", err)
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// withToken goes on with the rights of a token and of nothing else: neither a
// session nor this machine's own.
func (g *Service) withToken(w http.ResponseWriter, r *http.Request, text string, next http.Handler) {
	t, err := scanToken(g.db.QueryRowContext(r.Context(), tokenColumns+` WHERE hash = ?1`, hashOf(text)))
	switch {
	case errors.Is(err, sql.ErrNoRows) || err == nil && !t.Good(g.now()):
		address, _ := g.state.Load().client(r)
		if err := g.throttle.tooMany("token", address, g.now()); err != nil {
			w.Header().Set("Retry-After", "8")
			g.refuse(w, r, http.StatusTooManyRequests, why{say: err.Error()})
			return
		}
		w.Header().Set("WWW-Authenticate", `Bearer error="invalid_token"`)
		g.refuse(w, r, http.StatusUnauthorized, why{say: "this token is not good, or no longer; a keeper makes another"})
		return
	case err != nil:
		g.log.Error("a token can't be looked up", "error", err)
		g.refuse(w, r, http.StatusServiceUnavailable, notNow)
		return
	}
	role := Viewer
	if slices.Contains(t.Scopes, WriteRecords) || slices.Contains(t.Scopes, Acknowledge) {
		role = Crew
	}
	next.ServeHTTP(w, r.WithContext(With(r.Context(), Identity{Name: t.Name, Role: role, Site: t.Site, Scopes: t.Scopes})))
}
