package ledger

import (
	"cmp"
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// PutEntries brings a site's calendar up to what is expected now: a changed
// entry gets a higher sequence, one that is to come and not expected any more is
// called off. Entries that have begun stay as they are.
func (l *Ledger) PutEntries(ctx context.Context, site string, expected []feed.Entry, now time.Time) error {
	have := map[string]feed.Entry{}
	if err := archive.Together(ctx, l.db, l.trips, EntriesOf(site, now, have)); err != nil {
		return fmt.Errorf("ledger: calendar: %w", err)
	}
	changed, err := EntriesChanged(site, have, expected, now)
	if err != nil {
		return err
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if err := archive.Together(ctx, tx, l.trips, changed...); err != nil {
		return errors.Join(fmt.Errorf("ledger: calendar: %w", err), ignoreDone(tx.Rollback()))
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("ledger: calendar: %w", err)
	}
	return nil
}

// EntriesChanged writes what PutEntries does, over what was read.
func EntriesChanged(site string, have map[string]feed.Entry, expected []feed.Entry, now time.Time) (changed []*archive.Question,
	err error) {
	put := func(e feed.Entry) {
		q, fault := putEntry(site, e)
		changed, err = append(changed, q), errors.Join(err, fault)
	}
	want := map[string]bool{}
	for _, e := range expected {
		want[e.UID] = true
		old, known := have[e.UID]
		if known && (old.Start.Before(now) || same(old, e)) {
			continue
		}
		e.Sequence, e.Changed = 0, now
		if known {
			e.Sequence = old.Sequence + 1
		}
		put(e)
	}
	for _, uid := range slices.Sorted(maps.Keys(have)) { // in one order in every replay
		old := have[uid]
		if !want[uid] && !old.CalledOff && old.Start.After(now) {
			old.Sequence, old.Changed, old.CalledOff = old.Sequence+1, now, true
			put(old)
		}
	}
	return changed, err
}

func same(a, b feed.Entry) bool {
	return !a.CalledOff && a.Start.Equal(b.Start) && a.End.Equal(b.End) && a.Summary == b.Summary && a.Text == b.Text
}

func putEntry(site string, e feed.Entry) (*archive.Question, error) {
	document, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("ledger: calendar: %w", err)
	}
	off := 0
	if e.CalledOff {
		off = 1
	}
	return &archive.Question{Query: `INSERT INTO calendar_entry (site, uid, sequence, changed_at, ends_at, called_off, document) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
		ON CONFLICT (site, uid) DO UPDATE SET sequence = excluded.sequence, changed_at = excluded.changed_at, ends_at = excluded.ends_at, called_off = excluded.called_off, document = excluded.document`,
		Args: []any{site, e.UID, e.Sequence, stamp(e.Changed), stamp(e.End), off, string(document)}}, nil
}

// keptDays is how long entries that are past stay in the calendar.
const keptDays = 30

// EntriesOf asks for a site's calendar, by the entries' names.
func EntriesOf(site string, now time.Time, into map[string]feed.Entry) *archive.Question {
	return &archive.Question{Query: `SELECT document FROM calendar_entry WHERE site = ?1 AND ends_at >= ?2`,
		Args: []any{site, stamp(now.AddDate(0, 0, -keptDays))}, Read: func(rows *sql.Rows) error {
			var document string
			var e feed.Entry
			if err := rows.Scan(&document); err != nil {
				return err
			}
			if err := json.Unmarshal([]byte(document), &e); err != nil {
				return err
			}
			into[e.UID] = e
			return nil
		}}
}

// Entries lists a site's calendar in order of time.
func (l *Ledger) Entries(ctx context.Context, site string, now time.Time) ([]feed.Entry, error) {
	have := map[string]feed.Entry{}
	err := archive.Together(ctx, l.db, l.trips, EntriesOf(site, now, have))
	if err != nil {
		return nil, fmt.Errorf("ledger: calendar: %w", err)
	}
	var out []feed.Entry
	for _, e := range have {
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b feed.Entry) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.UID, b.UID)) })
	return out, err
}

// SetStopped notes that a person wants no more messages, or wants them again.
func (l *Ledger) SetStopped(ctx context.Context, person string, stopped bool, now time.Time) error {
	query, args := `DELETE FROM person_stopped WHERE person = ?1`, []any{person}
	if stopped {
		query, args = `INSERT INTO person_stopped (person, stopped_at) VALUES (?1, ?2) ON CONFLICT (person) DO NOTHING`,
			[]any{person, stamp(now)}
	}
	if _, err := l.db.ExecContext(ctx, query, args...); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}

