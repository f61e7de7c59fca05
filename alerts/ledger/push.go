package ledger

import (
	"context"
	"fmt"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"
)

// AddSubscription keeps what a person's browser gave to be pushed to.
func (l *Ledger) AddSubscription(ctx context.Context, person, endpoint, document string, now time.Time) error {
	if _, err := l.db.ExecContext(ctx, `INSERT INTO push_subscription (endpoint, person, document, added_at) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (endpoint) DO UPDATE SET person = excluded.person, document = excluded.document`,
		endpoint, person, document, stamp(now)); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}

// Subscriptions are the documents of a person's browsers.
func (l *Ledger) Subscriptions(ctx context.Context, person string) ([]string, error) {
	rows, err := l.db.QueryContext(ctx, `SELECT document FROM push_subscription WHERE person = ?1 ORDER BY added_at`, person)
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var document string
		if err := rows.Scan(&document); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		out = append(out, document)
	}
	return out, rows.Err()
}

// DropSubscription forgets a browser that is gone.
func (l *Ledger) DropSubscription(ctx context.Context, endpoint string) error {
	if _, err := l.db.ExecContext(ctx, `DELETE FROM push_subscription WHERE endpoint = ?1`, endpoint); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}

// PushKeys are the VAPID keys (RFC 8292) of this installation, made at first
// use.
func (l *Ledger) PushKeys(ctx context.Context) (private, public string, err error) {
	private, public, err = webpush.GenerateVAPIDKeys()
	if err != nil {
		return "", "", fmt.Errorf("ledger: %w", err)
	}
	if _, err := l.db.ExecContext(ctx, `INSERT INTO kept_value (name, value) VALUES ('push_keys', ?1) ON CONFLICT (name) DO NOTHING`,
		private+" "+public); err != nil {
		return "", "", fmt.Errorf("ledger: %w", err)
	}
	var both string
	if err := l.db.QueryRowContext(ctx, `SELECT value FROM kept_value WHERE name = 'push_keys'`).Scan(&both); err != nil {
		return "", "", fmt.Errorf("ledger: %w", err)
	}
	if _, err := fmt.Sscan(both, &private, &public); err != nil {
		return "", "", fmt.Errorf("ledger: push keys: %w", err)
	}
	return private, public, nil
}
