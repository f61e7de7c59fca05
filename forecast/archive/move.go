package archive

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"hash"
	"math"
	"strings"
)

// tables are all that is kept, those that others refer to first, with what their
// rows are in order of.
var tables = []struct{ name, order string }{
	{"visit", "id"}, {"visit_before", "visit_id, revision"}, {"house_entry", "id"}, {"tap_event", "id"},
	{"tap_event_before", "event_id, revision"}, {"weather_day", "place, day"}, {"weather_change", "place, month"},
	{"decision", "id"}, {"delivery", "id"}, {"attempt", "delivery_id, number"},
	{"job_done", "site, job, slot"}, {"calendar_entry", "site, uid"}, {"person_stopped", "person"}, {"person_paused", "person"},
	{"kept_value", "name"}, {"push_subscription", "endpoint"},
	{"tank_level", "site, tank, at"}, {"account", "person"}, {"web_session", "token"}, {"access_link", "id"}, {"access_token", "id"},
	{"evening", "site, date"}, {"entry_once", "name"}, {"entry", "site, number"}, {"entry_visit", "site, number, place"},
	{"job_lease", "site, job, slot"}, {"outlook", "site"}, {"taught", "site"}, {"past_days", "site"}, {"site_changes", "site"},
	{"service_budget", "service"},
	{"bulletin", "name"}, {"engine_job", "kind, name"}, {"engine_pace", "channel"},
	{"verdict", "site, warning"}, {"attendance", "site, id"}, {"observation", "id"}, {"thermometer_reading", "site, at"},
	{"class_visit", "id"}, {"class_guess", "id"}, {"member", "kind, id"}, {"member_change", "id"}, {"member_count", "name"},
	{"sighting", "site"},
}

// Moved is what was moved of one table.
type Moved struct {
	Table string `json:"table"`
	Rows  int    `json:"rows"`
	Sum   string `json:"sha256"` // of all values, the same on both sides
}

// Move copies everything to another archive, which has to be empty, in one
// transaction, and reads both again: it fails unless every table has the same
// rows on both sides. What was is left as it is.
func (a *Archive) Move(ctx context.Context, to *Archive) ([]Moved, error) {
	for _, t := range tables {
		var n int
		if err := to.db.QueryRowContext(ctx, "SELECT COUNT(*) FROM "+t.name).Scan(&n); err != nil {
			return nil, to.told("look into", err)
		}
		if n > 0 {
			return nil, fmt.Errorf("%s is not empty: table %s has %d rows; move to a new one", to.path, t.name, n)
		}
	}
	err := to.once(ctx, "move to", func(tx *sql.Tx) error {
		for _, t := range tables {
			if err := a.copyTable(ctx, tx, t.name, t.order); err != nil {
				return fmt.Errorf("table %s: %w", t.name, err)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var out []Moved
	for _, t := range tables {
		here, err := a.sum(ctx, t.name, t.order)
		if err != nil {
			return nil, err
		}
		there, err := to.sum(ctx, t.name, t.order)
		if err != nil {
			return nil, err
		}
		if here != there {
			return nil, fmt.Errorf("table %s differs after the move (%d rows %s, %d rows %s): was something still writing? stop the daemon, and move to a new one again", t.name, here.Rows, here.Sum, there.Rows, there.Sum)
		}
		out = append(out, here)
	}
	return out, nil
}

func (a *Archive) copyTable(ctx context.Context, tx *sql.Tx, table, order string) error {
	rows, err := a.ordered(ctx, table, order)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	places := make([]string, len(columns))
	for i := range places {
		places[i] = fmt.Sprintf("?%d", i+1)
	}
	insert, err := tx.PrepareContext(ctx,
		fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", table, strings.Join(columns, ", "), strings.Join(places, ", ")))
	if err != nil {
		return err
	}
	defer func() { _ = insert.Close() }()
	return eachRow(rows, len(columns), func(values []any) error {
		_, err := insert.ExecContext(ctx, values...)
		return err
	})
}

// ordered reads a table in the order of its bytes, whatever the language of the
// database is.
func (a *Archive) ordered(ctx context.Context, table, order string) (*sql.Rows, error) {
	if a.postgres {
		parts := strings.Split(order, ", ")
		for i, p := range parts {
			if p != "revision" && p != "number" && p != "place" {
				parts[i] = p + ` COLLATE "C"`
			}
		}
		order = strings.Join(parts, ", ")
	}
	return a.db.QueryContext(ctx, "SELECT * FROM "+table+" ORDER BY "+order)
}

func eachRow(rows *sql.Rows, columns int, do func(values []any) error) error {
	values, into := make([]any, columns), make([]any, columns)
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := do(values); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (a *Archive) sum(ctx context.Context, table, order string) (Moved, error) {
	m := Moved{Table: table}
	rows, err := a.ordered(ctx, table, order)
	if err != nil {
		return m, a.told("read", err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return m, a.told("read", err)
	}
	h := sha256.New()
	err = eachRow(rows, len(columns), func(values []any) error {
		m.Rows++
		return addRow(h, values)
	})
	if err != nil {
		return m, a.told("read", err)
	}
	m.Sum = hex.EncodeToString(h.Sum(nil)[:12])
	return m, nil
}

// addRow writes values so that both databases write the same.
func addRow(h hash.Hash, values []any) error {
	for _, v := range values {
		var text string
		switch v := v.(type) {
		case nil:
			text = "null"
		case string:
			text = "t" + v
		case []byte:
			text = "b" + hex.EncodeToString(v)
		case int64:
			text = fmt.Sprintf("i%d", v)
		case float64:
			text = fmt.Sprintf("f%016x", math.Float64bits(v))
		default:
			return fmt.Errorf("a value of a kind that is not kept: %T", v)
		}
		if _, err := fmt.Fprintf(h, "%d:%s,", len(text), text); err != nil {
			return err
		}
	}
	return nil
}
