package archive

import (
	"bufio"
	"bytes"
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/jackc/pgx/v5/stdlib"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

var now = time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)

func opened(t testing.TB, path string) *Archive {
	t.Helper()
	a, err := Open(context.Background(), beside.Where(t, path))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return a
}

func visit(day int, litres float64) records.Visit {
	return records.Visit{Site: "hill", Group: "south", CollectedAt: time.Date(2026, 3, day, 16, 0, 0, 0, time.UTC), DateOnly: true,
		Taps: 50, VolumeL: litres, BrixPct: math.NaN(), Note: "a, \"b\"\né"}
}

func put(t testing.TB, a *Archive, visits ...records.Visit) []Put {
	t.Helper()
	p, err := a.PutVisits(context.Background(), visits, "test", now)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func listed(t testing.TB, a *Archive) []records.Visit {
	t.Helper()
	stored, err := a.Visits(context.Background(), "", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	var out []records.Visit
	for _, s := range stored {
		out = append(out, s.Visit)
	}
	return out
}

var sameVisits = cmp.Options{cmpopts.EquateNaNs(), cmpopts.IgnoreFields(records.Visit{}, "Line")}

func TestTheSameTwiceAddsNothingAndCorrectionsKeepHistory(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "x", "records.db"))
	first := []records.Visit{visit(1, 100), visit(2, math.NaN())}
	for i, want := range []Outcome{Added, Same} {
		for _, p := range put(t, a, first...) {
			if p.Outcome != want {
				t.Errorf("time %d: %s", i+1, p.Outcome)
			}
		}
	}
	changed := visit(1, 110)
	if p := put(t, a, changed)[0]; p.Outcome != Corrected || p.Before.VolumeL != 100 {
		t.Errorf("%+v", p)
	}
	if diff := cmp.Diff([]records.Visit{changed, first[1]}, listed(t, a), sameVisits); diff != "" {
		t.Error(diff)
	}
	stored, err := a.Visits(context.Background(), "hill", time.Time{}, time.UTC)
	if err != nil || stored[0].Revision != 2 {
		t.Fatalf("%v %+v", err, stored)
	}
	ctx := context.Background()
	id := stored[0].ID
	if err := a.Undo(ctx, id, "test", now); err != nil || listed(t, a)[0].VolumeL != 100 {
		t.Errorf("%v: undone to %v", err, listed(t, a)[0].VolumeL)
	}
	if err := a.Remove(ctx, id, Any, "test", now); err != nil || len(listed(t, a)) != 1 {
		t.Errorf("%v: %d visits left", err, len(listed(t, a)))
	}
	if err := a.Undo(ctx, id, "test", now); err != nil || len(listed(t, a)) != 2 {
		t.Errorf("%v: %d visits after giving back", err, len(listed(t, a)))
	}
	if err := a.Remove(ctx, "nobody", Any, "test", now); !errors.Is(err, ErrNoVisit) {
		t.Error(err)
	}
}

// The tap logs (CC0, Baumer et al., R package macleish) go in and come out
// without loss, twice.
func TestTapLogsSurviveTheArchive(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	var all []records.Visit
	for _, year := range []string{"2013", "2014", "2017"} {
		f := beside.Open(t, "data/tap-log-"+year+".csv")
		visits, err := records.ReadCSV(f, f.Name(), zone)
		if err != nil {
			t.Fatal(err)
		}
		put(t, a, visits...)
		for _, p := range put(t, a, visits...) {
			if p.Outcome != Same {
				t.Errorf("%+v", p)
			}
		}
		all = append(all, visits...)
	}
	stored, err := a.Visits(context.Background(), "", time.Time{}, zone)
	if err != nil {
		t.Fatal(err)
	}
	var back []records.Visit
	for _, s := range stored {
		back = append(back, s.Visit)
	}
	if diff := cmp.Diff(all, back, sameVisits); diff != "" {
		t.Error(diff)
	}
	var b bytes.Buffer
	if err := records.WriteCSV(&b, back, zone); err != nil {
		t.Fatal(err)
	}
	again, err := records.ReadCSV(&b, "out.csv", zone)
	if diff := cmp.Diff(all, again, sameVisits); diff != "" || err != nil {
		t.Error(err, diff)
	}
}

func TestHoursAreKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	ctx := context.Background()
	s := weather.NewSeries(time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC), 30)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = -3.7 + float64(i)/10
	}
	s.Col(weather.TemperatureC)[3] = math.NaN()
	if err := a.PutHours(ctx, "p", &s); err != nil {
		t.Fatal(err)
	}
	later := weather.NewSeries(time.Date(2026, 3, 1, 23, 0, 0, 0, time.UTC), 2)
	later.Col(weather.TemperatureC)[0], later.Col(weather.TemperatureC)[1] = 9.5, math.NaN()
	if err := a.PutHours(ctx, "p", &later); err != nil {
		t.Fatal(err)
	}
	got, err := a.Hours(ctx, "p", s.Start(), s.End())
	want := s.Slice(0, 30)
	want.Col(weather.TemperatureC)[3] = 9.5
	if err != nil || got.Hours() != 30 {
		t.Fatalf("%v, %d hours", err, got.Hours())
	}
	for i := range 30 {
		if g, w := got.At(weather.TemperatureC, i), want.At(weather.TemperatureC, i); math.Abs(g-w) > 1e-9 ||
			!math.IsNaN(got.At(weather.WindSpeedMS, i)) {
			t.Errorf("hour %d: %v, want %v", i, g, w)
		}
	}
	if other, err := a.Hours(ctx, "q", s.Start(), s.End()); err != nil || other.Has(weather.TemperatureC) {
		t.Error("another place's weather", err)
	}
}

// Damaged weather does not take the records away, nor the other way round.
func TestOneOfBothCannotBeRead(t *testing.T) {
	for table, wantVisits := range map[string]int{"weather_day": 1, "visit": 0} {
		a := opened(t, filepath.Join(t.TempDir(), "records.db"))
		put(t, a, visit(2, 40))
		s := weather.NewSeries(time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC), 30)
		s.Col(weather.TemperatureC)[0] = 1
		if err := a.PutHours(t.Context(), "p", &s); err != nil {
			t.Fatal(err)
		}
		if _, err := a.DB().ExecContext(t.Context(), "ALTER TABLE "+table+" RENAME TO lost"); err != nil {
			t.Fatal(err)
		}
		hours, visits, _, err := a.Kept(t.Context(), "hill", "p", s.Start().AddDate(0, 0, -1), now)
		if err == nil || len(visits) != wantVisits || hours.Has(weather.TemperatureC) != (wantVisits == 0) {
			t.Errorf("without %s: %v, %d visits, weather %v", table, err, len(visits), hours.Has(weather.TemperatureC))
		}
	}
}

func TestBackupIsWholeAndCanBeReadBack(t *testing.T) {
	dir := t.TempDir()
	a := opened(t, filepath.Join(dir, "records.db"))
	put(t, a, visit(1, 10), visit(2, 20))
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Add(1)
	go func() { // somebody writes meanwhile
		defer wg.Done()
		for i := 3; ; i++ {
			select {
			case <-stop:
				return
			default:
				v := visit(1+i%28, float64(i))
				v.Group = "north"
				if _, err := a.PutVisits(context.Background(), []records.Visit{v}, "test", now); err != nil {
					t.Error(err)
					return
				}
			}
		}
	}()
	copied := filepath.Join(dir, "copy.db")
	err := a.Backup(context.Background(), copied)
	close(stop)
	wg.Wait()
	if err != nil {
		t.Fatal(err)
	}
	b := opened(t, copied)
	if got := listed(t, b); len(got) < 2 || got[0].VolumeL != 10 {
		t.Errorf("%+v", got)
	}
	if err := a.Backup(context.Background(), copied); err == nil || !strings.Contains(err.Error(), "is there already; name a new file") {
		t.Error(err)
	}
}

func TestTwoWritersAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.db")
	const writers, each = 2, 60
	var wg sync.WaitGroup
	for w := range writers {
		a := opened(t, path)
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range each {
				v := visit(1, float64(i))
				v.Group, v.DateOnly = fmt.Sprint("g", w), false
				v.CollectedAt = v.CollectedAt.Add(time.Duration(i) * time.Minute)
				if _, err := a.PutVisits(context.Background(), []records.Visit{v}, "test", now); err != nil {
					t.Error(err)
					return
				}
			}
		}()
	}
	wg.Wait()
	if n := len(listed(t, opened(t, path))); n != writers*each {
		t.Errorf("%d of %d visits", n, writers*each)
	}
}

