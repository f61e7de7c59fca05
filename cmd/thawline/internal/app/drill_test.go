package app

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/testdata/beside"
)

// gateway passes texts on, each key once as gateways do that know keys, and takes
// its time.
type gateway struct {
	mu    sync.Mutex
	keys  map[string]int
	texts map[string]int
}

func (g *gateway) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	var m struct{ Text, Key string }
	_ = json.NewDecoder(r.Body).Decode(&m)
	time.Sleep(400 * time.Millisecond)
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.keys[m.Key]++; g.keys[m.Key] == 1 {
		g.texts[m.Text]++
	}
	w.WriteHeader(http.StatusAccepted)
}

func (g *gateway) count() (messages, keys int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, n := range g.keys {
		messages += n
	}
	return messages, len(g.keys)
}

// wire carries bytes to an address until it is cut.
type wire struct {
	mu    sync.Mutex
	cut   bool
	conns []net.Conn
}

func (w *wire) carry(l net.Listener, to string) {
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		w.mu.Lock()
		cut := w.cut
		w.mu.Unlock()
		far, err := net.Dial("tcp", to)
		if cut || err != nil {
			_ = c.Close()
			continue
		}
		w.mu.Lock()
		w.conns = append(w.conns, c, far)
		w.mu.Unlock()
		go func() { _, _ = io.Copy(far, c); _ = far.Close() }()
		go func() { _, _ = io.Copy(c, far); _ = c.Close() }()
	}
}

func (w *wire) set(cut bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = cut
	if cut {
		for _, c := range w.conns {
			_ = c.Close()
		}
		w.conns = nil
	}
}

// drilled are the settings of so many bushes of the drill at a place, tapped on a day.
func drilled(bushes int, place string, tapped time.Time) string {
	var s strings.Builder
	s.WriteString("sites:\n")
	for i := range bushes {
		fmt.Fprintf(&s, "  - {id: b%02d, name: Bush %02d, %s, elevation: 100 m, groups: [{id: a, taps: 10, collected_by: pail, container: 8 L, tapped: %s}]}\n",
			i, i, place, tapped.Format(time.DateOnly))
	}
	return s.String()
}

// drillTapped is how many days before the drill its bushes are tapped, in the settings and on
// record: who is at work hears in the evening whatever the month.
const drillTapped = 3

