// Package ledger remembers what was decided, who is to be told, and how each
// attempt went. A decision and its deliveries are written in one transaction,
// and a delivery stays until it is sent or of no more use.
package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"thawline/alerts"
	"thawline/alerts/engine"
	"thawline/forecast/archive"
)

// Ledger is the tables of decisions and deliveries in a database.
type Ledger struct {
	db    *sql.DB
	trips bool // several questions may go in one round trip

	key atomic.Pointer[[]byte] // once it is read: nobody changes it

	mu      sync.Mutex // never held while the database is asked: who writes there waits for it
	jobs    engine.Enqueuer
	queueOf func(person string) string
	joins   atomic.Bool // something was rung for that waits for company
}

// New uses a database that has the tables.
func New(db *sql.DB) *Ledger { return &Ledger{db: db, trips: archive.Trips(db)} }

// State is how far a delivery has come.
type State string

// The states.
const (
	Waiting State = "waiting"
	Sent    State = "sent"
	Expired State = "expired" // it would have come too late to be of use
	Failed  State = "failed"  // no channel will take it
	Held    State = "held"    // quiet hours outlast its use
)

const instant = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(instant)
}

func unstamp(s string) time.Time {
	t, err := time.Parse(instant, s)
	if err != nil {
		return time.Time{}
	}
	return t
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// ErrNone is what asking for something that is not there gives.
var ErrNone = errors.New("nothing of that id")

// Decision finds one by its id or that of one of its deliveries, or by the start of either.
func (l *Ledger) Decision(ctx context.Context, id string) (alerts.Decision, time.Time, []Delivery, error) {
	var document, made, whole string
	query := `SELECT id, document, made_at FROM decision WHERE id LIKE ?1 || '%' OR id = (SELECT decision_id FROM delivery WHERE id LIKE ?1 || '%') LIMIT 1`
	if id = strings.NewReplacer("%", "", "_", "").Replace(id); len(id) == len(uuid.Nil.String()) { // whole, and found without reading all there are
		query = `SELECT id, document, made_at FROM decision WHERE id = ?1 OR id = (SELECT decision_id FROM delivery WHERE id = ?1)`
	}
	err := l.db.QueryRowContext(ctx, query, id).Scan(&whole, &document, &made)
	if errors.Is(err, sql.ErrNoRows) {
		return alerts.Decision{}, time.Time{}, nil, ErrNone
	}
	if err != nil {
		return alerts.Decision{}, time.Time{}, nil, fmt.Errorf("ledger: %w", err)
	}
	var d alerts.Decision
	if err := json.Unmarshal([]byte(document), &d); err != nil {
		return d, time.Time{}, nil, fmt.Errorf("ledger: decision %s: %w", whole, err)
	}
	deliveries, err := l.list(ctx, `SELECT `+deliveryColumns+` WHERE d.id = ?1 ORDER BY v.person`, whole)
	return d, unstamp(made), deliveries, err
}

// Acknowledge notes that a person has seen a message, with all that was sent in it. Doing
// it again changes nothing.
func (l *Ledger) Acknowledge(ctx context.Context, delivery string, now time.Time) error {
	done, err := l.db.ExecContext(ctx, `UPDATE delivery SET acked_at = CASE WHEN acked_at = '' THEN ?2 ELSE acked_at END WHERE id IN (`+sameMessage+`)`, delivery, stamp(now))
	if err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(ErrNone, err)
	}
	return nil
}

// sameMessage are the deliveries that went in one message with ?1, itself among them.
const sameMessage = `WITH m AS (SELECT id, sent_at, CASE WHEN goes_with = '' THEN id ELSE goes_with END AS carrier FROM delivery WHERE id = ?1)
	SELECT id FROM m UNION SELECT c.id FROM m JOIN delivery c ON c.id = m.carrier WHERE c.sent_at = m.sent_at AND m.sent_at <> ''
	UNION SELECT o.id FROM m JOIN delivery o ON o.goes_with = m.carrier WHERE o.sent_at = m.sent_at AND m.sent_at <> ''`

// Unanswered lists urgent messages that are still of use and that nobody has
// acknowledged: those that were sent before a moment, and those that could not be
// delivered.
func (l *Ledger) Unanswered(ctx context.Context, before, now time.Time) ([]Delivery, error) {
	return l.list(ctx, unanswered+` ORDER BY v.sent_at`, stamp(before), stamp(now))
}

const unanswered = `SELECT ` + deliveryColumns + ` WHERE v.urgent = 1 AND (v.state = 'sent' AND v.sent_at <= ?1 OR v.state = 'failed') AND d.useful_to > ?2
		AND NOT EXISTS (SELECT 1 FROM delivery o WHERE o.decision_id = d.id AND o.acked_at <> '')`

