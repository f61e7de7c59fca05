package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thawline/forecast/records"
)

// ErrNoAttendance is what taking back what nobody has said, or has taken back, gives.
var ErrNoAttendance = errors.New("there is nothing of that kind to take back")

// StoredAttendance is what somebody has said of a round, with who wrote it down and when.
type StoredAttendance struct {
	records.Attendance
	ID     string
	SaidBy string
}

const attendanceColumns = `SELECT id, kind, person, person_name, from_at, to_at, taps_groups, along, said_at, said_by FROM attendance`

// inForce picks what was neither taken back nor replaced by what was said later.
const inForce = ` AND replaced_by = '' AND withdrawn_at = ''`

// Attendances lists what people have said of a site's rounds that counts at a moment or
// later, in the order in which they said it. Times are in the zone.
func (a *Archive) Attendances(ctx context.Context, site string, at time.Time, zone *time.Location) (out []StoredAttendance, err error) {
	err = a.asked(ctx, "read who goes from", attendancesAt(site, at, zone, &out))
	return out, err
}

func attendancesAt(site string, at time.Time, zone *time.Location, into *[]StoredAttendance) *Question {
	return &Question{Query: attendanceColumns + ` WHERE site = ?1 AND to_at > ?2` + inForce + ` ORDER BY said_at, id`,
		Args: []any{site, at.UTC().Format(instant)},
		Read: gather(into, func(rows *sql.Rows) (StoredAttendance, error) { return scanAttendance(rows, zone) })}
}

// PutAttendance keeps what somebody says of a site's rounds, in place of what they said
// before of the same time. The same again, or the same key, writes nothing; again tells.
func (a *Archive) PutAttendance(ctx context.Context, site, key string, said records.Attendance, by string,
	now time.Time) (put StoredAttendance, again bool, err error) {
	groups, err := json.Marshal(append([]string{}, said.Groups...))
	if err != nil {
		return put, false, fmt.Errorf("attendance: %w", err)
	}
	along, err := json.Marshal(append([]string{}, said.With...))
	if err != nil {
		return put, false, fmt.Errorf("attendance: %w", err)
	}
	id, err := uuid.NewV7()
	if err != nil {
		return put, false, fmt.Errorf("name an attendance: %w", err)
	}
	said.SaidAt = now
	said.From, said.To = said.From.Truncate(time.Millisecond), said.To.Truncate(time.Millisecond)
	stamp, zone := now.UTC().Format(instant), said.From.Location()
	err = a.writeRecords(ctx, func(tx *sql.Tx) error {
		put, again = StoredAttendance{Attendance: said, ID: id.String(), SaidBy: by}, false
		if key != "" {
			known, err := attendancesIn(ctx, tx, zone, attendanceColumns+` WHERE site = ?1 AND name = ?2`, site, key)
			if err != nil {
				return err
			}
			if len(known) > 0 {
				put, again = known[0], true
				return nil
			}
		}
		before, err := attendancesIn(ctx, tx, zone, attendanceColumns+` WHERE site = ?1 AND person = ?2 AND to_at > ?3`+inForce, site,
			said.Person, stamp)
		if err != nil {
			return err
		}
		for i := range before {
			if said.Says(&before[i].Attendance) {
				put, again = before[i], true
				return nil
			}
		}
		for i := range before {
			if !said.Replaces(&before[i].Attendance) {
				continue
			}
			if _, err := tx.ExecContext(ctx, `UPDATE attendance SET replaced_by = ?3 WHERE site = ?1 AND id = ?2`, site, before[i].ID,
				put.ID); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx,
			`INSERT INTO attendance (site, id, name, kind, person, person_name, from_at, to_at, taps_groups, along, said_at, said_by) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)`,
			site, put.ID, key, string(said.Kind), said.Person, said.Name, said.From.UTC().Format(instant),
			said.To.UTC().Format(instant), string(groups), string(along), stamp, by); err != nil {
			return err
		}
		return noteChange(ctx, tx, site)
	})
	return put, again, err
}

// WithdrawAttendance takes back what somebody said; what it had replaced counts again. It
// returns ErrNoAttendance where nothing of that id is in force.
func (a *Archive) WithdrawAttendance(ctx context.Context, site, id, by string, now time.Time) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx,
			`UPDATE attendance SET withdrawn_at = ?3, withdrawn_by = ?4 WHERE site = ?1 AND id = ?2`+inForce, site, id,
			now.UTC().Format(instant), by)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrNoAttendance)
		}
		if _, err := tx.ExecContext(ctx, `UPDATE attendance SET replaced_by = '' WHERE site = ?1 AND replaced_by = ?2`, site,
			id); err != nil {
			return err
		}
		return noteChange(ctx, tx, site)
	})
}

// ForgetAttendances drops what was said of a site's rounds that were over before a moment.
func (a *Archive) ForgetAttendances(ctx context.Context, site string, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM attendance WHERE site = ?1 AND to_at < ?2`, site, before.UTC().Format(instant))
		return err
	})
}

func attendancesIn(ctx context.Context, db Queryer, zone *time.Location, query string, args ...any) (out []StoredAttendance, err error) {
	err = ask(ctx, db, &Question{Query: query, Args: args,
		Read: gather(&out, func(rows *sql.Rows) (StoredAttendance, error) { return scanAttendance(rows, zone) })})
	return out, err
}

func scanAttendance(rows *sql.Rows, zone *time.Location) (s StoredAttendance, err error) {
	var kind, from, to, groups, along, said string
	if err := rows.Scan(&s.ID, &kind, &s.Person, &s.Name, &from, &to, &groups, &along, &said, &s.SaidBy); err != nil {
		return s, err
	}
	s.Kind = records.AttendanceKind(kind)
	var errs [5]error
	s.From, errs[0] = time.Parse(instant, from)
	s.To, errs[1] = time.Parse(instant, to)
	s.SaidAt, errs[2] = time.Parse(instant, said)
	errs[3], errs[4] = json.Unmarshal([]byte(groups), &s.Groups), json.Unmarshal([]byte(along), &s.With)
	if err := errors.Join(errs[:]...); err != nil {
		return s, fmt.Errorf("attendance %s: %w", s.ID, err)
	}
	s.From, s.To = s.From.In(zone), s.To.In(zone)
	return s, nil
}