// A full disk, by SQLite's own limit on pages: told, and nothing lost or half
// written.
func TestFullDisk(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	put(t, a, visit(1, 10))
	a.db.SetMaxOpenConns(1)
	if _, err := a.db.Exec("PRAGMA max_page_count = 20"); err != nil {
		t.Fatal(err)
	}
	var many []records.Visit
	for i := range 2000 {
		v := visit(2, float64(i))
		v.DateOnly, v.CollectedAt, v.Note = false, v.CollectedAt.Add(time.Duration(i)*time.Second), strings.Repeat("x", 200)
		many = append(many, v)
	}
	_, err := a.PutVisits(context.Background(), many, "test", now)
	if err == nil || !strings.Contains(err.Error(), "the disk is full: nothing of this was written and what was there is safe") {
		t.Error(err)
	}
	if got := listed(t, a); len(got) != 1 || got[0].VolumeL != 10 {
		t.Errorf("%d visits", len(got))
	}
}

func TestDamagedAndNewerFilesAreTold(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	junk := filepath.Join(dir, "junk.db")
	if err := os.WriteFile(junk, bytes.Repeat([]byte("no database "), 1000), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, junk); err == nil || !strings.Contains(err.Error(), "put the last backup in its place") {
		t.Error(err)
	}
	path := filepath.Join(dir, "records.db")
	a := opened(t, path)
	for i := range 50 {
		v := visit(1, float64(i))
		v.DateOnly, v.CollectedAt = false, v.CollectedAt.Add(time.Duration(i)*time.Second)
		put(t, a, v)
	}
	if _, err := a.db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)"); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, path); err == nil || !strings.Contains(err.Error(), "was written by a newer thawline") {
		t.Error(err)
	}
	if _, err := a.db.Exec("DELETE FROM goose_db_version WHERE version_id = 999; PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 4096 * 2; i < len(data); i += 7 {
		data[i] ^= 0xff
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, path); err == nil || !strings.Contains(err.Error(), "the file is damaged") {
		t.Error(err)
	}
}

const writerFile = "THAWLINE_TEST_WRITER_FILE"

// TestMain lets the test's program be the process that TestKilledAtAnyMoment
// kills.
func TestMain(m *testing.M) {
	if path := os.Getenv(writerFile); path != "" {
		fmt.Println("failed", writeOn(path))
		return
	}
	os.Exit(m.Run())
}

// writeOn writes visits, saying after each that it is kept.
func writeOn(path string) error {
	a, err := Open(context.Background(), path)
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		v := visit(1, float64(i))
		v.Group, v.DateOnly = strconv.Itoa(os.Getpid()), false
		v.CollectedAt = v.CollectedAt.Add(time.Duration(i) * time.Minute)
		if _, err := a.PutVisits(context.Background(), []records.Visit{v, visit(2, float64(i))}, "test", now); err != nil {
			return err
		}
		fmt.Println("kept", v.Group, i)
	}
}

// untilFirstKept is how long a process takes from its start to the first visit that it
// keeps: a few milliseconds, or a tenth of a second and more in a build that looks for
// races. Kills are spread over opening and writing by it.
func untilFirstKept(t *testing.T, path string) time.Duration {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), writerFile+"="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	said := lines.Scan() && strings.HasPrefix(lines.Text(), "kept")
	took := time.Since(began)
	_ = cmd.Process.Kill()
	_ = cmd.Wait() // it was killed
	if !said {
		t.Fatalf("a process that nobody kills keeps nothing: %q", lines.Text())
	}
	return took
}

func TestKilledAtAnyMoment(t *testing.T) {
	cycles := 200
	if testing.Short() {
		cycles = 20
	}
	path := filepath.Join(t.TempDir(), "records.db")
	if err := opened(t, path).Close(); err != nil {
		t.Fatal(err)
	}
	first := untilFirstKept(t, path)
	rng := rand.New(rand.NewPCG(5, 6))
	told := map[string]int{} // the last visit that a process said it kept
	for range cycles {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), writerFile+"="+path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.AfterFunc(time.Duration(rng.Int64N(int64(first+60*time.Millisecond))), func() { _ = cmd.Process.Kill() })
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			var group string
			var n int
			if strings.HasPrefix(lines.Text(), "failed") {
				t.Fatal(lines.Text())
			}
			if _, err := fmt.Sscanf(lines.Text(), "kept %s %d", &group, &n); err == nil {
				told[group] = n + 1
			}
		}
		_ = cmd.Wait() // it was killed
	}
	a := opened(t, path)
	if err := a.Check(context.Background()); err != nil {
		t.Fatal(err)
	}
	have := map[string]int{}
	for _, v := range listed(t, a) {
		have[v.Group]++
	}
	kept := 0
	for group, n := range told {
		if have[group] < n || have[group] > n+1 {
			t.Errorf("process %s said it kept %d visits, %d are there", group, n, have[group])
		}
		kept += n
	}
	t.Logf("%d kills, %d visits kept", cycles, kept)
	if kept == 0 {
		t.Error("no process came so far as to keep a visit")
	}
}