// The drill: three daemons on one PostgreSQL in their evening. One is killed, one
// is frozen beyond its leases and let go again, one is cut off from the database
// for a while, and the database is restarted: every bush's text goes out once. It
// takes some five minutes: THAWLINE_DRILL names the command that restarts the
// database. THAWLINE_OLDER may name a binary of an earlier release: the one that is
// frozen is of it then, and at work before the others bring the database to their
// form.
func TestDrill(t *testing.T) {
	restart := os.Getenv("THAWLINE_DRILL")
	where := beside.Postgres(t)
	if restart == "" || where == "" {
		t.Skip("THAWLINE_DRILL and THAWLINE_TEST_POSTGRES are not both set: no drill")
	}
	const bushes = 40
	g := &gateway{keys: map[string]int{}, texts: map[string]int{}}
	texts := httptest.NewServer(g)
	defer texts.Close()
	silent := httptest.NewServer(http.NotFoundHandler()) // no weather: each bush is told so
	defer silent.Close()
	dir := t.TempDir()
	binary := filepath.Join(dir, "thawline")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, "../..").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}

	// A place where it is afternoon or evening, so that the text may come in a minute.
	soon := time.Now().Add(2 * time.Minute).Truncate(time.Minute)
	place := ""
	for _, one := range []struct{ zone, at string }{{"America/New_York", "latitude: 44, longitude: -73"},
		{"Europe/Berlin", "latitude: 52, longitude: 13"}, {"Asia/Tokyo", "latitude: 36, longitude: 139"}} {
		zone, err := time.LoadLocation(one.zone)
		if err != nil {
			t.Fatal(err)
		}
		if h := soon.In(zone).Hour(); h >= 12 && h < 23 {
			soon, place = soon.In(zone), one.at+", zone: "+one.zone
		}
	}
	common := drilled(bushes, place, soon.AddDate(0, 0, -drillTapped)) + "people: [{id: robin, role: keeper, each_bush: yes, channels: text, phone_file: phone}]\nchannels:\n  - {id: text, kind: text_gateway, url: " + texts.URL + ", json: '{\"to\":\"{to}\",\"text\":\"{text}\",\"key\":\"{key}\"}'}\nweather: {sources: [nws], contact: drill@example.org, nws: {base_url: " + silent.URL + "}}\n"
	u, err := url.Parse(where)
	if err != nil {
		t.Fatal(err)
	}
	far := &wire{}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	go far.carry(listener, u.Host)
	u.Host = listener.Addr().String()
	for name, text := range map[string]string{"phone": "+18025550123", "direct": where, "far": u.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	settingsOf := func(name, database string) string {
		settings := filepath.Join(dir, name+".yaml")
		text := common + "data_dir: " + filepath.Join(dir, name+"-data") + "\ndatabase_file: " + database + "\nserve: {listen: \"" +
			beside.FreePort(t) + "\", evening_at: \"" + soon.Format("15:04") + "\"}\n"
		if err := os.WriteFile(settings, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return settings
	}
	older := os.Getenv("THAWLINE_OLDER")
	notebook := settingsOf("notebook", "direct")
	var wait sync.WaitGroup
	for part := range 8 {
		wait.Go(func() {
			for i := part; i < bushes; i += 8 {
				out, err := exec.CommandContext(t.Context(), cmp.Or(older, binary), "records", "tap", "a", "--site", fmt.Sprintf("b%02d", i),
					"--on", soon.AddDate(0, 0, -drillTapped).Format(time.DateOnly), "--config", notebook).CombinedOutput()
				if err != nil {
					t.Errorf("%v %s", err, out)
				}
			}
		})
	}
	wait.Wait()
	start := func(name, database, binary string) *exec.Cmd {
		settings := settingsOf(name, database)
		c := exec.CommandContext(t.Context(), binary, "serve", "--config", settings)
		log, err := os.Create(filepath.Join(dir, name+".log"))
		if err != nil {
			t.Fatal(err)
		}
		c.Stdout, c.Stderr = log, log
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			_ = c.Process.Signal(syscall.SIGCONT)
			_ = c.Process.Kill()
			_ = c.Wait()
			if t.Failed() {
				data, _ := os.ReadFile(log.Name())
				t.Logf("%s: %.3000s", name, data)
			}
		})
		return c
	}
	frozen := start("frozen", "direct", cmp.Or(older, binary))
	if older != "" {
		time.Sleep(5 * time.Second)
	}
	killed := start("killed", "direct", binary)
	start("far", "far", binary)
	until := func(what string, patience time.Duration, done func() bool) {
		t.Helper()
		for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
			if done() {
				return
			}
		}
		m, k := g.count()
		t.Fatalf("%s: not within %s; %d messages, %d keys", what, patience, m, k)
	}
	say := func(what string) {
		m, k := g.count()
		t.Logf("%s %s: %d messages, %d keys", time.Now().Format("15:04:05"), what, m, k)
	}
	until("the first texts", 3*time.Minute, func() bool { m, _ := g.count(); return m >= 4 })
	_ = killed.Process.Kill()
	say("one is killed")
	_ = frozen.Process.Signal(syscall.SIGSTOP)
	say("one is frozen")
	far.set(true)
	say("the third is cut off")
	time.Sleep(20 * time.Second)
	far.set(false)
	say("it is joined again")
	time.Sleep(15 * time.Second)
	if out, err := exec.CommandContext(t.Context(), "sh", "-c", restart).CombinedOutput(); err != nil {
		t.Fatalf("restart: %v %s", err, out)
	}
	say("the database was restarted")
	until("all texts but those in dead hands", 6*time.Minute, func() bool { _, k := g.count(); return k >= bushes })
	say("all have gone out")
	time.Sleep(30 * time.Second)
	_ = frozen.Process.Signal(syscall.SIGCONT)
	say("the frozen one goes on")
	time.Sleep(45 * time.Second)
	say("at the end")
	// What was on its way when its sender was killed or frozen is sent again, under
	// the same key; nothing else is.
	const onTheirWay = 2 * 8
	if m, k := g.count(); k != bushes || m-k > onTheirWay {
		t.Errorf("%d messages of %d keys for %d bushes", m, k, bushes)
	}
	for text, n := range g.texts {
		if n != 1 {
			t.Errorf("%d times: %s", n, text)
		}
	}
}

