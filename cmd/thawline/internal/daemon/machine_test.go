package daemon

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast/archive"
)

// evenings counts the evening texts that came.
func (r *recorder) evenings() (n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := range r.got {
		if r.got[i].Says(alerts.Evening) {
			n++
		}
	}
	return n
}

func alone(t *testing.T, at time.Time) (*Daemon, *recorder) {
	t.Helper()
	box := &recorder{}
	s := evenSettings("")
	s.People, s.Channels = s.People[:1], map[string]channel.Channel{"text": box}
	return started(t, filepath.Join(t.TempDir(), "d.db"), s, at), box
}

// Each table in turn takes no more rows, as on a disk that is full just then: the
// text comes once all the same, also when it is only its sending that can't be
// noted.
func TestNothingCanBeWrittenToATable(t *testing.T) {
	evening := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	ctx := context.Background()
	for _, table := range []string{"decision", "delivery", "attempt", "job_lease", "job_done", "outlook", "evening", "calendar_entry",
		"weather_day"} {
		t.Run(table, func(t *testing.T) {
			d, box := alone(t, evening.Add(-time.Minute))
			do := func(statements ...string) {
				for _, s := range statements {
					if _, err := d.Archive.DB().ExecContext(ctx, s); err != nil {
						t.Fatal(err)
					}
				}
			}
			const full = "BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
			do("CREATE TRIGGER full1 BEFORE INSERT ON "+table+" "+full, "CREATE TRIGGER full2 BEFORE UPDATE OF rowid ON "+table+" "+full)
			if table == "delivery" { // made before, and not to be changed now
				do("DROP TRIGGER full1", "CREATE TRIGGER full1 BEFORE UPDATE OF state ON delivery "+full)
			}
			for now := evening; now.Before(evening.Add(20 * time.Minute)); now = now.Add(time.Minute) {
				d.Step(ctx, now)
			}
			if box.evenings() != 1 {
				t.Errorf("%d evening texts", box.evenings())
			}
			do("DROP TRIGGER full1", "DROP TRIGGER full2")
			for now := evening.Add(20 * time.Minute); now.Before(evening.Add(2 * time.Hour)); now = now.Add(5 * time.Minute) {
				d.Step(ctx, now)
			}
			d.Step(ctx, evening.AddDate(0, 0, 1))
			if box.evenings() != 2 {
				t.Errorf("%d evening texts on two evenings", box.evenings())
			}
			list, err := d.Ledger.Recent(ctx, 100)
			if err != nil {
				t.Fatal(err)
			}
			for i := range list {
				if list[i].Kind == alerts.Evening && list[i].State != ledger.Sent {
					t.Errorf("in the ledger the text of %s is %s", list[i].MadeAt, list[i].State)
				}
			}
		})
	}
}

// What can't be written to is told of, and the evening text comes: a file system
// that is mounted for reading only, and another program that holds the file.
func TestRecordsThatCannotBeWritten(t *testing.T) {
	evening := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	ctx := context.Background()
	t.Run("for reading only", func(t *testing.T) {
		d, box := alone(t, evening.Add(-time.Minute))
		d.Archive.DB().SetMaxOpenConns(1)
		if _, err := d.Archive.DB().ExecContext(ctx, "PRAGMA query_only = 1"); err != nil {
			t.Fatal(err)
		}
		for now := evening; now.Before(evening.Add(15 * time.Minute)); now = now.Add(time.Minute) {
			d.Step(ctx, now)
		}
		if box.evenings() != 1 {
			t.Errorf("%d evening texts", box.evenings())
		}
	})
	t.Run("held by another program", func(t *testing.T) {
		d, box := alone(t, evening.Add(-time.Minute))
		other, err := sql.Open("sqlite", "file:"+d.Archive.Path()+"?_txlock=immediate")
		if err != nil {
			t.Fatal(err)
		}
		defer other.Close()
		tx, err := other.BeginTx(ctx, nil)
		if err != nil {
			t.Fatal(err)
		}
		time.AfterFunc(1500*time.Millisecond, func() { _ = tx.Rollback() })
		began := time.Now()
		d.Step(ctx, evening)
		if box.evenings() != 1 || time.Since(began) < time.Second {
			t.Errorf("%d evening texts after %s", box.evenings(), time.Since(began))
		}
	})
}

// What was not yet safe on the disk is lost with the power: the write-ahead log
// cut off at any place leaves records that are whole, and an evening that goes on.
func TestPowerCut(t *testing.T) {
	evening := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	ctx := context.Background()
	d, _ := alone(t, evening.Add(-time.Minute))
	d.Step(ctx, evening)
	path := d.Archive.Path()
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(path + "-wal")
	if err != nil || len(log) < 20_000 {
		t.Fatalf("%d bytes of log: %v", len(log), err)
	}
	cuts := 80
	if testing.Short() {
		cuts = 20
	}
	told := map[int]int{}
	for i := range cuts {
		after := filepath.Join(t.TempDir(), "after.db")
		cut := len(log) * i / cuts
		torn := append([]byte{}, log[:cut]...)
		if i%3 == 0 { // and what follows is what the disk held before
			torn = append(torn, make([]byte, 4096)...)
		}
		for name, data := range map[string][]byte{after: whole, after + "-wal": torn} {
			if err := os.WriteFile(name, data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		a, err := archive.Open(ctx, after)
		if err != nil {
			t.Fatalf("cut after %d bytes: %v", cut, err)
		}
		box := &recorder{}
		s := evenSettings("")
		s.People, s.Channels = s.People[:1], map[string]channel.Channel{"text": box}
		next := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: d.Log, Metrics: hooks.NewMetrics("test"), PlaceKey: d.PlaceKey}
		if err := next.Use(s, evening.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		next.Step(ctx, evening.Add(3*time.Minute))
		list, err := next.Ledger.Recent(ctx, 100)
		if err != nil {
			t.Fatal(err)
		}
		for i := range list {
			if list[i].Kind == alerts.Evening && list[i].State != ledger.Sent {
				t.Errorf("cut after %d bytes: the evening text is %s", cut, list[i].State)
			}
		}
		told[box.evenings()]++
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("%d cuts: %v evening texts after them", cuts, told)
}

// With hardly any file handles an evening fails or goes well, but does not hang, and
// the next one is whole.
func TestFewFileHandles(t *testing.T) {
	if _, err := exec.LookPath("sh"); err != nil {
		t.Skip("no shell to set limits with")
	}
	path := filepath.Join(t.TempDir(), "d.db")
	for _, handles := range []int{8, 10, 12, 16, 24, 1024} {
		cmd := exec.CommandContext(t.Context(), "sh", "-c", fmt.Sprintf("ulimit -n %d; exec %s", handles, os.Args[0]))
		cmd.Env = append(os.Environ(), killFile+"="+path, killURL+"=http://127.0.0.1:9/", killNow+"=2026-03-10T18:31:00-04:00")
		out, err := cmd.CombinedOutput()
		t.Logf("%d handles: %.100s", handles, strings.ReplaceAll(string(out), "\n", " "))
		if handles == 1024 && (err != nil || !strings.Contains(string(out), "done")) {
			t.Errorf("with enough handles again: %v %s", err, out)
		}
	}
}
