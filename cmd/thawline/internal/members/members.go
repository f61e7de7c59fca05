// Package members keeps an association's bushes and people in the database: their
// descriptions, their numbers sealed, and who changed what.
package members

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"thawline/config"
	"thawline/forecast/secret"
)

// The ways by which members are changed.
const (
	ByPage    = "page"
	ByAPI     = "api"
	ByCSV     = "csv"
	ByCommand = "command"
)

// What was done to a member.
const (
	Added     = "added"
	Changed   = "changed"
	Removed   = "removed"
	Invited   = "invited"
	Given     = "given"     // all that is kept, to the member
	Forgotten = "forgotten" // with all that was kept
)

var (
	// ErrNone is what asking for somebody gives who is not kept here.
	ErrNone = errors.New("no such bush or person is kept in the database")
	// ErrOvertaken is what a change gives that was made from what somebody else has
	// changed since.
	ErrOvertaken = errors.New("somebody changed this meanwhile: look at it again")

	errUnchanged = errors.New("nothing is different")
)

// Store is the members of a database. It may be used by several goroutines, and the
// database by several daemons.
type Store struct {
	db      *sql.DB
	seal    seals
	changed chan struct{}

	mu     sync.Mutex
	read   map[string]asRead // by kind and id, as of a number of changes
	sorted []config.Described
	number int64
	serial int64
}

// asRead is what a row describes, and by what another version of it would be known.
type asRead struct {
	number    int64 // of the change that wrote it last
	revision  int
	at        string
	described config.Described
}

// New is the members of a database that has the tables. Of several keys, parted by spaces,
// the first seals and all open. Without a key there are none, and New gives nil.
func New(db *sql.DB, key secret.Text) (*Store, error) {
	if !key.Given() {
		return nil, nil
	}
	s, err := newSeals(key)
	if err != nil {
		return nil, err
	}
	return &Store{db: db, seal: s, changed: make(chan struct{}, 1)}, nil
}

// Changed has something to read after a change that was made here.
func (s *Store) Changed() <-chan struct{} { return s.changed }

// Author is who changes something, and by which way.
type Author struct{ Name, Way string }

// Kept is a description and how often it was changed.
type Kept struct {
	config.Described
	Revision  int // from 1 on
	ChangedAt time.Time
}

// All are all bushes and people, by kind and id. One whose numbers the key does not open
// is an error: nobody would be told.
func (s *Store) All(ctx context.Context) ([]Kept, error) {
	return s.list(ctx, s.db, ` ORDER BY kind, id`)
}

// Described are all bushes and people, by kind and id, and how many changes they are of.
// Only what has changed since the last time is read and opened. The list is shared: nobody
// changes it.
func (s *Store) Described(ctx context.Context) (list []config.Described, number int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if number, err = s.Number(ctx); err != nil {
		return nil, 0, fmt.Errorf("members: %w", err)
	}
	if s.read != nil && number == s.number {
		return s.sorted, number, nil
	}
	read, whole := map[string]asRead(nil), s.read == nil || number-s.number > few
	if !whole {
		read, whole, err = s.newer(ctx, number)
	}
	if whole && err == nil {
		read, err = s.writtenAfter(ctx, -1)
	}
	if err != nil {
		return nil, 0, err
	}
	s.sorted = make([]config.Described, 0, len(read))
	for _, row := range read {
		s.sorted = append(s.sorted, row.described)
	}
	slices.SortFunc(s.sorted, func(a, b config.Described) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID)) })
	s.read, s.number = read, number
	return s.sorted, number, nil
}

// newer is what was read before with the rows of later changes in place, and whether
// changes are missing among them: those that took a row away, or that an older release made.
func (s *Store) newer(ctx context.Context, number int64) (read map[string]asRead, missing bool, err error) {
	fresh, err := s.writtenAfter(ctx, s.number)
	if err != nil {
		return nil, false, err
	}
	left := map[int64]bool{}
	for _, row := range fresh {
		left[row.number] = true
	}
	for n := s.number + 1; n <= number; n++ {
		missing = missing || !left[n]
	}
	if !missing {
		read = maps.Clone(s.read)
		maps.Copy(read, fresh)
	}
	return read, missing, nil
}