// The drill's bushes hear in the evening in any month, without weather: their taps were put in three
// days ago. Without that nobody does in July.
func TestDrillIsOfAnyMonth(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, month := range []time.Month{time.January, time.June, time.July, time.September, time.October} {
		now := time.Date(2026, month, 20, 18, 31, 0, 0, zone)
		for _, atWork := range []bool{true, false} {
			if !atWork && month != time.July {
				continue
			}
			file := written(t, "thawline.yaml", drilled(2, "latitude: 44, longitude: -73, zone: America/New_York", now.AddDate(0, 0, -drillTapped))+
				"people: [{id: robin, role: keeper, each_bush: yes, channels: text}]\nchannels:\n  - {id: text, kind: text_gateway, url: \"http://127.0.0.1:9/{to}{text}\"}\nweather: {sources: [nws], contact: drill@example.org}\nserve: {evening_at: \"18:30\"}\n")
			load := func() (*config.Config, error) {
				return config.Load(file, []string{"THAWLINE_DATA_DIR=" + filepath.Dir(file), "THAWLINE_PEOPLE_ROBIN_PHONE=+18025550123"})
			}
			c, err := load()
			if err != nil {
				t.Fatal(err)
			}
			a, err := Open(t.Context(), Env{Version: "test", Log: slog.New(slog.DiscardHandler), Clock: func() time.Time { return now }, Frozen: true}, c, load)
			if err != nil {
				t.Fatal(err)
			}
			s, err := daemonSettings(a.env, c, a.Archive, a.Daemon.Ledger)
			if err != nil {
				t.Fatal(err)
			}
			told := &box{}
			s.Asker, s.Channels = noSky{}, map[string]channel.Channel{"text": told}
			if err := a.Daemon.Use(s, now.Add(-time.Hour)); err != nil {
				t.Fatal(err)
			}
			for i := range s.Sites {
				e := records.TapEvent{Site: s.Sites[i].ID, Group: "a", Kind: records.Tapped, On: now.AddDate(0, 0, -drillTapped)}
				if !atWork {
					break
				}
				if _, err := a.Archive.PutTaps(t.Context(), []records.TapEvent{e}, "robin", now); err != nil {
					t.Fatal(err)
				}
			}
			a.Daemon.Step(t.Context(), now)
			if err := a.Close(); err != nil {
				t.Fatal(err)
			}
			if texts := len(told.texts); atWork && texts != 2 || !atWork && texts != 0 {
				t.Errorf("%s, at work %t: %d texts", month, atWork, texts)
			}
		}
	}
}

// noSky has no weather.
type noSky struct{}

func (noSky) Ask(context.Context, *forecast.Site, time.Time) (forecast.Inputs, error) {
	return forecast.Inputs{}, errors.New("no weather")
}

// box keeps what is sent.
type box struct{ texts []string }

func (b *box) Send(_ context.Context, m channel.Message) (string, error) {
	b.texts = append(b.texts, m.Texted)
	return "kept", nil
}
