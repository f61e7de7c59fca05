package auth

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"database/sql"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"
)

// ErrLink is what a link gives that has ended, was withdrawn, is used up, or
// never was.
var ErrLink = errors.New("this link is no longer good")

// Kind is what a link is for.
type Kind string

// The kinds: one that lets helpers in until it ends, as often as they tap on it;
// and one by which a person of the settings chooses a password, once.
const (
	CrewLink     Kind = "crew"
	PasswordLink Kind = "password"
)

// Link lets somebody in.
type Link struct {
	ID          string
	Kind        Kind
	Name        string // whose it is
	Person      string // of the settings, for a password
	Role        Role   // Crew or Viewer
	Site        string // "" for all
	Days        int    // how long it is good for, when it is made
	ExpiresAt   time.Time
	UsedAt      time.Time
	WithdrawnAt time.Time
}

// Good reports whether it lets in at a moment.
func (l *Link) Good(now time.Time) bool {
	return now.Before(l.ExpiresAt) && l.WithdrawnAt.IsZero() && (l.Kind == CrewLink || l.UsedAt.IsZero())
}

const mostDays = 120

// MakeLink makes a link and gives its token, which is kept nowhere.
func (g *Service) MakeLink(ctx context.Context, l Link, by string) (token string, err error) {
	switch {
	case l.Days < 1 || l.Days > mostDays:
		return "", fmt.Errorf("a link is good for 1 to %d days", mostDays)
	case l.Kind == CrewLink && l.Role != Crew && l.Role != Viewer:
		return "", fmt.Errorf("a link is for the roles %s and %s", Crew, Viewer)
	case l.Kind == CrewLink && l.Name == "":
		return "", errors.New("a link needs the name of who gets it")
	case l.Kind == PasswordLink:
		p, known := g.state.Load().person(l.Person)
		if !known {
			return "", fmt.Errorf("%s: no such person in the settings", l.Person)
		}
		l.Name, l.Role = p.Name, p.Role
	case l.Kind != CrewLink:
		return "", fmt.Errorf("%s: no such kind of link", l.Kind)
	}
	id := uuid.New() // random: nobody may guess the next one
	l.ExpiresAt = g.now().AddDate(0, 0, l.Days).Truncate(time.Minute)
	if _, err := g.db.ExecContext(ctx, `INSERT INTO access_link (id, kind, name, person, role, site, made_by, made_at, expires_at, used_at, withdrawn_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, '', '')`,
		id.String(), string(l.Kind), l.Name, l.Person, string(l.Role), l.Site, by, stamp(g.now()), stamp(l.ExpiresAt)); err != nil {
		return "", fmt.Errorf("link: %w", err)
	}
	return g.sign(ctx, id, l.ExpiresAt)
}

// MakeLinks makes links by which people choose passwords, all or none, and gives their
// tokens in the order of people. They need not be in the settings yet.
func (g *Service) MakeLinks(ctx context.Context, people []Person, days int, by string) ([]string, error) {
	if _, err := g.secret(ctx); err != nil { // made at first use, and not within what is written here
		return nil, fmt.Errorf("links: %w", err)
	}
	tx, err := g.db.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("links: %w", err)
	}
	defer func() { _ = tx.Rollback() }() // of no effect once it is committed
	ends := g.now().AddDate(0, 0, days).Truncate(time.Minute)
	tokens := make([]string, len(people))
	for i, p := range people {
		id := uuid.New()
		if _, err := tx.ExecContext(ctx,
			`INSERT INTO access_link (id, kind, name, person, role, site, made_by, made_at, expires_at, used_at, withdrawn_at) VALUES (?1, ?2, ?3, ?4, ?5, '', ?6, ?7, ?8, '', '')`,
			id.String(), string(PasswordLink), p.Name, p.ID, string(p.Role), by, stamp(g.now()), stamp(ends)); err != nil {
			return nil, fmt.Errorf("links: %w", err)
		}
		if tokens[i], err = g.sign(ctx, id, ends); err != nil {
			return nil, err
		}
	}
	if err := tx.Commit(); err != nil {
		return nil, fmt.Errorf("links: %w", err)
	}
	return tokens, nil
}

const (
	idBytes     = 16
	expiryBytes = 4 // minutes since 1970
	macBytes    = 12
)

// sign makes the token: id, end, and a keyed hash of both, short enough for a
// text message.
func (g *Service) sign(ctx context.Context, id uuid.UUID, ends time.Time) (string, error) {
	raw := binary.BigEndian.AppendUint32(append([]byte{}, id[:]...), uint32(ends.Unix()/60))
	mac, err := g.mac(ctx, raw)
	if err != nil {
		return "", err
	}
	return base64.RawURLEncoding.EncodeToString(append(raw, mac...)), nil
}

func (g *Service) mac(ctx context.Context, raw []byte) ([]byte, error) {
	key, err := g.secret(ctx)
	if err != nil {
		return nil, fmt.Errorf("link: %w", err)
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte("link\x00"))
	mac.Write(raw)
	return mac.Sum(nil)[:macBytes], nil
}

