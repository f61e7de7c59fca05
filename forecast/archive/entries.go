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

// ErrNoEntry is what taking back an entry that is not there, or was taken back, gives.
var ErrNoEntry = errors.New("there is no such entry")

// Entry is what somebody enters at once.
type Entry struct {
	Site   string
	Way    string // in
	Person string // id, "" for nobody of the settings
	By     string // as records name who wrote them
	Key    string // of the sender, "" for none
	Print  string // stands for what was sent under the key, "" where nobody says
	Zone   *time.Location
}

// Placed is what is to become of a visit, beside those of its group that are there.
type Placed struct {
	Outcome Outcome
	Visit   records.Visit // as it is to be written
	Of      int           // which of those near it is meant; for all but added ones and loads
}

// Written is what became of an entry.
type Written struct {
	Entry
	Number int64 // of the site's entries
	At     time.Time
	Puts   []Put
	Again  bool // its key was known: nothing was written now
	Undone bool // it has been taken back
}

// nearby is how far around a visit others of its group are looked at.
const nearby = 36 * time.Hour

// PutEntry writes the visits of an entry in one transaction: all of them or none.
// place says what becomes of each by its index, beside those of its group from a day and a half
// before it to as long after it, oldest first, with those that were taken out.
//
// The same key again writes nothing, whatever comes with it, and gives the outcomes of
// the first time: a phone may send an entry until it hears that it has arrived, even if
// somebody has corrected it since. Something else under the key, by its print, is
// ErrOtherEntry.
func (a *Archive) PutEntry(ctx context.Context, e Entry, visits []records.Visit, place func(i int, near []Stored) Placed,
	now time.Time) (Written, error) {
	w := Written{}
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		w = Written{Entry: e, At: now}
		known, err := a.known(ctx, tx, &w, visits)
		if err != nil || known {
			return err
		}
		// Of two who enter at once for a site one meets the other's number here, and is
		// done again: then it sees what the other wrote.
		if w.Number, err = beginEntry(ctx, tx, &e, now); err != nil {
			return err
		}
		var outcomes []Outcome
		for i := range visits {
			p, err := placed(ctx, tx, &e, &visits[i], func(near []Stored) Placed { return place(i, near) }, now)
			if err != nil {
				return err
			}
			if err := noted(ctx, tx, &e, w.Number, i, &p); err != nil {
				return err
			}
			w.Puts, outcomes = append(w.Puts, p), append(outcomes, p.Outcome)
		}
		if e.Key == "" {
			return nil
		}
		document, err := json.Marshal(outcomes)
		if err != nil {
			return fmt.Errorf("entry %s: %w", e.Key, err)
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO entry_once (name, sent_at, puts, print) VALUES (?1, ?2, ?3, ?4)`, e.Key,
			now.UTC().Format(instant), string(document), e.Print)
		return err
	})
	if err != nil {
		return Written{}, err
	}
	return w, nil
}

// known finds what became of an entry whose key was sent before.
func (a *Archive) known(ctx context.Context, tx *sql.Tx, w *Written, visits []records.Visit) (bool, error) {
	if w.Key == "" {
		return false, nil
	}
	var told, was string
	err := tx.QueryRowContext(ctx, `SELECT puts, print FROM entry_once WHERE name = ?1`, w.Key).Scan(&told, &was)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if was != "" && w.Print != "" && was != w.Print {
		return false, ErrOtherEntry
	}
	w.Again = true
	if err := tx.QueryRowContext(ctx, `SELECT number FROM entry WHERE site = ?1 AND name = ?2`, w.Site, w.Key).Scan(&w.Number); err == nil {
		w.Puts, err = putsOf(ctx, tx, w.Site, w.Number, w.Zone)
		return true, err
	} else if !errors.Is(err, sql.ErrNoRows) {
		return false, err
	}
	// Sent before entries had numbers.
	var outcomes []Outcome
	if err := json.Unmarshal([]byte(told), &outcomes); err != nil {
		return false, fmt.Errorf("entry %s: %w", w.Key, err)
	}
	for i, o := range outcomes {
		if i < len(visits) {
			w.Puts = append(w.Puts, Put{Visit: visits[i], Outcome: o})
		}
	}
	return true, nil
}

func beginEntry(ctx context.Context, tx *sql.Tx, e *Entry, now time.Time) (n int64, err error) {
	if err := tx.QueryRowContext(ctx, `SELECT COALESCE(MAX(number), 0) + 1 FROM entry WHERE site = ?1`, e.Site).Scan(&n); err != nil {
		return 0, err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO entry (site, number, name, way, person, made_by, made_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)`,
		e.Site, n, e.Key, e.Way, e.Person, e.By, now.UTC().Format(instant))
	return n, err
}

