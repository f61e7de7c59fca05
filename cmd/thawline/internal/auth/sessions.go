package auth

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/alexedwards/scs/v2"
)

const instant = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(instant)
}

func unstamp(text string) time.Time {
	t, err := time.Parse(instant, text)
	if err != nil {
		return time.Time{}
	}
	return t
}

// sessionStore keeps sessions in the database, under hashes of their tokens.
type sessionStore struct {
	db  *sql.DB
	now func() time.Time
}

func (s *sessionStore) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT data FROM web_session WHERE token = ?1 AND expires_at > ?2`, token, stamp(s.now())).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, fmt.Errorf("session: %w", err)
	}
	return data, true, nil
}

func (s *sessionStore) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	if _, err := s.db.ExecContext(ctx, `INSERT INTO web_session (token, data, expires_at) VALUES (?1, ?2, ?3)
		ON CONFLICT (token) DO UPDATE SET data = excluded.data, expires_at = excluded.expires_at`, token, data, stamp(expiry)); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	return nil
}

func (s *sessionStore) DeleteCtx(ctx context.Context, token string) error {
	if _, err := s.db.ExecContext(ctx, `DELETE FROM web_session WHERE token = ?1`, token); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	return nil
}

// Find, Commit and Delete are for callers without a context; there is none here.
func (s *sessionStore) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

// Commit is CommitCtx.
func (s *sessionStore) Commit(token string, data []byte, expiry time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx.
func (s *sessionStore) Delete(token string) error { return s.DeleteCtx(context.Background(), token) }

// What a session holds.
const (
	sessionPerson  = "person"
	sessionSince   = "password" // when the password was set that it was opened with
	sessionLink    = "link"
	sessionInvited = "invited" // a password may be chosen without the old one
)

// identity finds out who asks, by what stands in settings and database now: a role
// that was taken away is gone at once.
func (g *Service) identity(r *http.Request, s *state) (Identity, error) {
	if g.openTo(s, r) {
		return Identity{Role: Keeper, Open: true}, nil
	}
	ctx := r.Context()
	if id := s.sessions.GetString(ctx, sessionLink); id != "" {
		l, err := g.link(ctx, id)
		if errors.Is(err, ErrLink) || err == nil && !l.Good(g.now()) {
			return Identity{}, nil
		}
		if err != nil {
			return Identity{}, err
		}
		if l.Kind == CrewLink {
			return Identity{Name: l.Name, Role: l.Role, Site: l.Site}, nil
		}
	}
	if v, is := g.byProvider(r, s); is {
		return v, nil
	}
	id := s.sessions.GetString(ctx, sessionPerson)
	person, known := s.person(id)
	if id == "" || !known {
		return Identity{}, nil
	}
	v := Identity{Person: person.ID, Name: person.Name, Role: person.Role, Sites: person.Sites}
	if s.sessions.GetBool(ctx, sessionInvited) {
		v.Role = Nobody // until a password is chosen
		return v, nil
	}
	var changed string
	err := g.db.QueryRowContext(ctx, `SELECT changed_at FROM account WHERE person = ?1`, id).Scan(&changed)
	if errors.Is(err, sql.ErrNoRows) || err == nil && changed != s.sessions.GetString(ctx, sessionSince) {
		return Identity{}, nil
	}
	if err != nil {
		return Identity{}, fmt.Errorf("account: %w", err)
	}
	return v, nil
}

// begin starts a session under a new token: one that somebody planted before is
// worth nothing.
func (g *Service) begin(r *http.Request, values map[string]any, until time.Time) error {
	s := g.sessionsOf(r)
	ctx := r.Context()
	if err := s.Clear(ctx); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	if err := s.RenewToken(ctx); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	for k, v := range values {
		s.Put(ctx, k, v)
	}
	if !until.IsZero() {
		s.SetDeadline(ctx, until)
	}
	return nil
}

// Logout ends the session.
func (g *Service) Logout(r *http.Request) error {
	if err := g.sessionsOf(r).Destroy(r.Context()); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	return nil
}

// Forget ends the sessions of a person, and takes away what they hold.
func (g *Service) Forget(ctx context.Context, person string) error {
	rows, err := g.db.QueryContext(ctx, `SELECT token, data FROM web_session`)
	if err != nil {
		return fmt.Errorf("session: %w", err)
	}
	defer rows.Close()
	var theirs []string
	for rows.Next() {
		var token string
		var data []byte
		if err := rows.Scan(&token, &data); err != nil {
			return fmt.Errorf("session: %w", err)
		}
		if _, values, err := (scs.GobCodec{}).Decode(data); err != nil ||
			values[sessionPerson] == person { // one that can't be read is of no use
			theirs = append(theirs, token)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("session: %w", err)
	}
	_ = rows.Close() // the database may have one connection
	for _, token := range theirs {
		if err := (&sessionStore{g.db, g.now}).DeleteCtx(ctx, token); err != nil {
			return err
		}
	}
	return nil
}

// Tidy drops what has ended.
func (g *Service) Tidy(ctx context.Context, now time.Time) error {
	old := stamp(now.AddDate(0, -3, 0))
	for _, q := range []struct{ text, before string }{
		{`DELETE FROM web_session WHERE expires_at < ?1`, stamp(now)},
		{`DELETE FROM access_link WHERE expires_at < ?1`, old},
		{`DELETE FROM access_token WHERE expires_at < ?1`, old},
	} {
		if _, err := g.db.ExecContext(ctx, q.text, q.before); err != nil {
			return fmt.Errorf("tidy sessions: %w", err)
		}
	}
	return nil
}
