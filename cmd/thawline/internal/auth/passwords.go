package auth

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/argon2id"
)

// Why somebody is not let in.
var (
	ErrWrong = errors.New("name and password do not go together")
	ErrShort = errors.New("a password has ten to two hundred letters")
	ErrCode  = errors.New("that is not the set-up code, or it is too old")
)

const (
	shortestPassword = 10
	longestPassword  = 200
	codeLife         = 24 * time.Hour
)

// hardness is the least that OWASP advises for argon2id (from memory): 19 MiB and
// two passes, some 40 ms on a small computer.
var hardness = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Two passwords of strangers are worked on at a time, and one on a known device, which
// waits for no stranger: more would take memory that the machine may not have.
var (
	hashing       = make(chan struct{}, 2)
	hashingDevice = make(chan struct{}, 1)
)

func hashed[T any](place chan struct{}, work func() (T, error)) (T, error) {
	place <- struct{}{}
	defer func() { <-place }()
	return work()
}

// nobodysHash is compared with where there is no account, so that the time taken
// tells nothing.
var nobodysHash = sync.OnceValues(func() (string, error) { return argon2id.CreateHash("nobody has this password", hardness) })

func fit(password string) error {
	if n := len([]rune(password)); n < shortestPassword || len(password) > 4*longestPassword || n > longestPassword {
		return ErrShort
	}
	return nil
}

// Login starts a session for a person, named by id or name, if the password is
// theirs, and lets the browser be known again. After wrong tries the next ones wait
// for their turn. It gives ErrWrong, or ErrThrottled where too many wait already.
func (g *Service) Login(w http.ResponseWriter, r *http.Request, name, password string) error {
	s := g.state.Load()
	name = strings.ToLower(strings.TrimSpace(name))
	id := ""
	for _, p := range s.People {
		if strings.ToLower(p.ID) == name || strings.ToLower(p.Name) == name {
			id, name = p.ID, p.ID
			break
		}
	}
	since, err := g.try(r, id, name, password)
	if err != nil {
		return err
	}
	return g.beginOn(w, r, id, since)
}

// beginOn starts a session of a person and lets the browser be known again.
func (g *Service) beginOn(w http.ResponseWriter, r *http.Request, id, since string) error {
	if err := g.rememberDevice(w, r, id); err != nil {
		return err
	}
	return g.begin(r, map[string]any{sessionPerson: id, sessionSince: since}, time.Time{})
}

// try compares a password when it is its turn. id is "" for nobody of the settings.
func (g *Service) try(r *http.Request, id, name, password string) (since string, err error) {
	ctx := r.Context()
	address, named := g.state.Load().client(r)
	of, place := stranger(name, address), hashing
	if known := g.deviceOf(ctx, r, id); known != "" {
		of, place = device(known), hashingDevice
	}
	wait, err := g.throttle.turn(of, named, g.now())
	if err != nil {
		return "", err
	}
	if err := g.pause(ctx, wait); err != nil {
		return "", err
	}
	since, right, err := g.compare(ctx, place, id, password)
	if err != nil {
		return "", err
	}
	if !right {
		g.throttle.wrong(of, g.now())
		g.log.Warn("a wrong password", "person", id, "address", address)
		return "", ErrWrong
	}
	g.throttle.right(of)
	return since, nil
}

// compare takes as long for nobody as for somebody.
func (g *Service) compare(ctx context.Context, place chan struct{}, id, password string) (since string, right bool, err error) {
	hash, err := nobodysHash()
	if err != nil {
		return "", false, fmt.Errorf("password: %w", err)
	}
	known := true
	var kept string
	err = g.db.QueryRowContext(ctx, `SELECT password_hash, changed_at FROM account WHERE person = ?1`, id).Scan(&kept, &since)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		known = false
	case err != nil:
		return "", false, fmt.Errorf("account: %w", err)
	default:
		hash = kept
	}
	if len(password) > 4*longestPassword {
		password = ""
	}
	match, err := hashed(place, func() (bool, error) { return argon2id.ComparePasswordAndHash(password, hash) })
	if err != nil {
		return "", false, fmt.Errorf("password of %s: %w", id, err)
	}
	return since, match && known, nil
}

// ChangePassword gives the visitor a new password: with the old one, or in a
// session that an invitation opened. Every other session of theirs ends.
func (g *Service) ChangePassword(w http.ResponseWriter, r *http.Request, old, fresh string) error {
	s := g.sessionsOf(r)
	ctx := r.Context()
	id := s.GetString(ctx, sessionPerson)
	if _, known := g.state.Load().person(id); !known {
		return ErrWrong
	}
	if !s.GetBool(ctx, sessionInvited) {
		if _, err := g.try(r, id, id, old); err != nil {
			return err
		}
	}
	if err := fit(fresh); err != nil {
		return err
	}
	if link := s.GetString(ctx, sessionLink); link != "" {
		if err := g.useUp(ctx, link); err != nil {
			return err
		}
	}
	since, err := g.setPassword(ctx, g.db, id, fresh)
	if err != nil {
		return err
	}
	return g.beginOn(w, r, id, since)
}