func noted(ctx context.Context, tx *sql.Tx, e *Entry, number int64, place int, p *Put) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO entry_visit (site, number, place, visit_id, revision, before, outcome) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)`,
		e.Site, number, place, p.ID, p.Revision, max(p.Revision-1, 0), string(p.Outcome))
	return err
}

// placed writes one visit where place says.
func placed(ctx context.Context, tx *sql.Tx, e *Entry, v *records.Visit, place func(near []Stored) Placed, now time.Time) (Put, error) {
	near, err := storedIn(ctx, tx, e.Zone,
		storedColumns+` WHERE site = ?1 AND taps_group = ?2 AND collected_at >= ?3 AND collected_at <= ?4 ORDER BY collected_at`,
		v.Site, v.Group, v.CollectedAt.Add(-nearby).UTC().Format(instant), v.CollectedAt.Add(nearby).UTC().Format(instant))
	if err != nil {
		return Put{}, err
	}
	to := place(near)
	p := Put{Visit: to.Visit, Outcome: to.Outcome}
	stamp := now.UTC().Format(instant)
	switch to.Outcome {
	case Same:
		p.Visit, p.ID = near[to.Of].Visit, near[to.Of].ID
	case Corrected, BroughtBack:
		of := &near[to.Of]
		p.Before, p.ID, p.Revision = of.Visit, of.ID, of.Revision+1
		err = revise(ctx, tx, of.ID, int64(of.Revision), &to.Visit, false, e.By, stamp)
	default:
		p.Revision = 1
		p.ID, err = insert(ctx, tx, &to.Visit, e.By, stamp)
	}
	return p, err
}

// storedIn reads stored visits.
func storedIn(ctx context.Context, tx *sql.Tx, zone *time.Location, query string, args ...any) ([]Stored, error) {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	var out []Stored
	for rows.Next() {
		s, err := scanStored(rows, zone)
		if err != nil {
			return nil, errors.Join(err, rows.Close())
		}
		out = append(out, s)
	}
	return out, errors.Join(rows.Err(), rows.Close())
}

// putsOf are the visits of an entry as they are now, with what became of each and what
// corrected ones said before.
func putsOf(ctx context.Context, in querier, site string, entry int64, zone *time.Location) ([]Put, error) {
	rows, err := in.QueryContext(ctx, `SELECT e.outcome, e.revision, b.taps, b.volume_l, b.brix_pct, b.note, v.id, v.site, v.taps_group, v.moment, v.collected_at, v.taps, v.volume_l, v.brix_pct, v.note, v.revision, v.removed, v.recorded_at, v.recorded_by
		FROM entry_visit e JOIN visit v ON v.id = e.visit_id LEFT JOIN visit_before b ON b.visit_id = e.visit_id AND b.revision = e.before
		WHERE e.site = ?1 AND e.number = ?2 ORDER BY e.place`, site, entry)
	if err != nil {
		return nil, err
	}
	var out []Put
	for rows.Next() {
		var p Put
		var taps sql.NullInt64
		var volume, brix sql.NullFloat64
		var note sql.NullString
		s, err := scanStored(after{rows, []any{&p.Outcome, &p.Revision, &taps, &volume, &brix, &note}}, zone)
		if err != nil {
			return nil, errors.Join(err, rows.Close())
		}
		p.Visit, p.ID, p.Before = s.Visit, s.ID, s.Visit
		p.Before.Taps, p.Before.VolumeL, p.Before.BrixPct, p.Before.Note = int(taps.Int64), number(volume), number(brix), note.String
		out = append(out, p)
	}
	return out, errors.Join(rows.Err(), rows.Close())
}

// querier is the database, or a transaction of it.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// after scans columns that come before those of a stored visit.
type after struct {
	rows  *sql.Rows
	first []any
}

func (a after) Scan(to ...any) error {
	return a.rows.Scan(append(a.first[:len(a.first):len(a.first)], to...)...)
}

// Entry is an entry of a site by its number.
func (a *Archive) Entry(ctx context.Context, site string, number int64, zone *time.Location) (Written, error) {
	w := Written{Entry: Entry{Site: site, Zone: zone}, Number: number}
	var made, undone string
	err := a.db.QueryRowContext(ctx, `SELECT name, way, person, made_by, made_at, undone_at FROM entry WHERE site = ?1 AND number = ?2`,
		site, number).Scan(&w.Key, &w.Way, &w.Person, &w.By, &made, &undone)
	if errors.Is(err, sql.ErrNoRows) {
		return w, ErrNoEntry
	}
	if err != nil {
		return w, a.told("read records from", err)
	}
	w.Undone = undone != ""
	if w.At, err = time.Parse(instant, made); err != nil {
		return w, a.told("read records from", err)
	}
	if w.Puts, err = putsOf(ctx, a.db, site, number, zone); err != nil {
		return w, a.told("read records from", err)
	}
	return w, nil
}

// LastEntry is the number of the newest entry of somebody that wrote something and was
// not taken back, leaving out some ways in; ErrNoEntry if there is none. A person is
// known by the id, others by how records name them.
func (a *Archive) LastEntry(ctx context.Context, site, person, by string, without ...string) (number int64, err error) {
	rows, err := a.db.QueryContext(ctx, `SELECT number, way FROM entry WHERE site = ?1 AND person = ?2 AND (?2 <> '' OR made_by = ?3) AND undone_at = ''
		AND EXISTS (SELECT 1 FROM entry_visit v WHERE v.site = entry.site AND v.number = entry.number AND v.revision > 0) ORDER BY number DESC`, site, person, by)
	if err != nil {
		return 0, a.told("read records from", err)
	}
	defer rows.Close()
next:
	for rows.Next() {
		var way string
		if err := rows.Scan(&number, &way); err != nil {
			return 0, a.told("read records from", err)
		}
		for _, no := range without {
			if way == no {
				continue next
			}
		}
		return number, nil
	}
	if err := rows.Err(); err != nil {
		return 0, a.told("read records from", err)
	}
	return 0, ErrNoEntry
}

// ForgetEntries drops entries from before a moment, and the keys that they were sent
// with; their visits stay.
func (a *Archive) ForgetEntries(ctx context.Context, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		for _, statement := range []string{
			`DELETE FROM entry_once WHERE sent_at < ?1`,
			`DELETE FROM entry_visit WHERE EXISTS (SELECT 1 FROM entry e WHERE e.site = entry_visit.site AND e.number = entry_visit.number AND e.made_at < ?1)`,
			`DELETE FROM entry WHERE made_at < ?1`,
		} {
			if _, err := tx.ExecContext(ctx, statement, before.UTC().Format(instant)); err != nil {
				return err
			}
		}
		return nil
	})
}
