package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/testdata/beside"
)

// failing is weather that comes until it does not any more: then the last good one, as
// services' last bulletins are kept, or none at all.
type failing struct {
	waves
	dead, empty atomic.Bool
	last        forecast.Inputs
}

func (f *failing) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	if f.empty.Load() {
		return forecast.Inputs{}, errors.New("nobody answers")
	}
	if f.dead.Load() {
		kept := f.last
		kept.Kept = true
		return kept, nil
	}
	var err error
	f.last, err = f.waves.Ask(ctx, site, now)
	return f.last, err
}

// oneBush is a daemon that tells one keeper by a channel of its own.
func oneBush(t *testing.T, where string, asker Asker, way string, c channel.Channel, now time.Time) *Daemon {
	t.Helper()
	s := many(1, map[string]channel.Channel{way: c})
	s.Asker = asker
	s.People[0].Ways = []channel.Way{{Channel: way, To: "ann"}}
	return sharing(t, where, way, s, now)
}

// tellsEvery is a new message at each call.
func tellsEvery(t *testing.T, d *Daemon, age time.Duration) func(now time.Time) {
	n := 0
	return func(now time.Time) {
		n++
		tells(t, d, alerts.Danger, fmt.Sprint("danger:", n), "bush-00", now.Add(-age))
		d.Step(t.Context(), now)
	}
}

// healthy are two daemons that have shared a day and its evening: one did most of the
// work, the other came a minute later each time.
func healthy(t *testing.T, now time.Time) (a, b *Daemon) {
	t.Helper()
	where := beside.Postgres(t)
	if where == "" {
		where = filepath.Join(t.TempDir(), "shared.db")
	}
	start := now.Add(-26 * time.Hour)
	a, b = oneBush(t, where, waves{}, "text", &recorder{}, start), oneBush(t, where, waves{}, "text", &recorder{}, start)
	a.Holder, b.Holder = "a", "b"
	for at := start; at.Before(now); at = at.Add(30 * time.Minute) {
		a.Step(t.Context(), at)
		b.Step(t.Context(), at.Add(time.Minute))
	}
	return a, b
}

func feedDead(t *testing.T, now time.Time) *ailing {
	t.Helper()
	feed := &failing{}
	start := now.Add(-30 * time.Hour)
	d := oneBush(t, filepath.Join(t.TempDir(), "feed.db"), feed, "text", &recorder{}, start)
	for at := start; at.Before(now); at = at.Add(time.Hour) {
		feed.dead.Store(at.Sub(start) > 2*time.Hour)
		d.Step(t.Context(), at)
	}
	return &ailing{name: "feed", d: d, fires: []string{"OldWeather"}, mend: func(now time.Time) {
		feed.dead.Store(false)
		d.Step(t.Context(), now.Add(4*time.Hour)) // by when it is asked for again
	}}
}

func gatewayRefuses(t *testing.T, now time.Time) *ailing {
	t.Helper()
	var open atomic.Bool
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if !open.Load() {
			http.Error(w, "account closed", http.StatusForbidden)
		}
	}))
	t.Cleanup(server.Close)
	d := oneBush(t, filepath.Join(t.TempDir(), "gateway.db"), waves{}, "gateway", evenSettings(server.URL).Channels["text"], now)
	tell := tellsEvery(t, d, 0)
	return &ailing{name: "gateway", d: d, fires: []string{"GatewayRefuses", "TextsFail"}, ail: tell,
		mend: func(time.Time) { open.Store(true) }, well: tell}
}

func textsLate(t *testing.T, now time.Time) *ailing {
	t.Helper()
	d := oneBush(t, filepath.Join(t.TempDir(), "late.db"), waves{}, "text", &recorder{}, now)
	return &ailing{name: "late", d: d, fires: []string{"TextsLate"}, ail: tellsEvery(t, d, 20*time.Minute), mend: func(time.Time) {}}
}

func jobsFail(t *testing.T, now time.Time) *ailing {
	t.Helper()
	nobody := &failing{}
	nobody.empty.Store(true)
	at := now.Add(-15 * time.Hour)
	d := oneBush(t, filepath.Join(t.TempDir(), "jobs.db"), nobody, "text", &recorder{}, at)
	return &ailing{name: "jobs", d: d, fires: []string{"JobsFail"}, ail: func(now time.Time) {
		if at.Before(now) {
			d.Step(t.Context(), at)
			at = at.Add(time.Hour)
		}
	}, mend: func(time.Time) { nobody.empty.Store(false) }}
}