// Invited reports whether the visitor may choose a password without an old one.
func (g *Service) Invited(r *http.Request) bool {
	return g.sessionsOf(r).GetBool(r.Context(), sessionInvited)
}

type execer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

func (g *Service) setPassword(ctx context.Context, db execer, person, password string) (since string, err error) {
	if err := fit(password); err != nil {
		return "", err
	}
	hash, err := hashed(hashingDevice, func() (string, error) { return argon2id.CreateHash(password, hardness) })
	if err != nil {
		return "", fmt.Errorf("password: %w", err)
	}
	since = stamp(g.now())
	if _, err := db.ExecContext(ctx, `INSERT INTO account (person, password_hash, changed_at) VALUES (?1, ?2, ?3)
		ON CONFLICT (person) DO UPDATE SET password_hash = excluded.password_hash, changed_at = excluded.changed_at`, person, hash, since); err != nil {
		return "", fmt.Errorf("account: %w", err)
	}
	return since, nil
}

// HaveAccounts are the people who have a password.
func (g *Service) HaveAccounts(ctx context.Context) (map[string]bool, error) {
	rows, err := g.db.QueryContext(ctx, `SELECT person FROM account`)
	if err != nil {
		return nil, fmt.Errorf("accounts: %w", err)
	}
	defer rows.Close()
	out := map[string]bool{}
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, fmt.Errorf("accounts: %w", err)
		}
		out[id] = true
	}
	return out, rows.Err()
}

// SetUpNeeded reports whether a login is asked for and no keeper has a password
// yet.
func (g *Service) SetUpNeeded(ctx context.Context) (bool, error) {
	s := g.state.Load()
	if g.open(s) {
		return false, nil
	}
	have, err := g.HaveAccounts(ctx)
	for _, p := range s.People {
		if p.Role == Keeper && have[p.ID] {
			return false, err
		}
	}
	return true, err
}

const codeLetters = "23456789ABCDEFGHJKMNPQRSTVWXYZ" // none that are taken for another

// SetUpCode makes a code with which the first keeper sets things up; one that
// was made before is worth nothing then.
func (g *Service) SetUpCode(ctx context.Context) (string, error) {
	var b strings.Builder
	for b.Len() < 12 {
		var one [1]byte
		if _, err := rand.Read(one[:]); err != nil {
			return "", fmt.Errorf("set-up code: %w", err)
		}
		if int(one[0]) < len(codeLetters)*8 { // each letter as likely as the others
			b.WriteByte(codeLetters[int(one[0])%len(codeLetters)])
		}
	}
	code := b.String()
	kept := hashOf(code) + " " + stamp(g.now().Add(codeLife))
	if _, err := g.db.ExecContext(ctx, `INSERT INTO kept_value (name, value) VALUES ('setup_code', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, kept); err != nil {
		return "", fmt.Errorf("set-up code: %w", err)
	}
	return code[:4] + "-" + code[4:8] + "-" + code[8:], nil
}

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// SetUp gives the first keeper a password, for the code, and starts a session.
// The code works once.
func (g *Service) SetUp(w http.ResponseWriter, r *http.Request, code, person, password string) (err error) {
	ctx := r.Context()
	s := g.state.Load()
	if needed, err := g.SetUpNeeded(ctx); err != nil || !needed {
		return errors.Join(ErrCode, err)
	}
	if p, known := s.person(person); !known || p.Role != Keeper {
		return ErrWrong
	}
	if err := fit(password); err != nil {
		return err
	}
	tx, err := g.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("set-up: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	var kept string
	err = tx.QueryRowContext(ctx, `SELECT value FROM kept_value WHERE name = 'setup_code'`).Scan(&kept)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("set-up: %w", err)
	}
	hash, until, _ := strings.Cut(kept, " ")
	code = strings.NewReplacer("-", "", " ", "").Replace(strings.ToUpper(code))
	if subtle.ConstantTimeCompare([]byte(hash), []byte(hashOf(code))) != 1 || !g.now().Before(unstamp(until)) {
		address, _ := s.client(r)
		if err := g.throttle.tooMany("setup", address, g.now()); err != nil {
			return err
		}
		return ErrCode
	}
	if _, err = tx.ExecContext(ctx, `DELETE FROM kept_value WHERE name = 'setup_code'`); err != nil {
		return fmt.Errorf("set-up: %w", err)
	}
	since, err := g.setPassword(ctx, tx, person, password)
	if err != nil {
		return err
	}
	if err = tx.Commit(); err != nil {
		return fmt.Errorf("set-up: %w", err)
	}
	return g.beginOn(w, r, person, since)
}
