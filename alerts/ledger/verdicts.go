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
)

// Warnings lists the decisions of some kinds about a site since a moment, the newest
// first, with the people that they reached: first those who said that they have seen it.
// What reached nobody is left out.
func (l *Ledger) Warnings(ctx context.Context, site string, kinds []alerts.Kind, since time.Time) ([]alerts.Told, error) {
	in, args := among(kinds, 3)
	rows, err := l.db.QueryContext(ctx, `SELECT d.id, d.document, d.made_at, v.person, v.acked_at FROM decision d JOIN delivery v ON v.decision_id = d.id
		WHERE d.site = ?1 AND d.made_at >= ?2 AND v.state = 'sent' AND d.kind IN (`+in+`) ORDER BY d.made_at DESC, d.id, v.sent_at, v.person`, append([]any{site, stamp(since)}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("ledger: warnings of %s: %w", site, err)
	}
	defer rows.Close()
	type reached struct{ person, seen string }
	var told []alerts.Told
	var people []reached
	last := ""
	flush := func() {
		if len(told) == 0 {
			return
		}
		slices.SortStableFunc(people, func(a, b reached) int {
			if (a.seen == "") != (b.seen == "") {
				return cmp.Compare(b.seen, a.seen) // nobody who has not seen it goes first
			}
			return cmp.Compare(a.seen, b.seen)
		})
		for _, p := range people {
			told[len(told)-1].People = append(told[len(told)-1].People, p.person)
		}
		people = nil
	}
	for rows.Next() {
		var id, document, made string
		var p reached
		if err := rows.Scan(&id, &document, &made, &p.person, &p.seen); err != nil {
			return nil, fmt.Errorf("ledger: warnings of %s: %w", site, err)
		}
		if id != last {
			flush()
			t := alerts.Told{MadeAt: unstamp(made)}
			if err := json.Unmarshal([]byte(document), &t.Decision); err != nil {
				return nil, fmt.Errorf("ledger: decision %s: %w", id, err)
			}
			told, last = append(told, t), id
		}
		people = append(people, p)
	}
	flush()
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("ledger: warnings of %s: %w", site, err)
	}
	return told, nil
}

const putVerdict = `INSERT INTO verdict (site, warning, kind, taps_group, chance, due_at, asked_at, asked_of, answer, answered_by, answered_at)
	VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11) ON CONFLICT (site, warning) DO NOTHING`

func verdictValues(v *alerts.Verdict) []any {
	return []any{v.Site, v.Warning, string(v.Kind), v.Group, v.Chance, stamp(v.Due), stamp(v.AskedAt), v.AskedOf, string(v.Answer), v.AnsweredBy, stamp(v.AnsweredAt)}
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
func (l *Ledger) Ask(ctx context.Context, question alerts.Decision, to Recipient, about *alerts.Verdict, now time.Time) (fresh bool, err error) {
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

func (l *Ledger) verdicts(ctx context.Context, query string, args ...any) ([]alerts.Verdict, error) {
	rows, err := l.db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("ledger: verdicts: %w", err)
	}
	defer rows.Close()
	var out []alerts.Verdict
	for rows.Next() {
		var v alerts.Verdict
		var kind, due, asked, answer, answered string
		if err := rows.Scan(&v.Site, &v.Warning, &kind, &v.Group, &v.Chance, &due, &asked, &v.AskedOf, &answer, &v.AnsweredBy, &answered); err != nil {
			return nil, fmt.Errorf("ledger: verdicts: %w", err)
		}
		v.Kind, v.Answer = alerts.Kind(kind), alerts.Answer(answer)
		v.Due, v.AskedAt, v.AnsweredAt = unstamp(due), unstamp(asked), unstamp(answered)
		out = append(out, v)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("ledger: verdicts: %w", err)
	}
	return out, nil
}

// Verdicts lists what became of a site's warnings that were due since a moment, the
// oldest first.
func (l *Ledger) Verdicts(ctx context.Context, site string, since time.Time) ([]alerts.Verdict, error) {
	return l.verdicts(ctx, `SELECT `+verdictColumns+` WHERE site = ?1 AND due_at >= ?2 ORDER BY due_at, warning`, site, stamp(since))
}

// Asked is the last question about a site that was put to a person since a moment; "" for
// either means any. It returns ErrNone where there is none.
func (l *Ledger) Asked(ctx context.Context, site, person string, since time.Time) (alerts.Verdict, error) {
	list, err := l.verdicts(ctx, `SELECT `+verdictColumns+` WHERE (site = ?1 OR ?1 = '') AND (asked_of = ?2 OR ?2 = '') AND asked_at <> '' AND asked_at >= ?3 ORDER BY asked_at DESC LIMIT 1`, site, person, stamp(since))
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
