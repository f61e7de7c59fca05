package archive

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// TakeQuestion takes one question to a weather service from the budget that all
// daemons on this database share: as source.Budgets says.
func (a *Archive) TakeQuestion(ctx context.Context, service string, cost, perSecond, perDay float64, now time.Time) (wait time.Duration,
	spent bool, err error) {
	step := int64(0)
	if perSecond > 0 {
		step = int64(1e6 / perSecond)
	}
	if perDay <= 0 {
		perDay = 1e18
	}
	at := now.UnixMicro()
	var free int64
	err = a.db.QueryRowContext(ctx, `INSERT INTO service_budget (service, free_at, day, used) VALUES (?1, ?2, ?3, ?4)
		ON CONFLICT (service) DO UPDATE SET
			free_at = CASE WHEN service_budget.free_at > ?5 THEN service_budget.free_at ELSE ?5 END + ?6,
			used = CASE WHEN service_budget.day = ?3 THEN service_budget.used ELSE 0 END + ?4, day = ?3
		WHERE service_budget.day <> ?3 OR service_budget.used + ?4 <= ?7 RETURNING free_at`,
		service, at+step, now.UTC().Format(time.DateOnly), cost, at, step, perDay).Scan(&free)
	if errors.Is(err, sql.ErrNoRows) || err == nil && cost > perDay {
		return 0, true, nil
	}
	if err != nil {
		return 0, false, a.told("keep the budget of a service in", err)
	}
	return max(time.Duration(free-step-at)*time.Microsecond, 0), false, nil
}

// PutBulletin keeps what a service said of a key, packed by the caller, and when
// it was got.
func (a *Archive) PutBulletin(ctx context.Context, key string, at time.Time, packed []byte) error {
	if _, err := a.db.ExecContext(ctx, `INSERT INTO bulletin (name, got_at, document) VALUES (?1, ?2, ?3)
		ON CONFLICT (name) DO UPDATE SET got_at = excluded.got_at, document = excluded.document`, key, at.UTC().Format(instant), packed); err != nil {
		return a.told("keep a forecast in", err)
	}
	return nil
}

// Bulletin reads it back; found is false where there is none.
func (a *Archive) Bulletin(ctx context.Context, key string) (packed []byte, found bool, err error) {
	err = a.db.QueryRowContext(ctx, `SELECT document FROM bulletin WHERE name = ?1`, key).Scan(&packed)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, a.told("read a kept forecast from", err)
	}
	return packed, true, nil
}

// BulletinsGot says of each key that was got after a moment when that was.
func (a *Archive) BulletinsGot(ctx context.Context, after time.Time) (map[string]time.Time, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT name, got_at FROM bulletin WHERE got_at > ?1`, after.UTC().Format(instant))
	if err != nil {
		return nil, a.told("read kept forecasts from", err)
	}
	defer rows.Close()
	out := map[string]time.Time{}
	for rows.Next() {
		var name, got string
		if err := rows.Scan(&name, &got); err != nil {
			return nil, a.told("read kept forecasts from", err)
		}
		if out[name], err = time.Parse(instant, got); err != nil {
			return nil, a.told("read kept forecasts from", err)
		}
	}
	return out, rows.Err()
}

// ForgetBulletins lets go of forecasts that are too old to stand in for a service.
func (a *Archive) ForgetBulletins(ctx context.Context, before time.Time) error {
	if _, err := a.db.ExecContext(ctx, `DELETE FROM bulletin WHERE got_at < ?1`, before.UTC().Format(instant)); err != nil {
		return a.told("tidy", err)
	}
	return nil
}