// Stopped reports whether a person wants no messages.
func (l *Ledger) Stopped(ctx context.Context, person string) (bool, error) {
	var n int
	if err := l.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM person_stopped WHERE person = ?1`, person).Scan(&n); err != nil {
		return false, fmt.Errorf("ledger: %w", err)
	}
	return n > 0, nil
}

// SetPaused notes that a person wants no messages before a moment; the zero time ends
// the pause.
func (l *Ledger) SetPaused(ctx context.Context, person string, until time.Time) error {
	query, args := `DELETE FROM person_paused WHERE person = ?1`, []any{person}
	if !until.IsZero() {
		query, args = `INSERT INTO person_paused (person, until) VALUES (?1, ?2) ON CONFLICT (person) DO UPDATE SET until = excluded.until`, []any{person, stamp(until)}
	}
	if _, err := l.db.ExecContext(ctx, query, args...); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}

// NewRoundOf asks what people know of a site's work by the last news of a round, and since when.
func NewRoundOf(site string, into *NewRound) *archive.Question {
	return &archive.Question{Query: `SELECT document, made_at FROM decision WHERE site = ?1 AND kind = ?2 ORDER BY made_at DESC LIMIT 1`,
		Args: []any{site, string(alerts.NewRound)}, Read: func(rows *sql.Rows) error {
			var document, made string
			if err := rows.Scan(&document, &made); err != nil {
				return err
			}
			var d alerts.Decision
			if json.Unmarshal([]byte(document), &d) == nil && d.Facts.Work != nil { // else the plan is free
				*into = NewRound{*d.Facts.Work, unstamp(made)}
			}
			return nil
		}}
}

// NewRound is what people know of the work since a moment.
type NewRound struct {
	forecast.Announced
	At time.Time
}

// NewRound is the last news of a round of a site; empty where there is none.
func (l *Ledger) NewRound(ctx context.Context, site string) (NewRound, error) {
	var last NewRound
	if err := archive.Together(ctx, l.db, l.trips, NewRoundOf(site, &last)); err != nil {
		return NewRound{}, fmt.Errorf("ledger: new round of %s: %w", site, err)
	}
	return last, nil
}

// PausesOf asks who wants no messages at a moment, and until when.
func PausesOf(now time.Time, into map[string]time.Time) *archive.Question {
	return &archive.Question{Query: `SELECT person, until FROM person_paused WHERE until > ?1`, Args: []any{stamp(now)},
		Read: func(rows *sql.Rows) error {
			var person, until string
			if err := rows.Scan(&person, &until); err != nil {
				return err
			}
			at, err := time.Parse(instant, until)
			into[person] = at
			return err
		}}
}

// Pauses are who wants no messages at a moment, and until when.
func (l *Ledger) Pauses(ctx context.Context, now time.Time) (map[string]time.Time, error) {
	have := map[string]time.Time{}
	if err := archive.Together(ctx, l.db, l.trips, PausesOf(now, have)); err != nil {
		return nil, fmt.Errorf("ledger: pauses: %w", err)
	}
	return have, nil
}

// Silenced reports whether a person wants no messages at a moment: they have stopped
// them, or pause.
func (l *Ledger) Silenced(ctx context.Context, person string, now time.Time) (bool, error) {
	var n int
	if err := l.db.QueryRowContext(ctx, `SELECT (SELECT COUNT(*) FROM person_stopped WHERE person = ?1) + (SELECT COUNT(*) FROM person_paused WHERE person = ?1 AND until > ?2)`, person, stamp(now)).Scan(&n); err != nil {
		return false, fmt.Errorf("ledger: %w", err)
	}
	return n > 0, nil
}

// Newest is the last message that was sent to a person, but for answers to what they
// wrote; of several that were sent at once an urgent one.
func (l *Ledger) Newest(ctx context.Context, person string) (Delivery, error) {
	list, err := l.list(ctx, `SELECT `+deliveryColumns+` WHERE v.person = ?1 AND v.state = 'sent' AND d.kind <> ?2 ORDER BY v.sent_at DESC, v.urgent DESC, d.id DESC LIMIT 1`, person, string(alerts.Reply))
	if err != nil {
		return Delivery{}, err
	}
	if len(list) == 0 {
		return Delivery{}, ErrNone
	}
	return list[0], nil
}

// NewestReply is the key of the answer that a person was given last, "" for none.
func (l *Ledger) NewestReply(ctx context.Context, person string) (key string, err error) {
	err = l.db.QueryRowContext(ctx, `SELECT d.name FROM decision d JOIN delivery v ON v.decision_id = d.id WHERE v.person = ?1 AND d.kind = ?2 ORDER BY d.made_at DESC, d.id DESC LIMIT 1`, person, string(alerts.Reply)).Scan(&key)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("ledger: %w", err)
	}
	return key, nil
}

// Key is a secret that stays with the database, made at first use: unguessable
// addresses, and the ids of messages, are made with it.
func (l *Ledger) Key(ctx context.Context) ([]byte, error) {
	if key := l.key.Load(); key != nil {
		return *key, nil
	}
	text, err := l.keptKey(ctx) // also where the disk is full
	if errors.Is(err, sql.ErrNoRows) {
		fresh := make([]byte, 32)
		if _, err := rand.Read(fresh); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		if _, err := l.db.ExecContext(ctx, `INSERT INTO kept_value (name, value) VALUES ('address_key', ?1) ON CONFLICT (name) DO NOTHING`,
			hex.EncodeToString(fresh)); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		text, err = l.keptKey(ctx) // which may be another daemon's
	}
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	key, err := hex.DecodeString(text)
	if err != nil {
		return nil, fmt.Errorf("ledger: key of addresses: %w", err)
	}
	l.key.Store(&key)
	return key, nil
}

func (l *Ledger) keptKey(ctx context.Context) (text string, err error) {
	err = l.db.QueryRowContext(ctx, `SELECT value FROM kept_value WHERE name = 'address_key'`).Scan(&text)
	return text, err
}