// writtenAfter reads the rows that changes after a number have written. What is as it was
// when it was read before keeps its serial.
func (s *Store) writtenAfter(ctx context.Context, number int64) (read map[string]asRead, err error) {
	rows, err := s.db.QueryContext(ctx,
		`SELECT kind, id, document, sealed, number, revision, changed_at FROM member WHERE number > ?1`, number)
	if err != nil {
		return nil, fmt.Errorf("members: %w", err)
	}
	defer rows.Close()
	read = map[string]asRead{}
	for rows.Next() {
		var d config.Described
		var row asRead
		var document, sealed string
		if err := rows.Scan(&d.Kind, &d.ID, &document, &sealed, &row.number, &row.revision, &row.at); err != nil {
			return nil, fmt.Errorf("members: %w", err)
		}
		of := d.Kind + "\x00" + d.ID
		was := s.read[of]
		if row.described = was.described; was.number != row.number || was.revision != row.revision || was.at != row.at {
			s.serial++
			d.Serial = s.serial
			if err := s.open(&d, document, sealed); err != nil {
				return nil, err
			}
			row.described = d
		}
		read[of] = row
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("members: %w", err)
	}
	return read, nil
}

// open reads what a row has of a bush or person.
func (s *Store) open(d *config.Described, document, sealed string) (err error) {
	if err := json.Unmarshal([]byte(document), &d.Values); err != nil {
		return fmt.Errorf("members: %s %s: %w", d.Kind, d.ID, err)
	}
	if d.Phone, d.Email, err = s.seal.open(d.Kind+"\x00"+d.ID, sealed); err != nil {
		return fmt.Errorf("members: %s %s: %w", d.Kind, d.ID, err)
	}
	return nil
}

