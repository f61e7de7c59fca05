package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"thawline/alerts"
	"thawline/forecast/archive"
)

// Delivery is one message to one person.
type Delivery struct {
	ID, Person, Words string
	Forms
	Site              string
	Kind              alerts.Kind
	Channel, Attempts int
	State             State
	MadeAt, Until     time.Time
	NextAt, SentAt    time.Time
	AckedAt           time.Time
	Urgent            bool
	DecisionID        string
	// GoesWith is the delivery in whose message the words go, "" for one of its own.
	GoesWith string
	// With are the others whose words go in this one's message, where they were asked for.
	With []Delivery
	// Where it was taken: those that it carries, the attempts so far, whether the person
	// wants no messages, and how many writes there were to the site's records.
	Carried  []Delivery
	Tried    []Attempt
	Silenced bool
	Changes  int64
}

// Beyond reports whether no message reaches the person: then none was tried.
func (v *Delivery) Beyond() bool { return v.State == Failed && v.Attempts == 0 }

const deliveryColumns = `v.id, v.person, v.words, v.state, v.channel, v.attempts, v.next_at, v.sent_at, v.acked_at, v.urgent, d.site, d.kind, d.made_at, d.useful_to, d.id, v.goes_with, v.texted, v.spoken
	FROM delivery v JOIN decision d ON d.id = v.decision_id`

func scan(rows interface{ Scan(...any) error }) (Delivery, error) {
	var v Delivery
	var state, kind, next, sent, acked, made, until string
	var urgent int64
	err := rows.Scan(&v.ID, &v.Person, &v.Words, &state, &v.Channel, &v.Attempts, &next, &sent, &acked, &urgent, &v.Site, &kind, &made,
		&until, &v.DecisionID, &v.GoesWith, &v.Texted, &v.Spoken)
	v.State, v.Kind, v.Urgent = State(state), alerts.Kind(kind), urgent != 0
	v.NextAt, v.SentAt, v.AckedAt, v.MadeAt, v.Until = unstamp(next), unstamp(sent), unstamp(acked), unstamp(made), unstamp(until)
	return v, err
}

// byItself is true of a delivery, as v, that no other one carries, or not any more.
const byItself = `(v.goes_with = '' OR NOT EXISTS (SELECT 1 FROM delivery c WHERE c.id = v.goes_with AND c.state = 'waiting'))`

// Due lists the messages to try at a moment, the oldest first.
func (l *Ledger) Due(ctx context.Context, now time.Time, most int) ([]Delivery, error) {
	return l.list(ctx, `SELECT `+deliveryColumns+` WHERE v.state = 'waiting' AND v.next_at <= ?1 AND `+byItself+` ORDER BY v.next_at LIMIT ?2`, stamp(now), most)
}

const carriedBy = `SELECT ` + deliveryColumns + ` WHERE v.goes_with = ?1 AND v.state = 'waiting' ORDER BY d.id`

// CarriedBy lists the deliveries whose words still go in another one's message.
func (l *Ledger) CarriedBy(ctx context.Context, carrier string) ([]Delivery, error) {
	return l.list(ctx, carriedBy, carrier)
}

// Recent lists the newest deliveries.
func (l *Ledger) Recent(ctx context.Context, most int) ([]Delivery, error) {
	return l.list(ctx, `SELECT `+deliveryColumns+` ORDER BY d.made_at DESC, v.person LIMIT ?1`, most)
}

// RecentOf lists the newest deliveries about some sites, but for invitations: their links
// are nobody else's.
func (l *Ledger) RecentOf(ctx context.Context, sites []string, most int) ([]Delivery, error) {
	if len(sites) == 0 {
		return nil, nil
	}
	in, args := among(sites, 2)
	return l.list(ctx, `SELECT `+deliveryColumns+` WHERE d.site IN (`+in+`) AND d.name NOT LIKE 'invite:%' ORDER BY d.made_at DESC, v.person LIMIT ?1`, append([]any{most}, args...)...)
}

// Told lists what was told of the newest decisions of some kinds about a site, to
// everybody who was, the newest decision first.
func (l *Ledger) Told(ctx context.Context, site string, kinds []alerts.Kind, most int) ([]Delivery, error) {
	if len(kinds) == 0 {
		return nil, nil
	}
	in, args := among(kinds, 3)
	return l.list(ctx, `SELECT `+deliveryColumns+` WHERE d.id IN (SELECT n.id FROM decision n WHERE n.site = ?1 AND n.kind IN (`+in+`)
		AND EXISTS (SELECT 1 FROM delivery o WHERE o.decision_id = n.id) ORDER BY n.made_at DESC LIMIT ?2) ORDER BY d.made_at DESC, d.id, v.person`, append([]any{site, most}, args...)...)
}

