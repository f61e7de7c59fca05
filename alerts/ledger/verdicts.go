package ledger

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/forecast/archive"
)

// Warnings lists the decisions of some kinds about a site since a moment, the newest
// first, with the people that they reached: first those who said that they have seen it.
// What reached nobody is left out.
func (l *Ledger) Warnings(ctx context.Context, site string, kinds []alerts.Kind, since time.Time) ([]alerts.Told, error) {
	q, told := warningsOf(site, kinds, since)
	if err := archive.Together(ctx, l.db, l.trips, q); err != nil {
		return nil, fmt.Errorf("ledger: warnings of %s: %w", site, err)
	}
	return told(), nil
}

// warningsOf asks for warnings; told lists them once they are read.
func warningsOf(site string, kinds []alerts.Kind, since time.Time) (q *archive.Question, told func() []alerts.Told) {
	type reached struct{ person, seen string }
	var list []alerts.Told
	people := map[string][]reached{} // by decision
	var ids []string
	in, args := among(kinds, 3)
	q = &archive.Question{Query: `SELECT d.id, d.document, d.made_at, v.person, v.acked_at FROM decision d JOIN delivery v ON v.decision_id = d.id
		WHERE d.site = ?1 AND d.made_at >= ?2 AND v.state = 'sent' AND d.kind IN (` + in + `) ORDER BY d.made_at DESC, d.id, v.sent_at, v.person`, Args: append([]any{site, stamp(since)}, args...), Read: func(rows *sql.Rows) error {
		var id, document, made string
		var p reached
		if err := rows.Scan(&id, &document, &made, &p.person, &p.seen); err != nil {
			return err
		}
		if _, known := people[id]; !known {
			t := alerts.Told{MadeAt: unstamp(made)}
			if err := json.Unmarshal([]byte(document), &t.Decision); err != nil {
				return fmt.Errorf("decision %s: %w", id, err)
			}
			list, ids = append(list, t), append(ids, id)
		}
		people[id] = append(people[id], p)
		return nil
	}}
	return q, func() []alerts.Told {
		for i, id := range ids {
			slices.SortStableFunc(people[id], func(a, b reached) int {
				if (a.seen == "") != (b.seen == "") {
					return cmp.Compare(b.seen, a.seen) // nobody who has not seen it goes first
				}
				return cmp.Compare(a.seen, b.seen)
			})
			for _, p := range people[id] {
				list[i].People = append(list[i].People, p.person)
			}
		}
		return list
	}
}

const putVerdict = `INSERT INTO verdict (site, warning, kind, taps_group, chance, due_at, asked_at, asked_of, answer, answered_by, answered_at)
	VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11) ON CONFLICT (site, warning) DO NOTHING`

func verdictValues(v *alerts.Verdict) []any {
	return []any{v.Site, v.Warning, string(v.Kind), v.Group, v.Chance, stamp(v.Due), stamp(v.AskedAt), v.AskedOf, string(v.Answer),
		v.AnsweredBy, stamp(v.AnsweredAt)}
}

// PutVerdict keeps what became of a warning. The first that is kept of a warning stays.
func (l *Ledger) PutVerdict(ctx context.Context, v *alerts.Verdict) error {
	if _, err := l.db.ExecContext(ctx, putVerdict, verdictValues(v)...); err != nil {
		return fmt.Errorf("ledger: verdict on %s: %w", v.Warning, err)
	}
	return nil
}

// Ask records a question to one person and that it was put, all or nothing. It reports
// false if a question of that key was put before: then nothing is written.
func (l *Ledger) Ask(ctx context.Context, question alerts.Decision, to Recipient, about *alerts.Verdict, now time.Time) (fresh bool,
	err error) {
	v := *about
	v.AskedAt, v.AskedOf = now, to.Person
	all, err := l.recordAll(ctx, []Telling{{question, []Recipient{to}}}, now, func(tx *sql.Tx, fresh []bool) error {
		if !fresh[0] {
			return nil
		}
		_, err := tx.ExecContext(ctx, putVerdict, verdictValues(&v)...)
		return err
	})
	return err == nil && all[0], err
}