// Unescalated are those of Unanswered of which nobody else was told: no escalation of their
// decision was made, or one that reached nobody and was not passed on in turn.
func (l *Ledger) Unescalated(ctx context.Context, before, now time.Time) ([]Delivery, error) {
	return l.list(ctx, unanswered+` AND NOT EXISTS (SELECT 1 FROM decision e WHERE e.site = d.site AND e.name = ?3 || d.id AND (
			NOT EXISTS (SELECT 1 FROM delivery x WHERE x.decision_id = e.id)
			OR EXISTS (SELECT 1 FROM delivery x WHERE x.decision_id = e.id AND x.state IN ('sent', 'waiting'))
			OR EXISTS (SELECT 1 FROM decision n WHERE n.site = d.site AND n.name = ?3 || e.id))) ORDER BY v.sent_at`,
		stamp(before), stamp(now), EscalationOf(""))
}

// Escalated finds the escalation of a decision of a site and those who were to hear of it; its
// id is "" where there is none.
func (l *Ledger) Escalated(ctx context.Context, site, decision string) (id string, to []Delivery, err error) {
	err = l.db.QueryRowContext(ctx, `SELECT id FROM decision WHERE site = ?1 AND name = ?2`, site, EscalationOf(decision)).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil, nil
	}
	if err != nil {
		return "", nil, fmt.Errorf("ledger: %w", err)
	}
	to, err = l.list(ctx, `SELECT `+deliveryColumns+` WHERE d.id = ?1 ORDER BY v.person`, id)
	return id, to, err
}

// EscalationOf is the key of the escalation of a decision.
func EscalationOf(decision string) string { return string(alerts.Escalation) + ":" + decision }

// Known reports whether a decision of that key was made.
func (l *Ledger) Known(ctx context.Context, site, key string) (bool, error) {
	var n int
	if err := l.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM decision WHERE site = ?1 AND name = ?2`, site, key).Scan(&n); err != nil {
		return false, fmt.Errorf("ledger: %w", err)
	}
	return n > 0, nil
}

// Memory answers the rules from the ledger.
func (l *Ledger) Memory(ctx context.Context) alerts.Memory { return memory{ctx, l} }

type memory struct {
	ctx context.Context
	l   *Ledger
}

// Last is the newest decision of a kind.
func (m memory) Last(site string, kind alerts.Kind, keyBegins string) (alerts.Decision, time.Time, bool, error) {
	var document, made string
	var d alerts.Decision
	err := m.l.db.QueryRowContext(m.ctx,
		`SELECT document, made_at FROM decision WHERE site = ?1 AND kind = ?2 AND name LIKE ?3 || '%' ORDER BY made_at DESC LIMIT 1`,
		site, string(kind), string(kind)+":"+keyBegins).Scan(&document, &made)
	if errors.Is(err, sql.ErrNoRows) {
		return alerts.Decision{}, time.Time{}, false, nil
	}
	if err == nil && json.Unmarshal([]byte(document), &d) != nil {
		return alerts.Decision{}, time.Time{}, false, nil // spoilt for good: no reason to be silent for good
	}
	if err != nil {
		return alerts.Decision{}, time.Time{}, false, fmt.Errorf("ledger: last %s of %s: %w", kind, site, err)
	}
	return d, unstamp(made), true, nil
}

// Done reports whether a job did its work for a slot.
func (l *Ledger) Done(ctx context.Context, site, job, slot string) (bool, error) {
	var n int
	err := l.db.QueryRowContext(ctx, jobDone, site, job, slot).Scan(&n)
	if err != nil {
		return false, fmt.Errorf("ledger: %w", err)
	}
	return n > 0, nil
}

const jobDone = `SELECT COUNT(*) FROM job_done WHERE site = ?1 AND job = ?2 AND slot = ?3`

// MarkDone notes that a job did its work for a slot.
func (l *Ledger) MarkDone(ctx context.Context, site, job, slot string, now time.Time) error {
	if _, err := l.db.ExecContext(ctx, `INSERT INTO job_done (site, job, slot, done_at) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (site, job, slot) DO NOTHING`, site, job, slot, stamp(now)); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}

// Forget removes a site's decisions from before a moment, with their deliveries
// and attempts, and the calendar entries and job slots of that time. What is
// still to be delivered stays.
func (l *Ledger) Forget(ctx context.Context, site string, before time.Time) (err error) {
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	const old = `SELECT id FROM decision WHERE site = ?1 AND made_at < ?2 AND id NOT IN (SELECT decision_id FROM delivery WHERE state = 'waiting')`
	for _, q := range []string{
		`DELETE FROM attempt WHERE delivery_id IN (SELECT id FROM delivery WHERE decision_id IN (` + old + `))`,
		`DELETE FROM delivery WHERE decision_id IN (` + old + `)`,
		`DELETE FROM decision WHERE site = ?1 AND made_at < ?2 AND id NOT IN (SELECT decision_id FROM delivery)`,
		`DELETE FROM calendar_entry WHERE site = ?1 AND ends_at < ?2`,
		`DELETE FROM job_done WHERE site = ?1 AND done_at < ?2`,
	} {
		if _, err := tx.ExecContext(ctx, q, site, stamp(before)); err != nil {
			return fmt.Errorf("ledger: %w", err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}
