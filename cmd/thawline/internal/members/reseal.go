package members

import (
	"context"
	"database/sql"
	"fmt"
)

// resealedAtOnce is how many rows one transaction seals anew.
const resealedAtOnce = 100

// Reseal seals with the first key what was sealed with others, and returns how many rows
// that were. It may be cut short at any moment and begun again, while daemons that have all
// the keys go on: whatever was done is done, and a row that somebody changes meanwhile stays
// as they made it.
func (s *Store) Reseal(ctx context.Context) (done int, err error) {
	for {
		n, err := s.resealOnce(ctx)
		if err != nil || n == 0 {
			return done, err
		}
		done += n
	}
}

// resealOnce seals the next few anew, all or none.
func (s *Store) resealOnce(ctx context.Context) (n int, err error) {
	err = s.within(ctx, func(tx *sql.Tx) (err error) {
		n, err = s.resealSome(ctx, tx)
		return err
	})
	return n, err
}

func (s *Store) resealSome(ctx context.Context, tx *sql.Tx) (n int, err error) {
	type row struct{ kind, id, sealed string }
	var old []row
	rows, err := tx.QueryContext(ctx, `SELECT kind, id, sealed FROM member WHERE sealed <> '' AND SUBSTR(sealed, 1, LENGTH(CAST(?1 AS TEXT))) <> ?1 ORDER BY kind, id LIMIT ?2`, s.seal[0].name+":", resealedAtOnce)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.kind, &r.id, &r.sealed); err != nil {
			return 0, err
		}
		old = append(old, r)
	}
	if err := rows.Err(); err != nil {
		return 0, err
	}
	_ = rows.Close() // before the same connection writes
	for _, r := range old {
		of := r.kind + "\x00" + r.id
		phone, email, err := s.seal.open(of, r.sealed)
		if err != nil {
			return 0, fmt.Errorf("%s %s: %w", r.kind, r.id, err)
		}
		sealed, err := s.seal.close(of, phone, email)
		if err != nil {
			return 0, err
		}
		if _, err := tx.ExecContext(ctx, `UPDATE member SET sealed = ?1 WHERE kind = ?2 AND id = ?3 AND sealed = ?4`, sealed, r.kind,
			r.id, r.sealed); err != nil {
			return 0, err
		}
	}
	return len(old), nil
}
