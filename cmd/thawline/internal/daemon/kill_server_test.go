package daemon

import (
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"thawline/testdata/beside"
)

// database is a PostgreSQL of the test's own that may be killed.
type database struct {
	t         *testing.T
	bin, dir  string
	port      string
	restarted atomic.Int64
}

func ownDatabase(t *testing.T) *database {
	t.Helper()
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	if len(found) == 0 || os.Getuid() != 0 {
		t.Skip("PostgreSQL is not installed, or this is not root: its server is not killed")
	}
	_, port, err := net.SplitHostPort(beside.FreePort(t))
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "thawline-killed-")
	if err != nil {
		t.Fatal(err)
	}
	d := &database{t: t, bin: found[len(found)-1], dir: dir, port: port}
	if out, err := exec.Command("chown", "postgres", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	if out, err := d.as("initdb", "-D "+dir+"/db -A trust -U postgres"); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	t.Cleanup(func() {
		_, _ = d.as("pg_ctl", "-D "+dir+"/db -m immediate -w stop")
		_ = os.RemoveAll(dir)
	})
	d.start()
	return d
}

func (d *database) as(program, args string) (string, error) {
	out, err := exec.Command("su", "postgres", "-c", d.bin+"/"+program+" "+args+" >"+d.dir+"/said 2>&1").CombinedOutput()
	said, _ := os.ReadFile(d.dir + "/said")
	return string(out) + string(said), err
}

// start begins it, as often as it takes: what the killed one left behind has to end first.
func (d *database) start() {
	for end := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
		out, err := d.as("pg_ctl", "-D "+d.dir+"/db -o '-p "+d.port+" -k "+d.dir+" -c listen_addresses=127.0.0.1' -l "+d.dir+"/log -w start </dev/null")
		if err == nil {
			return
		}
		if time.Now().After(end) {
			d.t.Errorf("%v %s", err, out)
			return
		}
	}
}

// kill ends the server with all that it had in memory, and begins it again.
func (d *database) kill() {
	data, err := os.ReadFile(d.dir + "/db/postmaster.pid")
	if err != nil {
		d.t.Error(err)
		return
	}
	pid, err := strconv.Atoi(strings.SplitN(string(data), "\n", 2)[0])
	if err != nil {
		d.t.Error(err)
		return
	}
	_ = syscall.Kill(pid, syscall.SIGKILL)
	d.restarted.Add(1)
	d.start()
}

// trio is three daemons in their evenings, on machines whose clocks are five minutes apart.
type trio struct {
	t          *testing.T
	db         *database
	url        string
	river      string
	evening    time.Time
	nights     int
	killed     atomic.Int64
	killedLast atomic.Int64 // in nanoseconds
	textLast   atomic.Int64
}

func (k *trio) command(i int, shift time.Duration) (*exec.Cmd, *strings.Builder) {
	cmd, out := exec.Command(os.Args[0]), &strings.Builder{}
	cmd.Env = append(os.Environ(), killFile+"=postgres://postgres@127.0.0.1:"+k.db.port+"/postgres?sslmode=disable", killURL+"="+k.url,
		killRiver+"="+k.river,
		killName+"="+fmt.Sprint("daemon ", i), killSkew+"="+[]string{"5m", "0s", "-5m"}[i], killShift+"="+shift.String())
	cmd.Stdout = out
	return cmd, out
}

// night is an evening in which daemons, and their server too, are killed at random until so
// many are, and all is told. It says how long after the last kill the last text came.
func (k *trio) night(kills int64, serverToo bool) time.Duration {
	shift := time.Until(k.evening).Round(time.Millisecond)
	over := make(chan struct{})
	var server, wait sync.WaitGroup
	server.Go(func() {
		if !serverToo {
			return
		}
		rng := rand.New(rand.NewPCG(uint64(k.nights), 7))
		for {
			select {
			case <-over:
				return
			case <-time.After(time.Duration(1500+rng.IntN(4000)) * time.Millisecond):
				if k.killed.Load() < kills {
					k.db.kill()
					k.killedLast.Store(time.Now().UnixNano())
				}
			}
		}
	})
	for i := range 3 {
		rng := rand.New(rand.NewPCG(uint64(k.nights), uint64(i)))
		wait.Go(func() {
			for {
				cmd, out := k.command(i, shift)
				if err := cmd.Start(); err != nil {
					k.t.Error(err)
					return
				}
				if k.killed.Load() < kills {
					stop := time.AfterFunc(time.Duration(250+rng.IntN(2500))*time.Millisecond, func() {
						if cmd.Process.Kill() == nil {
							k.killedLast.Store(time.Now().UnixNano())
						}
					})
					defer stop.Stop()
				}
				err := cmd.Wait()
				if strings.Contains(out.String(), "done") {
					return
				}
				if err != nil && !strings.Contains(out.String(), "failed") { // else its server was away
					k.killed.Add(1)
				}
			}
		})
	}
	wait.Wait()
	close(over)
	server.Wait()
	k.over()
	return time.Unix(0, k.textLast.Load()).Sub(time.Unix(0, k.killedLast.Load()))
}

