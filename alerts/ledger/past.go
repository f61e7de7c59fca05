package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/forecast/archive"
)

// Past is what the ledger knows of a site when something is to be decided: read in one
// round trip. It is the memory of the rules.
type Past struct {
	Verdicts []alerts.Verdict // on what was due since a moment
	Told     []alerts.Told    // warnings that are judged, as Warnings lists them

	l        *Ledger
	ctx      context.Context
	asked    []string // people of whom it was asked whether they want to hear anything
	silenced []string
	made     map[alerts.Kind][]madeBefore // the newest first
}

// madeBefore is a decision that was made.
type madeBefore struct{ name, at, document string }

// What is read of each kind: so many of the newest decisions, and the documents of the
// first few. What else the rules ask for, which is rare, is asked for by itself.
const (
	namesRead     = 12
	documentsRead = 3
)

// Asking is what Past is asked for.
type Asking struct {
	Site          string
	People        []string // of whom it matters whether they want to hear anything
	VerdictsSince time.Time
	Judged        []alerts.Kind
	WarnedSince   time.Time
	Now           time.Time
}

// Past reads it. Questions of others go with it.
func (l *Ledger) Past(ctx context.Context, a Asking, also ...*archive.Question) (*Past, error) {
	p := &Past{l: l, ctx: ctx, asked: a.People, made: map[alerts.Kind][]madeBefore{}}
	warnings, told := warningsOf(a.Site, a.Judged, a.WarnedSince)
	questions := []*archive.Question{
		verdictsSince(a.Site, a.VerdictsSince, &p.Verdicts),
		{Query: `SELECT kind, name, made_at, CASE WHEN n <= ?2 THEN document ELSE '' END FROM (SELECT kind, name, made_at, document, ROW_NUMBER() OVER (PARTITION BY kind ORDER BY made_at DESC) AS n FROM decision WHERE site = ?1) d
			WHERE n <= ?3 ORDER BY kind, n`, Args: []any{a.Site, documentsRead, namesRead}, Read: func(rows *sql.Rows) error {
			var kind string
			var m madeBefore
			err := rows.Scan(&kind, &m.name, &m.at, &m.document)
			p.made[alerts.Kind(kind)] = append(p.made[alerts.Kind(kind)], m)
			return err
		}},
		warnings,
	}
	if len(a.People) > 0 {
		people, args := among(a.People, 2)
		questions = append(questions, &archive.Question{Query: `SELECT person FROM person_stopped WHERE person IN (` + people +
			`) UNION SELECT person FROM person_paused WHERE until > ?1 AND person IN (` + people + `)`,
			Args: append([]any{stamp(a.Now)}, args...), Read: func(rows *sql.Rows) error {
				var person string
				err := rows.Scan(&person)
				p.silenced = append(p.silenced, person)
				return err
			}})
	}
	if err := archive.Together(ctx, l.db, l.trips, append(questions, also...)...); err != nil {
		return nil, fmt.Errorf("ledger: past of %s: %w", a.Site, err)
	}
	p.Told = told()
	return p, nil
}

// Silenced reports whether a person wants no messages; known is false where they were not
// asked for.
func (p *Past) Silenced(person string) (silenced, known bool) {
	return slices.Contains(p.silenced, person), slices.Contains(p.asked, person)
}

// Last is that of alerts.Memory.
func (p *Past) Last(site string, kind alerts.Kind, keyBegins string) (d alerts.Decision, at time.Time, told bool, err error) {
	list := p.made[kind]
	i := slices.IndexFunc(list, func(m madeBefore) bool { return strings.HasPrefix(m.name, string(kind)+":"+keyBegins) })
	switch {
	case i < 0 && len(list) < namesRead:
		return d, at, false, nil
	case i < 0 || list[i].document == "":
		return p.l.Memory(p.ctx).Last(site, kind, keyBegins)
	case json.Unmarshal([]byte(list[i].document), &d) != nil:
		return alerts.Decision{}, at, false, nil // as Memory takes it
	}
	return d, unstamp(list[i].at), true, nil
}