const verdictColumns = `site, warning, kind, taps_group, chance, due_at, asked_at, asked_of, answer, answered_by, answered_at FROM verdict`

func (l *Ledger) verdicts(ctx context.Context, q *archive.Question) error {
	if err := archive.Together(ctx, l.db, l.trips, q); err != nil {
		return fmt.Errorf("ledger: verdicts: %w", err)
	}
	return nil
}

func readVerdicts(into *[]alerts.Verdict) func(*sql.Rows) error {
	return func(rows *sql.Rows) error {
		var v alerts.Verdict
		var kind, due, asked, answer, answered string
		err := rows.Scan(&v.Site, &v.Warning, &kind, &v.Group, &v.Chance, &due, &asked, &v.AskedOf, &answer, &v.AnsweredBy, &answered)
		v.Kind, v.Answer = alerts.Kind(kind), alerts.Answer(answer)
		v.Due, v.AskedAt, v.AnsweredAt = unstamp(due), unstamp(asked), unstamp(answered)
		*into = append(*into, v)
		return err
	}
}

// Verdicts lists what became of a site's warnings that were due since a moment, the
// oldest first.
func (l *Ledger) Verdicts(ctx context.Context, site string, since time.Time) ([]alerts.Verdict, error) {
	var out []alerts.Verdict
	err := l.verdicts(ctx, verdictsSince(site, since, &out))
	return out, err
}

func verdictsSince(site string, since time.Time, into *[]alerts.Verdict) *archive.Question {
	return &archive.Question{Query: `SELECT ` + verdictColumns + ` WHERE site = ?1 AND due_at >= ?2 ORDER BY due_at, warning`,
		Args: []any{site, stamp(since)}, Read: readVerdicts(into)}
}

// Asked is the last question about a site that was put to a person since a moment; "" for
// either means any. It returns ErrNone where there is none.
func (l *Ledger) Asked(ctx context.Context, site, person string, since time.Time) (alerts.Verdict, error) {
	var list []alerts.Verdict
	err := l.verdicts(ctx, &archive.Question{Query: `SELECT ` + verdictColumns +
		` WHERE (site = ?1 OR ?1 = '') AND (asked_of = ?2 OR ?2 = '') AND asked_at <> '' AND asked_at >= ?3 ORDER BY asked_at DESC LIMIT 1`,
		Args: []any{site, person, stamp(since)}, Read: readVerdicts(&list)})
	if err == nil && len(list) == 0 {
		err = ErrNone
	}
	if err != nil {
		return alerts.Verdict{}, err
	}
	return list[0], nil
}

// Answer keeps what somebody says became of a warning that was asked about. It returns
// ErrNone where there is no such question, or its answer can't be changed any more.
func (l *Ledger) Answer(ctx context.Context, site, warning string, answer alerts.Answer, by string, now time.Time) error {
	done, err := l.db.ExecContext(ctx, `UPDATE verdict SET answer = ?3, answered_by = ?4, answered_at = CASE WHEN answer = '' THEN ?5 ELSE answered_at END
		WHERE site = ?1 AND warning = ?2 AND asked_at <> '' AND (answer = '' OR answered_at > ?6)`, site, warning, string(answer), by, stamp(now), stamp(now.Add(-alerts.ChangeWithin)))
	if err != nil {
		return fmt.Errorf("ledger: answer on %s: %w", warning, err)
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(ErrNone, err)
	}
	return nil
}

// ForgetVerdicts drops a site's verdicts on what was due before a moment.
func (l *Ledger) ForgetVerdicts(ctx context.Context, site string, before time.Time) error {
	if _, err := l.db.ExecContext(ctx, `DELETE FROM verdict WHERE site = ?1 AND due_at < ?2`, site, stamp(before)); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}
