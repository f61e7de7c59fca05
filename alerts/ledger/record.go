package ledger

import (
	"cmp"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/alerts"
	"thawline/forecast/archive"
)

// Recipient is one person to be told of a decision, in words that are already
// theirs.
type Recipient struct {
	Person string
	Words  string
	Forms
	NotBefore time.Time // the end of quiet hours, zero for at once
	Beyond    bool      // no message reaches them: it is written down as one that failed, untried
}

// Forms are the words of a message for ways that have less room or other letters than a
// page, "" where the words are the same.
type Forms struct {
	Texted string // for a text message
	Spoken string // for a voice
}

// Telling is a decision and who is to be told of it.
type Telling struct {
	Decision alerts.Decision
	To       []Recipient
}

// Record writes a decision and its deliveries, all or nothing. It reports false
// if the decision was made before: then nothing is written.
func (l *Ledger) Record(ctx context.Context, d alerts.Decision, to []Recipient, now time.Time) (fresh bool, err error) {
	all, err := l.RecordAll(ctx, []Telling{{d, to}}, now)
	return err == nil && all[0], err
}

// RecordAll writes what was decided at one moment, all or nothing, and reports which
// decisions were not made before: of the others nothing is written. What one person is
// told of a site at one moment goes in one message.
func (l *Ledger) RecordAll(ctx context.Context, list []Telling, now time.Time) (fresh []bool, err error) {
	return l.recordAll(ctx, list, now, func(*sql.Tx, []bool) error { return nil })
}

// recordAll is RecordAll, with what else is written in the same transaction. What is asked
// goes in one round trip, what is written in another.
func (l *Ledger) recordAll(ctx context.Context, list []Telling, now time.Time, also func(tx *sql.Tx, fresh []bool) error) (fresh []bool,
	err error) {
	fresh = make([]bool, len(list))
	ids := make([]string, len(list))
	var questions []*archive.Question
	for i := range list {
		var q *archive.Question
		if q, ids[i], err = putDecision(&list[i].Decision, now, &fresh[i]); err != nil {
			return nil, fmt.Errorf("ledger: record %s: %w", list[i].Decision.Key, err)
		}
		questions = append(questions, q)
	}
	deliveries := deliveriesOf(list, ids, now)
	waiting := map[bundle]*waitingMessage{}
	for _, v := range deliveries {
		if of := v.bundle(); v.joins() && waiting[of] == nil {
			waiting[of] = &waitingMessage{}
			questions = append(questions, waitingFor(v, now, waiting[of])...)
		}
	}
	if _, err := l.Key(ctx); err != nil { // the first one would wait for the transaction
		return nil, err
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreDone(tx.Rollback()))
		}
	}()
	if err := archive.Together(ctx, tx, l.trips, questions...); err != nil {
		return nil, fmt.Errorf("ledger: record: %w", err)
	}
	names := map[string]string{} // of an association's thousands, each is looked for
	for i, id := range ids {
		if fresh[i] {
			names[id] = list[i].Decision.Key
		}
	}
	deliveries = slices.DeleteFunc(deliveries, func(v *Delivery) bool { return names[v.DecisionID] == "" })
	if err := l.putDeliveries(archive.Later(ctx), tx, deliveries, waiting, names); err != nil {
		return nil, err
	}
	if err := also(tx, fresh); err != nil {
		return nil, fmt.Errorf("ledger: record: %w", err)
	}
	if err := tx.Commit(); err != nil {
		return nil, fmt.Errorf("ledger: record: %w", err)
	}
	l.rung()
	return fresh, nil
}

// MessageID is the id of what one person is told of decisions of a site in one message: the
// key at channels that know one. It is the same whenever it is made, so that what went out
// before it could be recorded is known again; another where the message says more, or a
// channel would take that for said; and unguessable, since it is part of an address.
func (l *Ledger) MessageID(ctx context.Context, site, person string, decisions ...string) (string, error) {
	key, err := l.Key(ctx)
	if err != nil {
		return "", err
	}
	decisions = slices.Sorted(slices.Values(decisions))
	of := strings.Join(append([]string{"message", site, person}, decisions...), "\x00")
	return uuid.NewHash(hmac.New(sha256.New, key), uuid.Nil, []byte(of), 8).String(), nil
}

// deliveriesOf are the deliveries of decisions.
func deliveriesOf(list []Telling, ids []string, now time.Time) (out []*Delivery) {
	for i := range list {
		d := &list[i].Decision
		for _, r := range list[i].To {
			v := &Delivery{Person: r.Person, Words: r.Words, Forms: r.Forms, Site: d.Site, Kind: d.Kind, State: Waiting,
				Until: d.Until, NextAt: now, Urgent: d.Urgent, DecisionID: ids[i]}
			if r.Beyond {
				v.State = Failed
			} else if r.NotBefore.After(now) {
				v.NextAt = r.NotBefore
				if v.NextAt.After(d.Until) {
					v.State = Held
				}
			}
			out = append(out, v)
		}
	}
	return out
}

// putDecision writes a decision under a new id, and says that it is fresh unless it was
// made before.
func putDecision(d *alerts.Decision, now time.Time, fresh *bool) (q *archive.Question, id string, err error) {
	document, err := json.Marshal(d)
	if err != nil {
		return nil, "", err
	}
	made, err := uuid.NewV7()
	if err != nil {
		return nil, "", err
	}
	return &archive.Question{Query: `INSERT INTO decision (id, site, kind, name, made_at, useful_to, document) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (site, name) DO NOTHING RETURNING id`,
		Args: []any{made.String(), d.Site, string(d.Kind), d.Key, stamp(now), stamp(d.Until), string(document)},
		Read: func(*sql.Rows) error { *fresh = true; return nil }}, made.String(), nil
}