// eveningMissed is a machine that sleeps in the evening.
func eveningMissed(t *testing.T, now time.Time) *ailing {
	t.Helper()
	start := now.Add(-26 * time.Hour)
	d := oneBush(t, filepath.Join(t.TempDir(), "evening.db"), waves{}, "text", &recorder{}, start)
	for at := start; at.Before(now); at = at.Add(30 * time.Minute) {
		if h := at.In(newYork(t)).Hour(); h < 18 || h > 22 {
			d.Step(t.Context(), at)
		}
	}
	return &ailing{name: "evening", d: d, fires: []string{"EveningMissed"}, mend: func(now time.Time) {
		for at := now; at.Before(now.Add(25 * time.Hour)); at = at.Add(30 * time.Minute) {
			d.Step(t.Context(), at)
		}
	}}
}

// databaseAway is a PostgreSQL that is cut off, or without one a file that another program
// holds.
func databaseAway(t *testing.T, now time.Time) *ailing {
	t.Helper()
	where := beside.Postgres(t)
	if where == "" {
		file := filepath.Join(t.TempDir(), "database.db")
		d := oneBush(t, file, waves{}, "text", &recorder{}, now)
		other := sharing(t, file, "other", many(1, nil), now).Archive.DB()
		held, err := other.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		do := func(statement string) {
			if _, err := held.ExecContext(context.Background(), statement); err != nil {
				t.Error(err)
			}
		}
		begin := sync.OnceFunc(func() { do("BEGIN IMMEDIATE") })
		return &ailing{name: "database", d: d, fires: []string{"DatabaseAway"}, ail: func(time.Time) { begin() },
			mend: func(time.Time) { do("ROLLBACK") }}
	}
	u, err := url.Parse(where)
	if err != nil {
		t.Fatal(err)
	}
	cable := &cable{to: u.Host}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go cable.carry(l)
	u.Host = l.Addr().String()
	d := oneBush(t, u.String(), waves{}, "text", &recorder{}, now)
	return &ailing{name: "database", d: d, fires: []string{"DatabaseAway"}, ail: func(time.Time) { cable.cut(true) },
		mend: func(time.Time) { cable.cut(false) }}
}

// cable carries bytes to an address while it is not cut.
type cable struct {
	to    string
	mu    sync.Mutex
	off   bool
	conns []net.Conn
}

func (c *cable) carry(l net.Listener) {
	for {
		near, err := l.Accept()
		if err != nil {
			return
		}
		c.mu.Lock()
		far, err := net.Dial("tcp", c.to)
		if err != nil || c.off {
			_ = near.Close()
			c.mu.Unlock()
			continue
		}
		c.conns = append(c.conns, near, far)
		c.mu.Unlock()
		go func() { _, _ = io.Copy(far, near); _ = far.Close() }()
		go func() { _, _ = io.Copy(near, far); _ = near.Close() }()
	}
}

func (c *cable) cut(off bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.off = off
	for _, conn := range c.conns {
		if off {
			_ = conn.Close()
		}
	}
}

// diskFull is a house whose records lie on a file system that is filled to the last byte;
// nil where none may be mounted.
func diskFull(t *testing.T, now time.Time) *ailing {
	t.Helper()
	dir := smallDisk(t)
	if dir == "" {
		t.Log("no file system may be mounted here: the full disk is left out")
		return nil
	}
	d := oneBush(t, filepath.Join(dir, "disk.db"), waves{}, "text", &recorder{}, now)
	d.Step(t.Context(), now)
	filler := filepath.Join(dir, "filler")
	fill := sync.OnceFunc(func() { fillUp(t, filler) })
	return &ailing{name: "disk", d: d, fires: []string{"DiskFull"}, ail: func(time.Time) { fill() },
		mend: func(time.Time) { _ = os.Remove(filler) }}
}

// smallDisk is a file system of its own with room for some megabytes, "" where none may be
// mounted.
func smallDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if exec.Command("mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", dir).Run() != nil {
		return ""
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
			t.Errorf("%v %s", err, out)
		}
	})
	return dir
}

// fillUp writes a file until there is no room any more.
func fillUp(t *testing.T, file string) {
	t.Helper()
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); errors.Is(err, syscall.ENOSPC) {
			size /= 2
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