// An older daemon goes on while a newer one brings the database to its form: from
// leases on, forms only add what the older one's statements do not miss.
func TestMigrationsOnlyAdd(t *testing.T) {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	takesAway := regexp.MustCompile(`(?i)\b(drop|rename|delete|truncate)\b|alter\s+column|not\s+null(?:\s+check[^,;]*)?\s*[,;]`)
	for _, file := range files {
		if filepath.Base(file) < "00010" {
			continue
		}
		text, err := migrations.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		up, _, _ := strings.Cut(string(text), "-- +goose Down")
		for statement := range strings.SplitSeq(up, ";") {
			if strings.Contains(strings.ToUpper(statement), "CREATE TABLE") ||
				strings.Contains(strings.ToUpper(statement), "CREATE INDEX") {
				continue
			}
			if found := takesAway.FindString(statement + ";"); found != "" {
				t.Errorf("%s: %q takes something away from an older daemon, or asks it for a value", file, found)
			}
		}
	}
}

// A disk that has no room for one more record has none for the try either, and room
// that is made is seen.
func TestTryWritingOnAFullDisk(t *testing.T) {
	ctx := context.Background()
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	a.db.SetMaxOpenConns(1)
	for range 3 {
		if err := a.TryWriting(ctx, now); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := a.db.ExecContext(ctx, "PRAGMA max_page_count = 1"); err != nil { // as many as there are
		t.Fatal(err)
	}
	var full error
	for i := 0; full == nil && i < 2000; i++ {
		v := visit(2, float64(i))
		v.DateOnly, v.CollectedAt, v.Note = false, v.CollectedAt.Add(time.Duration(i)*time.Second), strings.Repeat("x", 200)
		_, full = a.PutVisits(ctx, []records.Visit{v}, "test", now)
	}
	if full == nil {
		t.Fatal("the disk does not fill")
	}
	if err := a.TryWriting(ctx, now); err == nil || !strings.Contains(err.Error(), "the disk is full") {
		t.Errorf("got %v, want that the disk is full", err)
	}
	if _, err := a.db.ExecContext(ctx, "PRAGMA max_page_count = 100000"); err != nil {
		t.Fatal(err)
	}
	if err := a.TryWriting(ctx, now); err != nil {
		t.Errorf("with room again: %v", err)
	}
	var rows, length int
	if err := a.db.QueryRowContext(ctx, "SELECT COUNT(*), MAX(LENGTH(value)) FROM kept_value WHERE name = 'tried_writing'").Scan(&rows,
		&length); err != nil || rows != 1 || length > 40 {
		t.Errorf("%d rows of %d characters are left, %v", rows, length, err)
	}
}

// A copy goes under no name that is there, and through none that leads elsewhere.
func TestBackupFollowsNoLink(t *testing.T) {
	dir := t.TempDir()
	a, err := Open(t.Context(), filepath.Join(dir, "x.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	elsewhere, link := filepath.Join(t.TempDir(), "elsewhere.db"), filepath.Join(dir, "copy.db")
	if err := os.Symlink(elsewhere, link); err != nil {
		t.Fatal(err)
	}
	if err := a.Backup(t.Context(), link); err == nil {
		t.Error("a link is written through")
	}
	if _, err := os.Lstat(elsewhere); err == nil {
		t.Error("something was written where the link leads")
	}
	if err := a.Backup(t.Context(), filepath.Join(dir, "real.db")); err != nil {
		t.Error(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".thawline-backup-*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

// What PostgreSQL keeps in no text is left out on the way there; everything else stays.
func TestPlainText(t *testing.T) {
	for in, want := range map[string]string{"érable": "érable", "a\x00b": "ab", "a\xffb\xc3": "ab", "": ""} {
		if got := Plain(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
	v := driver.NamedValue{Value: "a\x00b"}
	if err := (&numberedConn{Conn: &stdlib.Conn{}}).CheckNamedValue(&v); v.Value != "ab" {
		t.Errorf("%q, %v", v.Value, err)
	}
}
