package members

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/secret"
	"thawline/testdata/beside"
)

var at = time.Date(2026, time.March, 8, 15, 0, 0, 0, time.UTC)

var office = Author{Name: "Office", Way: ByCSV}

const testKey = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="

// deskOn is an office on an archive, beside a settings file without anybody.
func deskOn(t *testing.T, a *archive.Archive) *Desk {
	t.Helper()
	file := filepath.Join(t.TempDir(), "thawline.yaml")
	key := filepath.Join(filepath.Dir(file), "key")
	if err := errors.Join(os.WriteFile(key, []byte(testKey), 0o600),
		os.WriteFile(file, []byte("units: metric\nmembers_key_file: key\nchannels:\n  - id: text\n    kind: text_gateway\n    url: https://gateway.example.org/?to={to}&text={text}\n"), 0o600)); err != nil {
		t.Fatal(err)
	}
	base, err := config.Load(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	store, err := New(a.DB(), base.MembersKey)
	if err != nil {
		t.Fatal(err)
	}
	l := ledger.New(a.DB())
	service := auth.New(a.DB(), l.Key, slog.New(slog.NewTextHandler(io.Discard, nil)), func() time.Time { return at })
	service.SetSettings(auth.Settings{Link: "https://bush.example.org"})
	return &Desk{Store: store, Archive: a, Ledger: l, Auth: service, Base: func() *config.Config { return base }, Catalogue: message.BuiltIn}
}

// open are the databases that the office is tried on.
func open(t *testing.T, each func(t *testing.T, a *archive.Archive)) {
	t.Run("sqlite", func(t *testing.T) {
		a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "thawline.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		each(t, a)
	})
	t.Run("postgres", func(t *testing.T) {
		where := beside.Postgres(t)
		if where == "" {
			t.Skip("THAWLINE_TEST_POSTGRES names no database: PostgreSQL is not tried")
		}
		a, err := archive.Open(t.Context(), where)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		each(t, a)
	})
}

// table is a table of members, each with a bush, the second with a helper beside.
func table(n int) []byte {
	var b strings.Builder
	b.WriteString("id,name,latitude,longitude,zone,taps,collected_by,container,person,person_name,role,phone,channels,quiet_hours\n")
	for i := range n {
		fmt.Fprintf(&b, "bush%d,Bush %d,%.4f,%.4f,America/Toronto,%d,pail,7.5 L,keeper%d,Keeper %d,keeper,+1819%07d,text,21:00-06:00\n",
			i, i, 45+float64(i%90)/60, -73+float64(i%77)/40, 50+i%300, i, i, i)
	}
	return []byte(b.String())
}

// how many members the test has: THAWLINE_MEMBERS=4000 for an association.
func many() int {
	if n, err := strconv.Atoi(os.Getenv("THAWLINE_MEMBERS")); err == nil {
		return n
	}
	return 40
}

func TestMembersByTable(t *testing.T) {
	open(t, func(t *testing.T, a *archive.Archive) {
		ctx, d, n := t.Context(), deskOn(t, a), many()
		began := time.Now()
		done, err := d.Import(ctx, "members.csv", table(n), InviteByText, office, at)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%d members taken and invited in %v", n, time.Since(began))
		if done.Added != 2*n || len(done.LeftOut) != 0 || len(done.Invited) != n || !done.Invited[0].Sent {
			t.Fatalf("added %d, left out %d, invited %d", done.Added, len(done.LeftOut), len(done.Invited))
		}
		again, err := d.Import(ctx, "members.csv", table(n), InviteByText, office, at)
		if err != nil || again.Added+again.Changed+len(again.Invited) != 0 || again.Same != 2*n {
			t.Errorf("the same table again: %+v, %v", again, err)
		}

		// One edited, one paused, one gone.
		k, err := d.One(ctx, config.Member, "keeper1")
		if err != nil {
			t.Fatal(err)
		}
		Set(k.Values, "quiet_hours", "22:00-05:00")
		k.Phone = secret.New("+18025550199")
		if _, changed, err := d.Save(ctx, []Kept{k}, office, at); err != nil || changed != 1 {
			t.Fatal(changed, err)
		}
		if _, _, err := d.Save(ctx, []Kept{k}, office, at); !errors.Is(err, ErrOvertaken) {
			t.Errorf("a change of what somebody else has changed meanwhile: %v", err)
		}
		if until, err := d.Pause(ctx, "keeper2", "5 days", office, at); err != nil || until != "2026-03-13" {
			t.Errorf("paused until %s, %v", until, err)
		}
		if _, err := d.Pause(ctx, "keeper2", "a while", office, at); err == nil {
			t.Error("a pause that nobody can read is taken")
		}
		if err := d.Remove(ctx, config.Bush, "bush3", office, at); err != nil {
			t.Fatal(err)
		}

		whole := *d.Base()
		all, err := d.All(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var described []config.Described
		for i := range all {
			described = append(described, all[i].Described)
		}
		whole.Add(described)
		if len(whole.Sites) != n-1 || len(whole.People) != n || len(whole.LeftOut) != 0 {
			t.Fatalf("%d bushes, %d people, left out %v", len(whole.Sites), len(whole.People), whole.LeftOut)
		}
		for i := range whole.People {
			switch p := &whole.People[i]; p.ID {
			case "keeper1":
				if p.Phone.Reveal() != "+18025550199" || p.Quiet.From != 22*time.Hour {
					t.Errorf("edited: quiet from %v", p.Quiet.From)
				}
			case "keeper2":
				if p.PausedUntil.Format(time.DateOnly) != "2026-03-13" {
					t.Errorf("paused until %v", p.PausedUntil)
				}
			case "keeper3":
				if p.Sites == nil || len(p.Sites) != 0 {
					t.Errorf("whose bush is gone sees %v", p.Sites)
				}
			}
		}

		log, err := d.Log(ctx, config.Member, "keeper1", 10)
		if err != nil || len(log) != 3 || log[0].What != Changed || log[1].What != Invited || log[2].What != Added {
			t.Fatalf("log %+v, %v", log, err)
		}
		if log[0].Said != `{"phone":"…01","quiet_hours":"21:00-06:00"}` ||
			log[0].Says != `{"phone":"…99","quiet_hours":"22:00-05:00"}` || log[0].By != "Office" {
			t.Errorf("said %s, says %s", log[0].Said, log[0].Says)
		}
		nowhereInTheDatabase(t, a, "+18025550199", "+18190000005")
	})
}

// nowhereInTheDatabase looks for texts in all columns of the members' tables.
func nowhereInTheDatabase(t *testing.T, a *archive.Archive, texts ...string) {
	t.Helper()
	for _, text := range texts {
		for _, query := range []string{`SELECT COUNT(*) FROM member WHERE document LIKE ?1 OR sealed LIKE ?1`,
			`SELECT COUNT(*) FROM member_change WHERE said LIKE ?1 OR says LIKE ?1`} {
			var n int
			if err := a.DB().QueryRowContext(t.Context(), query, "%"+text[1:]+"%").Scan(&n); err != nil || n > 0 {
				t.Errorf("a number stands open in the database: %d, %v", n, err)
			}
		}
	}
}

// A row's numbers can't be read with another key, nor as another member's.
func TestNumbersAreSealed(t *testing.T) {
	open(t, func(t *testing.T, a *archive.Archive) {
		ctx, d := t.Context(), deskOn(t, a)
		if _, err := d.Import(ctx, "members.csv", table(2), "", office, at); err != nil {
			t.Fatal(err)
		}
		key, err := NewKey()
		if err != nil {
			t.Fatal(err)
		}
		other, err := New(a.DB(), secret.New(key))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := other.All(ctx); err == nil || !strings.Contains(err.Error(), "another key") {
			t.Errorf("with another key: %v", err)
		}
		if _, err := a.DB().ExecContext(ctx,
			`UPDATE member SET sealed = (SELECT m.sealed FROM member m WHERE m.id = 'keeper0') WHERE id = 'keeper1'`); err != nil {
			t.Fatal(err)
		}
		if _, err := d.One(ctx, config.Member, "keeper1"); err == nil || strings.Contains(err.Error(), "819") {
			t.Errorf("another's number: %v", err)
		}
	})
}

// What is wrong in a table is told with its line or member, and nothing else is kept back.
// The key is changed while the program is killed in the middle: whatever is sealed opens with
// both keys at every moment, and in the end with the new one alone. A row that is changed
// meanwhile, by a daemon that has both, stays as it is.
func TestKeyIsChangedInSpiteOfAKill(t *testing.T) {
	const both = otherKey + " " + testKey
	if file := os.Getenv("THAWLINE_RESEAL"); file != "" { // the program that is killed
		a, err := archive.Open(t.Context(), file)
		if err != nil {
			t.Fatal(err)
		}
		store, err := New(a.DB(), secret.New(both))
		if err != nil {
			t.Fatal(err)
		}
		for range 3 {
			if _, err := store.resealOnce(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		_ = store.within(t.Context(), func(tx *sql.Tx) error {
			_, err := store.resealSome(t.Context(), tx)
			fmt.Println("in the middle", err)
			select {} // until it is killed
		})
	}
	file := filepath.Join(t.TempDir(), "thawline.db")
	a, err := archive.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	const n = 500
	if _, err := deskOn(t, a).Import(t.Context(), "members.csv", table(n), "", office, at); err != nil {
		t.Fatal(err)
	}
	store, err := New(a.DB(), secret.New(both))
	if err != nil {
		t.Fatal(err)
	}
	anew := func() (count int) {
		t.Helper()
		if err := a.DB().QueryRowContext(t.Context(), `SELECT COUNT(*) FROM member WHERE sealed LIKE ?1`,
			store.seal[0].name+":%").Scan(&count); err != nil {
			t.Fatal(err)
		}
		return count
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestKeyIsChangedInSpiteOfAKill$")
	cmd.Env = append(os.Environ(), "THAWLINE_RESEAL="+file)
	said, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(said).ReadString('\n'); err != nil || !strings.HasPrefix(line, "in the middle <nil>") {
		t.Fatalf("%q, %v", line, err)
	}
	_ = cmd.Process.Kill()
	_ = cmd.Wait() // was killed
	if some := anew(); some != 3*resealedAtOnce {
		t.Errorf("killed after %d of %d", some, n)
	}
	if all, err := store.All(t.Context()); err != nil || len(all) != 2*n {
		t.Fatalf("in the middle %d are read, %v", len(all), err)
	}
	left := n - anew()
	if done, err := store.Reseal(t.Context()); err != nil || done != left || anew() != n {
		t.Errorf("%d of %d sealed anew, %v", done, left, err)
	}
	if done, err := store.Reseal(t.Context()); err != nil || done != 0 {
		t.Errorf("once more: %d, %v", done, err)
	}
	alone, err := New(a.DB(), secret.New(otherKey))
	if err != nil {
		t.Fatal(err)
	}
	k, err := alone.One(t.Context(), config.Member, "keeper7")
	if err != nil || k.Phone.Reveal() != "+18190000007" {
		t.Errorf("by the new key alone: %v, %v", k.Phone.Given(), err)
	}
	if _, err := deskOn(t, a).All(t.Context()); err == nil {
		t.Error("the old key opens what was sealed anew")
	}
}

const otherKey = "ICEiIyQlJicoKSorLC0uLzAxMjM0NTY3ODk6Ozw9Pj8="

func TestTableWithMistakes(t *testing.T) {
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "thawline.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	d := deskOn(t, a)
	bad := string(table(3)) +
		"sea,At sea,0,0,America/Toronto,20,pail,7.5 L,,,,,,\n" +
		"west,West,45.1,-72.1,America/Toronto,20,pail,7.5 L,who,Who,keeper,12,text,\n"
	done, err := d.Import(context.WithoutCancel(t.Context()), "members.csv", []byte(bad), InviteByLink, office, at)
	if err != nil {
		t.Fatal(err)
	}
	told := strings.Join(done.LeftOut, "\n")
	if done.Added != 7 || len(done.Invited) != 3 || !strings.Contains(told, "bush sea: latitude") ||
		!strings.Contains(told, "person who: phone_file: what is given is not an international") {
		t.Errorf("added %d, invited %d, told:\n%s", done.Added, len(done.Invited), told)
	}
	if !strings.HasPrefix(done.Invited[0].Link, "https://bush.example.org/l/") {
		t.Errorf("link %q", done.Invited[0].Link)
	}
	if strings.Contains(told, "+1819") {
		t.Errorf("told a number:\n%s", told)
	}
}

func TestGiveAndForget(t *testing.T) {
	open(t, func(t *testing.T, a *archive.Archive) {
		ctx, d := t.Context(), deskOn(t, a)
		if _, err := d.Import(ctx, "members.csv",
			append(table(2), "bush1,,,,,,,,keeper0,Keeper 0,keeper,+18190000000,text,21:00-06:00\n"...), InviteByText, office,
			at); err != nil {
			t.Fatal(err)
		}
		for _, q := range []string{
			`INSERT INTO account VALUES ('keeper0', 'hash-of-keeper0', '')`,
			`INSERT INTO evening (site, date, document) VALUES ('bush0', '2026-03-07', '{}'), ('bush1', '2026-03-07', '{}')`,
			`INSERT INTO visit (id, site, taps_group, moment, collected_at, taps, note, revision, removed, recorded_at, recorded_by) VALUES ('v0', 'bush0', 'taps', '', '', 1, '', 1, 0, '', 'Keeper 0'), ('v1', 'bush1', 'taps', '', '', 1, '', 1, 0, '', 'Keeper 0'), ('v2', 'bush1', 'taps', 'x', '', 1, '', 1, 0, '', 'Keeper 1')`,
			`INSERT INTO weather_day (place, day, hours) VALUES ('bush0@45.0000,-73.0000', '2026-03-07', ''), ('bush01@45.0000,-73.0000', '2026-03-07', ''), ('cell +0450 -00730', '2026-03-07', ''), ('elsewhere', '2026-03-07', '')`,
			`INSERT INTO bulletin VALUES ('bush0@45.0000,-73.0000', '', ''), ('warnings bush0@45.0000,-73.0000', '', ''), ('bush1@45.0167,-72.9750', '', ''), ('cell +0450 -00730', '', '')`,
			`INSERT INTO entry_once (name, sent_at, puts, print) VALUES ('bush0/form-1', '', '', ''), ('bush1/form-1', '', '', '')`,
		} {
			if _, err := a.DB().ExecContext(ctx, q); err != nil {
				t.Fatal(err)
			}
		}
		all, err := d.Give(ctx, "keeper0", office, at)
		if err != nil {
			t.Fatal(err)
		}
		text := asJSON(all)
		for _, want := range []string{"+18190000000", "bush0", "bush1", "v0", "v1", "evening", "https://bush.example.org/l/"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is not given", want)
			}
		}
		if strings.Contains(text, "hash-of-keeper0") || strings.Contains(text, "+18190000001") {
			t.Error("given what lets in, or another's number")
		}
		gone, err := d.ForgetAll(ctx, "keeper0", office, at)
		if err != nil || len(gone.Bushes) != 1 || gone.Bushes[0] != "bush0" {
			t.Fatalf("%+v, %v", gone, err)
		}
		for query, want := range map[string]int{
			`SELECT COUNT(*) FROM visit WHERE site = 'bush0' OR recorded_by = 'Keeper 0'`:                               0,
			`SELECT COUNT(*) FROM visit WHERE site = 'bush1'`:                                                           2,
			`SELECT COUNT(*) FROM evening`:                                                                              1,
			`SELECT COUNT(*) FROM account`:                                                                              0,
			`SELECT COUNT(*) FROM delivery WHERE person = 'keeper0'`:                                                    0,
			`SELECT COUNT(*) FROM delivery WHERE person = 'keeper1'`:                                                    1,
			`SELECT COUNT(*) FROM access_link WHERE person = 'keeper0'`:                                                 0,
			`SELECT COUNT(*) FROM weather_day`:                                                                          3, // the cell's is the other bush's too
			`SELECT COUNT(*) FROM bulletin`:                                                                             2,
			`SELECT COUNT(*) FROM entry_once`:                                                                           1,
			`SELECT COUNT(*) FROM member WHERE id IN ('keeper0', 'bush0')`:                                              0,
			`SELECT COUNT(*) FROM member_change WHERE member IN ('keeper0', 'bush0') AND what <> 'forgotten'`:           0,
			`SELECT COUNT(*) FROM member_change WHERE member = 'keeper0' AND what = 'forgotten' AND made_by = 'Office'`: 1,
		} {
			var n int
			if err := a.DB().QueryRowContext(ctx, query).Scan(&n); err != nil || n != want {
				t.Errorf("%s: %d, want %d, %v", query, n, want, err)
			}
		}
		if _, err := d.Give(ctx, "keeper0", office, at); !errors.Is(err, ErrNone) {
			t.Errorf("who is forgotten is given %v", err)
		}
	})
}

// Whoever reads only what has changed since sees what a first reader sees, whatever was
// done in between: also by a release that numbers no rows.
func TestWhatChangedIsAllThatIsReadAgain(t *testing.T) {
	open(t, func(t *testing.T, a *archive.Archive) {
		ctx, d := t.Context(), deskOn(t, a)
		if _, err := d.Import(ctx, "members.csv", table(20), "", office, at); err != nil {
			t.Fatal(err)
		}
		rename := func(id, name string) error {
			k, err := d.One(ctx, config.Member, id)
			if errors.Is(err, ErrNone) {
				k, err = Kept{Described: config.Described{Kind: config.Member, ID: id, Values: map[string]any{}}}, nil
			}
			if err == nil {
				Set(k.Values, "name", name)
				_, _, err = d.Put(ctx, []Kept{k}, office, at)
			}
			return err
		}
		older := func(queries ...string) error { // what a release before the column wrote
			for _, q := range append(queries, `UPDATE member_count SET number = number + 1 WHERE name = 'changes'`) {
				if _, err := a.DB().ExecContext(ctx, q); err != nil {
					return err
				}
			}
			return nil
		}
		steps := []struct {
			what  string
			again int // rows that are opened anew, some twice where a change left none
			do    func() error
		}{
			{"nothing", 0, func() error { return nil }},
			{"one is renamed", 1, func() error { return rename("keeper3", "Three") }},
			{"one is saved as it is", 0, func() error { return rename("keeper3", "Three") }},
			{"one is renamed twice", 2, func() error { return errors.Join(rename("keeper4", "4"), rename("keeper4", "Four")) }},
			{"one is new", 1, func() error { return rename("zoe", "Zoe") }},
			{"one is taken out", 0, func() error { return d.Remove(ctx, config.Bush, "bush5", office, at) }},
			{"one is taken out and comes back otherwise", 2, func() error {
				return errors.Join(d.Remove(ctx, config.Member, "zoe", office, at), rename("zoe", "Zoë"))
			}},
			{"one is forgotten, another renamed", 2, func() error {
				return errors.Join(d.Forget(ctx, config.Member, "zoe", office, at), rename("keeper6", "Six"))
			}},
			{"an older release renames one", 1, func() error {
				return older(`UPDATE member SET document = '{"name":"Seven"}', revision = revision + 1 WHERE id = 'keeper7'`)
			}},
			{"an older release adds one, this one renames another", 3, func() error {
				return errors.Join(older(`INSERT INTO member (kind, id, document, sealed, revision, changed_at) VALUES ('person', 'yan', '{"name":"Yan"}', '', 1, '')`),
					rename("keeper8", "Eight"))
			}},
		}
		if _, _, err := d.Described(ctx); err != nil {
			t.Fatal(err)
		}
		for _, s := range steps {
			before := d.serial
			if err := s.do(); err != nil {
				t.Fatalf("%s: %v", s.what, err)
			}
			got, number, err := d.Described(ctx)
			if err != nil {
				t.Fatalf("%s: %v", s.what, err)
			}
			if opened := int(d.serial - before); opened != s.again {
				t.Errorf("%s: %d rows are opened again, want %d", s.what, opened, s.again)
			}
			first, err := New(a.DB(), secret.New(testKey))
			if err != nil {
				t.Fatal(err)
			}
			want, all, err := first.Described(ctx)
			if err != nil || number != all || len(got) != len(want) {
				t.Fatalf("%s: %d of change %d, want %d of %d, %v", s.what, len(got), number, len(want), all, err)
			}
			for i := range got {
				g, w := got[i], want[i]
				if g.Serial, w.Serial = 0, 0; !reflect.DeepEqual(g, w) {
					t.Errorf("%s: %v, want %v", s.what, g, w)
				}
			}
		}
	})
}