// bundle is what goes in one message.
type bundle struct{ person, site, moment string }

func (v *Delivery) bundle() bundle { return bundle{v.Person, v.Site, stamp(v.NextAt)} }

// joins reports whether a delivery may go with others: what somebody asked is answered by
// itself.
func (v *Delivery) joins() bool { return v.State == Waiting && v.Kind != alerts.Reply }

// putDeliveries writes deliveries. Those of one person and moment go with the one that is
// of use longest, and so does what waits for that moment already; names are the keys of their
// decisions.
func (l *Ledger) putDeliveries(ctx context.Context, tx *sql.Tx, list []*Delivery, waiting map[bundle]*waitingMessage,
	names map[string]string) error {
	slices.SortStableFunc(list, func(a, b *Delivery) int { return b.Until.Compare(a.Until) })
	for _, v := range list {
		if v.joins() {
			waiting[v.bundle()].tells(names[v.DecisionID])
		}
	}
	carriers := map[bundle]string{}
	urgent := map[string]bool{} // by the message that it goes in
	var ring []Delivery
	for _, v := range list {
		var err error
		of, told := v.bundle(), []string{names[v.DecisionID]}
		carries := v.joins() && carriers[of] == ""
		if carries {
			told = waiting[of].told
		}
		if v.ID, err = l.MessageID(ctx, v.Site, v.Person, told...); err != nil {
			return err
		}
		if carries {
			carriers[of], urgent[v.ID] = v.ID, waiting[of].urgent
			if err := waiting[of].goWith(ctx, tx, v.ID); err != nil {
				return err
			}
		} else if v.joins() {
			v.GoesWith = carriers[of]
		}
		number := 0
		if v.Urgent {
			number, urgent[cmp.Or(v.GoesWith, v.ID)] = 1, true
		}
		if _, err := tx.ExecContext(ctx,
			`INSERT INTO delivery (id, decision_id, person, state, channel, attempts, next_at, sent_at, words, urgent, acked_at, goes_with, texted, spoken) VALUES (?1, ?2, ?3, ?4, 0, 0, ?5, '', ?6, ?7, '', ?8, ?9, ?10)`,
			v.ID, v.DecisionID, v.Person, string(v.State), stamp(v.NextAt), v.Words, number, v.GoesWith, v.Texted, v.Spoken); err != nil {
			return fmt.Errorf("ledger: record for %s: %w", v.Person, err)
		}
		if v.State == Waiting {
			carrier := *v
			carrier.ID = cmp.Or(v.GoesWith, v.ID)
			ring = append(ring, carrier)
		}
	}
	slices.SortStableFunc(ring, func(a, b Delivery) int { return strings.Compare(a.ID, b.ID) })
	ring = slices.CompactFunc(ring, func(a, b Delivery) bool { return a.ID == b.ID })
	for i := range ring {
		ring[i].Urgent = urgent[ring[i].ID]
	}
	if err := l.ring(ctx, tx, ring...); err != nil {
		return fmt.Errorf("ledger: record: %w", err)
	}
	return nil
}

// waitingMessage is one that waits for a moment already, and that nobody has tried or has in
// hand.
type waitingMessage struct {
	id     string // "" where there is none
	urgent bool
	told   []string // the keys of the decisions that it tells
}

func (w *waitingMessage) tells(decision string) { w.told = append(w.told, decision) }

// goWith has all that waits go with another message, which says more and so has a key of its
// own.
func (w *waitingMessage) goWith(ctx context.Context, tx *sql.Tx, id string) error {
	if w.id == "" {
		return nil
	}
	if _, err := tx.ExecContext(ctx, `UPDATE delivery SET goes_with = ?1 WHERE id = ?2 OR goes_with = ?2`, id, w.id); err != nil {
		return fmt.Errorf("ledger: join %s: %w", w.id, err)
	}
	return nil
}

// waitingFor finds the message that a person is to get about a site at the moment of a
// delivery, and what it tells. Writing to it keeps it out of others' hands until this is done.
func waitingFor(v *Delivery, now time.Time, w *waitingMessage) []*archive.Question {
	const free = `v.person = ?1 AND v.next_at = ?2 AND d.site = ?3 AND d.kind <> '` + string(alerts.Reply) + `' AND v.state = 'waiting' AND v.attempts = 0 AND v.held_until < ?4`
	const of = ` FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE ` + free
	args := []any{v.Person, stamp(v.NextAt), v.Site, stamp(now)}
	return []*archive.Question{
		{Query: `UPDATE delivery SET next_at = next_at WHERE state = 'waiting' AND attempts = 0 AND goes_with = '' AND held_until < ?4 AND id = (SELECT v.id` + of +
			` AND v.goes_with = '' ORDER BY d.id LIMIT 1) RETURNING id`, Args: args, Read: func(rows *sql.Rows) error { return rows.Scan(&w.id) }},
		{Query: `SELECT CASE WHEN v.goes_with = '' THEN v.id ELSE v.goes_with END, v.urgent, d.name` + of + ` ORDER BY d.id`, Args: args,
			Read: func(rows *sql.Rows) error {
				var id, name string
				var urgent int64
				err := rows.Scan(&id, &urgent, &name)
				if w.id != "" && id == w.id {
					w.urgent = w.urgent || urgent != 0
					w.tells(name)
				}
				return err
			}}}
}
