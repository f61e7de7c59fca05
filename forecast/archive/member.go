package archive

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
)

// keep says whose the rows of a table are: a condition for the rows of sites, in which %s
// stands for their ids, and one for those of a person, ?1. Empty ones say that no row is.
type keep struct{ table, ofSites, ofPerson string }

// keeps is of every table whose its rows are, in the order in which they can go: those that
// refer to others first. What it does not name is nobody's; a test compares it with tables.
var keeps = []keep{
	{"attempt", `delivery_id IN (SELECT v.id FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE d.site IN (%s))`,
		`delivery_id IN (SELECT id FROM delivery WHERE person = ?1)`},
	{"engine_job", `name IN (%[1]s) OR name IN (SELECT v.id FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE d.site IN (%[1]s))`, `name IN (SELECT id FROM delivery WHERE person = ?1)`},
	{"delivery", `decision_id IN (SELECT id FROM decision WHERE site IN (%s))`, `person = ?1`},
	{"decision", `site IN (%s)`, ``},
	{"visit_before", `visit_id IN (SELECT id FROM visit WHERE site IN (%s))`, ``},
	{"visit", `site IN (%s)`, ``},
	{"house_entry", `site IN (%s)`, ``},
	{"tap_event_before", `event_id IN (SELECT id FROM tap_event WHERE site IN (%s))`, ``},
	{"tap_event", `site IN (%s)`, ``},
	{"job_done", `site IN (%s)`, ``},
	{"job_lease", `site IN (%s)`, ``},
	{"calendar_entry", `site IN (%s)`, ``},
	{"person_stopped", ``, `person = ?1`},
	{"person_paused", ``, `person = ?1`},
	{"push_subscription", ``, `person = ?1`},
	{"account", ``, `person = ?1`},
	{"access_link", `site IN (%s)`, `person = ?1`},
	{"access_token", `site IN (%s)`, ``},
	{"tank_level", `site IN (%s)`, ``},
	{"evening", `site IN (%s)`, ``},
	{"entry_visit", `site IN (%s)`, ``},
	{"entry", `site IN (%s)`, ``},
	{"outlook", `site IN (%s)`, ``},
	{"taught", `site IN (%s)`, ``},
	{"past_days", `site IN (%s)`, ``},
	{"site_changes", `site IN (%s)`, ``},
	{"verdict", `site IN (%s)`, ``},
	{"attendance", `site IN (%s)`, `person = ?1`},
	{"observation", `site IN (%s)`, ``},
	{"thermometer_reading", `site IN (%s)`, ``},
	{"class_visit", `site IN (%s)`, ``},
	{"class_guess", `site IN (%s)`, ``},
	{"sighting", `site IN (%s)`, ``},
}

// hiddenColumns are that are given to nobody: what lets somebody in.
var hiddenColumns = []string{"password_hash", "hash"}

// nameless are the columns in which records name who wrote them, with the condition for
// those of sites.
var nameless = []struct {
	table, ofSites string
	columns        []string
}{
	{"visit", `site IN (%s)`, []string{"recorded_by"}},
	{"visit_before", `visit_id IN (SELECT id FROM visit WHERE site IN (%s))`, []string{"recorded_by"}},
	{"house_entry", `site IN (%s)`, []string{"recorded_by", "removed_by"}},
	{"tap_event", `site IN (%s)`, []string{"recorded_by"}},
	{"tap_event_before", `event_id IN (SELECT id FROM tap_event WHERE site IN (%s))`, []string{"recorded_by"}},
	{"observation", `site IN (%s)`, []string{"recorded_by", "removed_by"}},
	{"attendance", `site IN (%s)`, []string{"said_by", "withdrawn_by"}},
	{"entry", `site IN (%s)`, []string{"made_by"}},
	{"verdict", `site IN (%s)`, []string{"answered_by", "asked_of"}},
	{"class_visit", `site IN (%s)`, []string{"recorded_by"}},
}

// named are places for the ids of sites in a statement, from ?2 on.
func named(sites []string) (places string, args []any) {
	var list []string
	for i, id := range sites {
		list, args = append(list, fmt.Sprintf("?%d", i+2)), append(args, id)
	}
	return strings.Join(list, ", "), args
}

// where is the condition for what is a person's or one of the sites'; "" for no row.
func (k *keep) where(person string, sites []string) (condition string, args []any) {
	var parts []string
	args = []any{person}
	if k.ofPerson != "" {
		parts = append(parts, k.ofPerson)
	} else {
		parts = append(parts, `?1 = ''`) // every place in a statement has to be used
	}
	if k.ofSites != "" && len(sites) > 0 {
		places, ids := named(sites)
		parts, args = append(parts, fmt.Sprintf(k.ofSites, places)), append(args, ids...)
	} else if k.ofPerson == "" {
		return "", nil
	}
	return "(" + strings.Join(parts, " OR ") + ")", args
}

