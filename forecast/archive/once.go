package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"thawline/forecast/records"
)

// ErrOtherEntry is what sending something else under a key that was used gives.
var ErrOtherEntry = errors.New("the key was used for something else")

// PutVisitsOnce writes visits as PutVisits does, the first time that a key is
// given. The same key again writes nothing, whatever comes with it, and gives
// the outcomes of the first time: a phone may send an entry until it hears that
// it has arrived, even if somebody has corrected it since. Where the sender names by a
// hash what was sent, something else under the same key is ErrOtherEntry.
func (a *Archive) PutVisitsOnce(ctx context.Context, key, sent string, visits []records.Visit, by string, now time.Time) (puts []Put, again bool, err error) {
	err = a.writeRecords(ctx, func(tx *sql.Tx) error {
		puts, again = nil, false
		var told, was string
		err := tx.QueryRowContext(ctx, `SELECT puts, print FROM entry_once WHERE name = ?1`, key).Scan(&told, &was)
		if err == nil && was != "" && sent != "" && was != sent {
			return ErrOtherEntry
		}
		if err == nil {
			again = true
			var outcomes []Outcome
			if err := json.Unmarshal([]byte(told), &outcomes); err != nil {
				return fmt.Errorf("entry %s: %w", key, err)
			}
			for i, o := range outcomes {
				if i < len(visits) {
					puts = append(puts, Put{Visit: visits[i], Outcome: o})
				}
			}
			return nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		var outcomes []Outcome
		for _, v := range visits {
			p, err := putVisit(ctx, tx, v, by, now)
			if err != nil {
				return err
			}
			puts, outcomes = append(puts, p), append(outcomes, p.Outcome)
		}
		document, err := json.Marshal(outcomes)
		if err != nil {
			return fmt.Errorf("entry %s: %w", key, err)
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO entry_once (name, sent_at, puts, print) VALUES (?1, ?2, ?3, ?4)`, key, now.UTC().Format(instant), string(document), sent)
		return err
	})
	if err != nil {
		return nil, false, err
	}
	return puts, again, nil
}

// ForgetEntries drops the keys of entries sent before a moment.
func (a *Archive) ForgetEntries(ctx context.Context, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM entry_once WHERE sent_at < ?1`, before.UTC().Format(instant))
		return err
	})
}
