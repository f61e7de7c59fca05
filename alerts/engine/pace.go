package engine

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Rate is how fast a channel takes messages.
type Rate struct {
	PerSecond float64 // 0 for as fast as they come
	Burst     int     // how many may come at once after a rest, 1 if less
}

// Pace keeps all daemons together at the rate of each channel.
type Pace interface {
	// Reserve takes the next place in a channel's row and says how long to wait for it.
	// Where that is longer than most it takes none, and says how long until there may be
	// one.
	Reserve(ctx context.Context, channel string, r Rate, most time.Duration, now time.Time) (wait time.Duration, taken bool, err error)
	// Pause lets nothing more go to a channel until a moment.
	Pause(ctx context.Context, channel string, until time.Time) error
}

// Paces keeps a row for each channel in a database.
type Paces struct{ DB *sql.DB }

// Reserve is that of Pace.
func (p Paces) Reserve(ctx context.Context, channel string, r Rate, most time.Duration, now time.Time) (wait time.Duration, taken bool,
	err error) {
	at := now.UnixMilli()
	var next, paused int64
	if r.PerSecond > 0 {
		step := int64(1000 / r.PerSecond)
		ahead := step * int64(max(r.Burst, 1)-1)
		// A place lies a step behind the last one that was taken, or now; those before a
		// pause's end move behind it.
		err = p.DB.QueryRowContext(ctx, `INSERT INTO engine_pace (channel, next_ms, paused_ms) VALUES (?1, ?2, 0)
			ON CONFLICT (channel) DO UPDATE SET next_ms = CASE
				WHEN engine_pace.next_ms > ?3 AND engine_pace.next_ms > engine_pace.paused_ms THEN engine_pace.next_ms
				WHEN engine_pace.paused_ms > ?3 THEN engine_pace.paused_ms ELSE ?3 END + ?4
			WHERE engine_pace.next_ms - ?5 <= ?6 AND engine_pace.paused_ms <= ?6
			RETURNING next_ms, paused_ms`, channel, at+step, at, step, ahead, at+most.Milliseconds()).Scan(&next, &paused)
		if err == nil {
			return time.Duration(max(next-step-ahead-at, paused-at, 0)) * time.Millisecond, true, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return 0, false, fmt.Errorf("engine: pace of %s: %w", channel, err)
		}
	}
	if err = p.DB.QueryRowContext(ctx, `SELECT COALESCE(MAX(next_ms), 0), COALESCE(MAX(paused_ms), 0) FROM engine_pace WHERE channel = ?1`, channel).Scan(&next, &paused); err != nil {
		return 0, false, fmt.Errorf("engine: pace of %s: %w", channel, err)
	}
	if r.PerSecond <= 0 {
		next = 0
	}
	wait = time.Duration(max(next-at, paused-at, 0)) * time.Millisecond
	return wait, r.PerSecond <= 0 && wait <= most, nil
}

// Pause is that of Pace.
func (p Paces) Pause(ctx context.Context, channel string, until time.Time) error {
	at := until.UnixMilli()
	if _, err := p.DB.ExecContext(ctx, `INSERT INTO engine_pace (channel, next_ms, paused_ms) VALUES (?1, 0, ?2)
		ON CONFLICT (channel) DO UPDATE SET paused_ms = ?2 WHERE engine_pace.paused_ms < ?2`, channel, at); err != nil {
		return fmt.Errorf("engine: pause %s: %w", channel, err)
	}
	return nil
}