// Everything is what is kept of a person and of sites, by table: each row by its columns.
func (a *Archive) Everything(ctx context.Context, person string, sites []string) (map[string][]map[string]any, error) {
	out := map[string][]map[string]any{}
	for i := range keeps {
		k := &keeps[i]
		condition, args := k.where(person, sites)
		if condition == "" || k.table == "engine_job" || k.table == "job_lease" {
			continue
		}
		rows, err := a.rowsOf(ctx, `SELECT * FROM `+k.table+` WHERE `+condition, args)
		if err != nil {
			return nil, a.told("read "+k.table+" of", err)
		}
		if len(rows) > 0 {
			out[k.table] = rows
		}
	}
	return out, nil
}

func (a *Archive) rowsOf(ctx context.Context, query string, args []any) (out []map[string]any, err error) {
	rows, err := a.db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	for rows.Next() {
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		row := map[string]any{}
		for i, column := range columns {
			if !slices.Contains(hiddenColumns, column) {
				row[column] = values[i]
			}
		}
		out = append(out, row)
	}
	return out, rows.Err()
}

// Whose is what Forget does away with: what is kept of a person and of sites, the weather
// of their places and of cells, and the person's name and id beside the records of sites
// that others share.
type Whose struct {
	Person, Name         string
	Sites, Shared, Cells []string
}

// Weather reports whether a name under which weather and forecasts are kept is of the sites
// or cells.
func (of *Whose) Weather(name string) bool {
	for _, what := range weatherNames {
		rest, is := strings.CutPrefix(name, what)
		if is && (slices.Contains(of.Cells, rest) ||
			slices.ContainsFunc(of.Sites, func(site string) bool { return strings.HasPrefix(rest, site+"@") })) {
			return true
		}
	}
	return false
}

// weatherNames stand before a site's place or a cell in what forecasts are kept under.
var weatherNames = []string{"", "warnings ", "stations "}

// Forget returns how many rows are gone.
func (a *Archive) Forget(ctx context.Context, of Whose) (gone int, err error) {
	err = a.within(ctx, "forget in", func(tx *sql.Tx) error {
		gone = 0
		remove := func(table, condition string, args ...any) error {
			done, err := tx.ExecContext(ctx, `DELETE FROM `+table+` WHERE `+condition, args...)
			if err != nil {
				return fmt.Errorf("table %s: %w", table, err)
			}
			n, err := done.RowsAffected()
			gone += int(n)
			return err
		}
		for i := range keeps {
			if condition, args := keeps[i].where(of.Person, of.Sites); condition != "" {
				if err := remove(keeps[i].table, condition, args...); err != nil {
					return err
				}
			}
		}
		if err := of.eachWeather(remove); err != nil {
			return err
		}
		return unname(ctx, tx, &of)
	})
	return gone, err
}

// eachWeather takes away the weather and forecasts of places and cells, and the keys of
// entries, which begin with the site's id.
func (of *Whose) eachWeather(remove func(table, condition string, args ...any) error) error {
	const begins, is = `SUBSTR(%[1]s, 1, LENGTH(CAST(?1 AS TEXT))) = ?1`, `%[1]s = ?1`
	type one struct{ table, column, form, value string }
	var list []one
	for _, what := range weatherNames {
		for _, site := range of.Sites {
			list = append(list, one{"bulletin", "name", begins, what + site + "@"})
		}
		for _, cell := range of.Cells {
			list = append(list, one{"bulletin", "name", is, what + cell})
		}
	}
	for _, site := range of.Sites {
		list = append(list, one{"weather_day", "place", begins, site + "@"}, one{"weather_change", "place", begins, site + "@"},
			one{"entry_once", "name", begins, site + "/"})
	}
	for _, cell := range of.Cells {
		list = append(list, one{"weather_day", "place", is, cell}, one{"weather_change", "place", is, cell})
	}
	for _, o := range list {
		if err := remove(o.table, fmt.Sprintf(o.form, o.column), o.value); err != nil {
			return err
		}
	}
	return nil
}

// unname takes a person's name, or id, from beside the records of sites.
func unname(ctx context.Context, tx *sql.Tx, whose *Whose) error {
	if len(whose.Shared) == 0 {
		return nil
	}
	places, ids := named(whose.Shared)
	for _, of := range nameless {
		for _, column := range of.columns {
			for _, who := range []string{whose.Name, whose.Person} {
				if who == "" {
					continue
				}
				if _, err := tx.ExecContext(ctx,
					`UPDATE `+of.table+` SET `+column+` = '' WHERE `+column+` = ?1 AND `+fmt.Sprintf(of.ofSites, places),
					append([]any{who}, ids...)...); err != nil {
					return fmt.Errorf("table %s: %w", of.table, err)
				}
			}
		}
	}
	return nil
}