// EnterLink starts a session that ends with the link. It gives ErrLink, or
// ErrThrottled after too many wrong tries.
func (g *Service) EnterLink(r *http.Request, token string) (kind Kind, site string, err error) {
	ctx := r.Context()
	l, err := g.opened(ctx, token)
	if errors.Is(err, ErrLink) {
		address, _ := g.state.Load().client(r)
		if err := g.throttle.tooMany("link", address, g.now()); err != nil {
			return "", "", err
		}
	}
	if err != nil {
		return "", "", err
	}
	if l.Kind == CrewLink {
		if _, err := g.db.ExecContext(ctx, `UPDATE access_link SET used_at = ?2 WHERE id = ?1`, l.ID, stamp(g.now())); err != nil {
			return "", "", fmt.Errorf("link: %w", err)
		}
		return l.Kind, l.Site, g.begin(r, map[string]any{sessionLink: l.ID}, l.ExpiresAt)
	}
	return l.Kind, "", g.begin(r, map[string]any{sessionLink: l.ID, sessionPerson: l.Person, sessionInvited: true}, g.now().Add(time.Hour))
}

// opened checks a token: signed here, not ended, not withdrawn, not used up.
func (g *Service) opened(ctx context.Context, token string) (*Link, error) {
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || len(raw) != idBytes+expiryBytes+macBytes {
		return nil, ErrLink
	}
	signed, given := raw[:idBytes+expiryBytes], raw[idBytes+expiryBytes:]
	mac, err := g.mac(ctx, signed)
	if err != nil {
		return nil, err
	}
	if subtle.ConstantTimeCompare(mac, given) != 1 {
		return nil, ErrLink
	}
	ends := time.Unix(60*int64(binary.BigEndian.Uint32(signed[idBytes:])), 0)
	id, err := uuid.FromBytes(signed[:idBytes])
	if err != nil || !g.now().Before(ends) {
		return nil, ErrLink
	}
	l, err := g.link(ctx, id.String())
	if err == nil && !l.Good(g.now()) {
		return nil, ErrLink
	}
	return l, err
}

// useUp ends a link that works once; a second one who tries gets ErrLink.
func (g *Service) useUp(ctx context.Context, id string) error {
	done, err := g.db.ExecContext(ctx, `UPDATE access_link SET used_at = ?2 WHERE id = ?1 AND used_at = '' AND withdrawn_at = ''`, id,
		stamp(g.now()))
	if err != nil {
		return fmt.Errorf("link: %w", err)
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(ErrLink, err)
	}
	return nil
}

const linkColumns = `SELECT id, kind, name, person, role, site, expires_at, used_at, withdrawn_at FROM access_link`

func scanLink(row interface{ Scan(...any) error }) (*Link, error) {
	var l Link
	var kind, role, expires, used, withdrawn string
	if err := row.Scan(&l.ID, &kind, &l.Name, &l.Person, &role, &l.Site, &expires, &used, &withdrawn); err != nil {
		return nil, err
	}
	l.Kind, l.Role, l.ExpiresAt, l.UsedAt, l.WithdrawnAt = Kind(kind), Role(role), unstamp(expires), unstamp(used), unstamp(withdrawn)
	return &l, nil
}

func (g *Service) link(ctx context.Context, id string) (*Link, error) {
	l, err := scanLink(g.db.QueryRowContext(ctx, linkColumns+` WHERE id = ?1`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, ErrLink
	}
	if err != nil {
		return nil, fmt.Errorf("link: %w", err)
	}
	return l, nil
}

// Links lists the links, the newest first.
func (g *Service) Links(ctx context.Context) ([]*Link, error) {
	rows, err := g.db.QueryContext(ctx, linkColumns+` ORDER BY made_at DESC`)
	if err != nil {
		return nil, fmt.Errorf("links: %w", err)
	}
	defer rows.Close()
	var out []*Link
	for rows.Next() {
		l, err := scanLink(rows)
		if err != nil {
			return nil, fmt.Errorf("links: %w", err)
		}
		out = append(out, l)
	}
	return out, rows.Err()
}

// ErrNone is what withdrawing gives where there is nothing of that id.
var ErrNone = errors.New("there is no link or token of that id")

// Withdraw ends a link or token, and every session that the link has opened.
func (g *Service) Withdraw(ctx context.Context, id string) error {
	ended := int64(0)
	for _, q := range []string{`UPDATE access_link SET withdrawn_at = ?2 WHERE id = ?1 AND withdrawn_at = ''`,
		`UPDATE access_token SET withdrawn_at = ?2 WHERE id = ?1 AND withdrawn_at = ''`} {
		done, err := g.db.ExecContext(ctx, q, id, stamp(g.now()))
		if err != nil {
			return fmt.Errorf("withdraw: %w", err)
		}
		n, err := done.RowsAffected()
		if err != nil {
			return fmt.Errorf("withdraw: %w", err)
		}
		ended += n
	}
	if ended == 0 {
		return ErrNone
	}
	return nil
}