// over goes on to the next evening, and from the height of a season to the next one's.
func (k *trio) over() {
	const nights = 30
	k.nights++
	if k.evening = k.evening.AddDate(0, 0, 1); k.nights%nights == 0 {
		k.evening = k.evening.AddDate(1, 0, -nights)
	}
}

// left is an evening in which a daemon is frozen while it sends, for so long, then another
// is killed while it sends and stays dead. It says how long after that the last text came.
func (k *trio) left(frozen time.Duration) time.Duration {
	shift := time.Until(k.evening).Round(time.Millisecond)
	begin := func(i int, signal syscall.Signal) *exec.Cmd {
		before := k.textLast.Load()
		cmd, _ := k.command(i, shift)
		if err := cmd.Start(); err != nil {
			k.t.Fatal(err)
		}
		for end := time.Now().Add(30 * time.Second); k.textLast.Load() == before && time.Now().Before(end); {
			time.Sleep(time.Millisecond)
		}
		if err := cmd.Process.Signal(signal); err != nil {
			k.t.Errorf("daemon %d sent nothing: %v", i, err)
		}
		return cmd
	}
	sleeper := begin(0, syscall.SIGSTOP)
	awake := time.AfterFunc(frozen, func() { _ = sleeper.Process.Signal(syscall.SIGCONT) })
	defer awake.Stop()
	_ = begin(1, syscall.SIGKILL).Wait()
	at := time.Now()
	cmd, out := k.command(2, shift)
	if err := cmd.Run(); err != nil || !strings.Contains(out.String(), "done") {
		k.t.Errorf("%v %s", err, out)
	}
	last := time.Unix(0, k.textLast.Load())
	if err := sleeper.Wait(); err != nil {
		k.t.Error(err)
	}
	k.over()
	return last.Sub(at)
}

// Three daemons on machines whose clocks are five minutes apart, and their PostgreSQL, are
// killed at random; one daemon is frozen beyond every timeout; one stays dead. Nothing is
// lost, decided twice, or sent twice but what was cut off, under its key. THAWLINE_KILLS
// says how many daemons are killed under each driver: some 60 a minute, and four minutes more.
func TestKilledWithTheirServer(t *testing.T) {
	cycles, err := strconv.ParseInt(os.Getenv("THAWLINE_KILLS"), 10, 64)
	if err != nil {
		t.Skip("THAWLINE_KILLS is not set: daemons are not killed together with their server")
	}
	for name, river := range map[string]string{"local": "", "river": "yes"} {
		if only := os.Getenv("THAWLINE_DRIVER"); only != "" && only != name {
			continue
		}
		t.Run(name, func(t *testing.T) {
			got, inner := inbox(t)
			defer inner.Close()
			k := &trio{t: t, db: ownDatabase(t), river: river,
				evening: time.Date(time.Now().Year()+1, 3, 1, 18, 31, 0, 0,
					newYork(t))} // ahead, for River's own rescuer goes by the machine's clock
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				k.textLast.Store(time.Now().UnixNano())
				time.Sleep(100 * time.Millisecond)
				inner.Config.Handler.ServeHTTP(w, r)
			}))
			defer server.Close()
			k.url = server.URL
			var withServer time.Duration
			for k.killed.Load() < cycles && !t.Failed() {
				withServer = max(withServer, k.night(cycles, true))
			}
			after := k.night(k.killed.Load()+6, false)
			alone := k.left(200 * time.Second)
			where := "postgres://postgres@127.0.0.1:" + k.db.port + "/postgres?sslmode=disable"
			messages, doubles := audit(t, where, got)
			if want := 7 * 3 * k.nights; messages < want {
				t.Errorf("%d messages, want %d at least", messages, want)
			}
			if after > 5*time.Second || alone > 150*time.Second {
				t.Errorf("the last text came %s after the last kill, %s after one that stayed dead", after, alone)
			}
			t.Logf("%d kills of three daemons, %d of their server, one frozen for 200 s, %d evenings, %d messages, %d of them accepted twice under one key; the last text at most %.1f s after the last kill of an evening, %.1f s where their server was left alone, %.1f s after the kill of one that stayed dead",
				k.killed.Load(), k.db.restarted.Load(), k.nights, messages, doubles, withServer.Seconds(), after.Seconds(), alone.Seconds())
		})
	}
}