// One is a bush or person, or ErrNone.
func (s *Store) One(ctx context.Context, kind, id string) (Kept, error) {
	list, err := s.list(ctx, s.db, ` WHERE kind = ?1 AND id = ?2`, kind, id)
	if err == nil && len(list) == 0 {
		err = ErrNone
	}
	if err != nil {
		return Kept{}, err
	}
	return list[0], nil
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func (s *Store) list(ctx context.Context, db querier, where string, args ...any) (out []Kept, err error) {
	rows, err := db.QueryContext(ctx, `SELECT kind, id, document, sealed, revision, changed_at FROM member`+where, args...)
	if err != nil {
		return nil, fmt.Errorf("members: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var k Kept
		var document, sealed, at string
		if err := rows.Scan(&k.Kind, &k.ID, &document, &sealed, &k.Revision, &at); err != nil {
			return nil, fmt.Errorf("members: %w", err)
		}
		if err := s.open(&k.Described, document, sealed); err != nil {
			return nil, err
		}
		k.ChangedAt = unstamp(at)
		out = append(out, k)
	}
	return out, rows.Err()
}

// Number counts the changes by whoever made them.
func (s *Store) Number(ctx context.Context) (n int64, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT number FROM member_count WHERE name = 'changes'`).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return n, err
}

// Put adds or changes bushes and people, all or none, and returns how many were added and
// how many are different now. What is said of revision holds for each: 0 for one that is
// new, the one that was read, or Any.
func (s *Store) Put(ctx context.Context, list []Kept, by Author, now time.Time) (added, changed int, err error) {
	err = s.within(ctx, func(tx *sql.Tx) error {
		have, err := s.having(ctx, tx, list)
		if err != nil {
			return err
		}
		number, err := s.counted(ctx, tx)
		if err != nil {
			return err
		}
		added, changed = 0, 0
		for i := range list {
			k := &list[i]
			before, known := have[k.Kind+"\x00"+k.ID]
			if k.Revision != Any && k.Revision != before.Revision {
				return ErrOvertaken
			}
			said, says := differences(before.Described, k.Described)
			if known && said == says {
				continue
			}
			what := Changed
			if !known {
				what = Added
			}
			if err := s.write(ctx, tx, k, before.Revision+1, number, now); err != nil {
				return err
			}
			if err := note(ctx, tx, Change{Kind: k.Kind, Member: k.ID, What: what, By: by.Name, Way: by.Way, Said: said, Says: says,
				At: now}); err != nil {
				return err
			}
			if known {
				changed++
			} else {
				added++
			}
		}
		if added+changed == 0 {
			return errUnchanged // nothing to count
		}
		return nil
	})
	if errors.Is(err, errUnchanged) {
		return 0, 0, nil
	}
	if err == nil && added+changed > 0 {
		s.tell()
	}
	return added, changed, err
}

// Any stands for whatever revision there is.
const Any = -1

// having reads what is kept of a list: one by one for a few, else all at once.
func (s *Store) having(ctx context.Context, tx *sql.Tx, list []Kept) (map[string]Kept, error) {
	out := map[string]Kept{}
	take := func(found []Kept, err error) error {
		for _, k := range found {
			out[k.Kind+"\x00"+k.ID] = k
		}
		return err
	}
	if len(list) > few {
		return out, take(s.list(ctx, tx, ""))
	}
	for i := range list {
		if err := take(s.list(ctx, tx, ` WHERE kind = ?1 AND id = ?2`, list[i].Kind, list[i].ID)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (s *Store) write(ctx context.Context, tx *sql.Tx, k *Kept, revision int, number int64, now time.Time) error {
	document, err := json.Marshal(k.Values)
	if err != nil {
		return fmt.Errorf("%s %s: %w", k.Kind, k.ID, err)
	}
	sealed, err := s.seal.close(k.Kind+"\x00"+k.ID, k.Phone, k.Email)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO member (kind, id, document, sealed, revision, changed_at, number) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
		ON CONFLICT (kind, id) DO UPDATE SET document = excluded.document, sealed = excluded.sealed, revision = excluded.revision, changed_at = excluded.changed_at, number = excluded.number`,
		k.Kind, k.ID, string(document), sealed, revision, stamp(now), number)
	return err
}

// Remove takes a bush or person out; what was collected there stays.
func (s *Store) Remove(ctx context.Context, kind, id string, by Author, now time.Time) error {
	err := s.within(ctx, func(tx *sql.Tx) error {
		list, err := s.list(ctx, tx, ` WHERE kind = ?1 AND id = ?2`, kind, id)
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return ErrNone
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM member WHERE kind = ?1 AND id = ?2`, kind, id); err != nil {
			return err
		}
		said, _ := differences(list[0].Described, config.Described{Kind: kind, ID: id})
		if err := note(ctx, tx, Change{Kind: kind, Member: id, What: Removed, By: by.Name, Way: by.Way, Said: said, Says: "{}",
			At: now}); err != nil {
			return err
		}
		_, err = s.counted(ctx, tx)
		return err
	})
	if err == nil {
		s.tell()
	}
	return err
}

// Note writes down what was done to somebody without changing what is kept.
func (s *Store) Note(ctx context.Context, list []Change) error {
	return s.within(ctx, func(tx *sql.Tx) error {
		for _, c := range list {
			if err := note(ctx, tx, c); err != nil {
				return err
			}
		}
		return nil
	})
}

// Forget writes down that a member is forgotten, and forgets what the log knew of it.
func (s *Store) Forget(ctx context.Context, kind, id string, by Author, now time.Time) error {
	err := s.within(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM member WHERE kind = ?1 AND id = ?2`, kind, id); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM member_change WHERE kind = ?1 AND member = ?2`, kind, id); err != nil {
			return err
		}
		if err := note(ctx, tx, Change{Kind: kind, Member: id, What: Forgotten, By: by.Name, Way: by.Way, Said: "{}", Says: "{}",
			At: now}); err != nil {
			return err
		}
		_, err := s.counted(ctx, tx)
		return err
	})
	if err == nil {
		s.tell()
	}
	return err
}

func (s *Store) tell() {
	select {
	case s.changed <- struct{}{}:
	default:
	}
}

// counted counts a change, and returns its number. Until the transaction ends nobody else
// gets the next one, so that whoever sees a number sees what came before it.
func (s *Store) counted(ctx context.Context, tx *sql.Tx) (number int64, err error) {
	err = tx.QueryRowContext(ctx,
		`INSERT INTO member_count (name, number) VALUES ('changes', 1) ON CONFLICT (name) DO UPDATE SET number = member_count.number + 1 RETURNING number`).Scan(&number)
	return number, err
}

func (s *Store) within(ctx context.Context, do func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("members: %w", err)
	}
	if err := do(tx); err != nil {
		_ = tx.Rollback() // what went wrong is told
		if errors.Is(err, ErrNone) || errors.Is(err, ErrOvertaken) || errors.Is(err, errUnchanged) {
			return err
		}
		return fmt.Errorf("members: %w", err)
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("members: %w", err)
	}
	return nil
}

// Change is one line of the log.
type Change struct {
	At         time.Time `json:"at"`
	By         string    `json:"by"`
	Way        string    `json:"way"`
	What       string    `json:"what"`
	Kind       string    `json:"kind"`
	Member     string    `json:"member"`
	Said, Says string    `json:"-"` // JSON of what is different, numbers without most of their digits
}

func note(ctx context.Context, tx *sql.Tx, c Change) error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO member_change (id, at, made_by, way, what, kind, member, said, says) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)`,
		id.String(), stamp(c.At), c.By, c.Way, c.What, c.Kind, c.Member, orNothing(c.Said), orNothing(c.Says))
	return err
}

func orNothing(document string) string {
	if document == "" {
		return "{}"
	}
	return document
}

// Log are the newest changes, of one bush or person or, with id "", of all.
func (s *Store) Log(ctx context.Context, kind, id string, most int) (out []Change, err error) {
	where, args := ``, []any{most}
	if id != "" {
		where, args = ` WHERE kind = ?2 AND member = ?3`, []any{most, kind, id}
	}
	rows, err := s.db.QueryContext(ctx, `SELECT at, made_by, way, what, kind, member, said, says FROM member_change`+where+` ORDER BY id DESC LIMIT ?1`, args...)
	if err != nil {
		return nil, fmt.Errorf("members: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var c Change
		var at string
		if err := rows.Scan(&at, &c.By, &c.Way, &c.What, &c.Kind, &c.Member, &c.Said, &c.Says); err != nil {
			return nil, fmt.Errorf("members: %w", err)
		}
		c.At = unstamp(at)
		out = append(out, c)
	}
	return out, rows.Err()
}

// differences are what two descriptions say of what is not the same, as JSON.
func differences(before, after config.Described) (said, says string) {
	was, is := shownValues(&before), shownValues(&after)
	if before.Phone.Reveal() != after.Phone.Reveal() && was["phone"] == is["phone"] {
		is["phone"] = strings.TrimSpace(fmt.Sprint(is["phone"]) + " (another)")
	}
	if before.Email.Reveal() != after.Email.Reveal() && was["email"] == is["email"] {
		is["email"] = strings.TrimSpace(fmt.Sprint(is["email"]) + " (another)")
	}
	for _, key := range degrees {
		if moved := fmt.Sprint(before.Values[key]) != fmt.Sprint(after.Values[key]); moved && before.Values != nil && is[key] != nil &&
			was[key] == is[key] {
			is[key] = fmt.Sprint(is[key]) + " (moved)"
		}
	}
	for _, key := range slices.Collect(maps.Keys(was)) {
		if reflect.DeepEqual(was[key], is[key]) {
			delete(was, key)
			delete(is, key)
		}
	}
	return asJSON(was), asJSON(is)
}

// shownValues are the values as the log shows them, numbers without most of their digits
// and places to a tenth of a degree, in the form in which they come back from the database.
func shownValues(d *config.Described) map[string]any {
	out := map[string]any{}
	_ = json.Unmarshal([]byte(asJSON(d.Values)), &out) // of what was JSON a line before
	tellRoughly(d.Kind, out)
	if d.Phone.Given() {
		out["phone"] = Masked(d.Phone)
	}
	if d.Email.Given() {
		out["email"] = Masked(d.Email)
	}
	return out
}

// Masked is as much of a number or address as tells it from another.
func Masked(s secret.Text) string {
	text := s.Reveal()
	if name, host, is := strings.Cut(text, "@"); is {
		return name[:min(1, len(name))] + "…@" + host
	}
	if len(text) < 4 {
		return ""
	}
	return "…" + text[len(text)-2:]
}

func asJSON(values map[string]any) string {
	if values == nil {
		return "{}"
	}
	text, err := json.Marshal(values)
	if err != nil {
		return "{}"
	}
	return string(text)
}

const instant = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string { return t.UTC().Format(instant) }

func unstamp(s string) time.Time {
	t, err := time.Parse(instant, s)
	if err != nil {
		return time.Time{}
	}
	return t
}