// among writes the inside of an IN for values, whose arguments are numbered from
// one on.
func among[T ~string](values []T, from int) (in string, args []any) {
	for i, v := range values {
		if i > 0 {
			in += ", "
		}
		in += fmt.Sprintf("?%d", from+i)
		args = append(args, string(v))
	}
	return in, args
}

func (l *Ledger) list(ctx context.Context, query string, args ...any) (out []Delivery, err error) {
	if err := archive.Together(ctx, l.db, l.trips, &archive.Question{Query: query, Args: args, Read: readDeliveries(&out)}); err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	return out, nil
}

func readDeliveries(into *[]Delivery) func(*sql.Rows) error {
	return func(rows *sql.Rows) error {
		v, err := scan(rows)
		*into = append(*into, v)
		return err
	}
}

// Attempt is one try at one channel.
type Attempt struct {
	Number  int
	At      time.Time
	Channel string
	Outcome string // "accepted", "refused" or "later"
	Said    string // by the other side, or what went wrong
}

// Attempted records a holder's try and what it makes of the delivery: its new
// state, which channel is next and when. What went with it has come as far. The delivery
// is let go of. It gives ErrTaken if another daemon has it in hand by now.
func (l *Ledger) Attempted(ctx context.Context, holder string, v *Delivery, a Attempt) error {
	still := false
	var left []Delivery
	questions := []*archive.Question{{Query: `UPDATE delivery SET state = ?2, channel = ?3, attempts = ?4, next_at = ?5, sent_at = ?6, held_until = '' WHERE id = ?1 AND holder = ?7 RETURNING id`,
		Args: []any{v.ID, string(v.State), v.Channel, v.Attempts, stamp(v.NextAt), stamp(v.SentAt), holder},
		Read: func(*sql.Rows) error { still = true; return nil }}}
	for i := range v.With {
		questions = append(questions, &archive.Question{Query: `UPDATE delivery SET state = ?2, channel = ?3, attempts = ?4, next_at = ?5, sent_at = ?6 WHERE id = ?1 AND state = 'waiting'`,
			Args: []any{v.With[i].ID, string(v.State), v.Channel, v.Attempts, stamp(v.NextAt), stamp(v.SentAt)}})
	}
	questions = append(questions, &archive.Question{Query: `INSERT INTO attempt (delivery_id, number, at, channel, outcome, said) VALUES (?1, ?2, ?3, ?4, ?5, ?6)`,
		Args: []any{v.ID, a.Number, stamp(a.At), a.Channel, a.Outcome, a.Said}})
	if v.State != Waiting { // what it has not carried goes by itself
		questions = append(questions, &archive.Question{Query: carriedBy, Args: []any{v.ID}, Read: readDeliveries(&left)})
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	err = archive.Together(ctx, tx, l.trips, questions...)
	if err == nil && !still {
		err = ErrTaken
	}
	if err == nil {
		err = l.ring(archive.Later(ctx), tx, left...)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("ledger: attempt on %s: %w", v.ID, err), tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("ledger: attempt on %s: %w", v.ID, err)
	}
	return nil
}

// Attempts lists the tries of a delivery, also in another one's message.
func (l *Ledger) Attempts(ctx context.Context, delivery string) (out []Attempt, err error) {
	if err := archive.Together(ctx, l.db, l.trips, attemptsOf(delivery, &out)); err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	return out, nil
}

func attemptsOf(delivery string, into *[]Attempt) *archive.Question {
	return &archive.Question{Query: `SELECT number, at, channel, outcome, said FROM attempt WHERE delivery_id = ?1 OR delivery_id = (SELECT goes_with FROM delivery WHERE id = ?1) ORDER BY number`,
		Args: []any{delivery}, Read: func(rows *sql.Rows) error {
			var a Attempt
			var at string
			err := rows.Scan(&a.Number, &at, &a.Channel, &a.Outcome, &a.Said)
			a.At = unstamp(at)
			*into = append(*into, a)
			return err
		}}
}
