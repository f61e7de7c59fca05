package daemon

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// world is everything around the daemons of one evening: services, gateway, database,
// clocks and people who write, each of which fails on purpose. What goes wrong when
// follows from the seed alone, so that a seed that failed fails again.
type world struct {
	t       testing.TB
	seed    uint64
	archive *archive.Archive
	ledger  *ledger.Ledger // on a database whose statements fail
	faulty  *faultyDB
	now     time.Time // the true time
	calm    bool      // nothing fails any more
	dumb    time.Time // when the gateway is there again, zero where it is

	happens map[string]*happening // by bush, nil for nothing but weather
	on      func(day, hour int) time.Time

	mu       sync.Mutex
	drawn    map[string]int
	last     map[string]forecast.Inputs
	service  []change // what the weather is from a moment on
	accepted []accepted
	heard    []heardText
	unsure   []heardText                    // texts that may have been dealt with, by number
	made     map[string][]*forecast.Outlook // outlooks by site and moment: two daemons may make one each
	doubled  map[string]bool                // keys that may have been accepted without an answer
	rests    map[string]rest                // by message, what the gateway asked for
	troubles int                            // daemons that ended, statements that failed
	whole    []time.Time                    // when a daemon did all that was due, by its clock
	wrong    []string
	nodes    []*node
}

// change is what a service says from a moment on.
type change struct {
	at   time.Time
	kind string
}

// accepted is a message that the gateway took.
type accepted struct {
	at time.Time
	channel.Message
}

// rest is how long the gateway wants to be left alone with a message: by the true time, and
// by the clock of the daemon that was told.
type rest struct {
	until, byClock time.Time
	troubles       int
}

// heardText is a text that was dealt with to its end.
type heardText struct {
	at                 time.Time
	site, person, text string
}

// node is one daemon's machine.
type node struct {
	w     *world
	name  string
	skew  time.Duration
	d     *Daemon
	ctx   context.Context
	crash context.CancelFunc
	downs int
	until time.Time // when it is up again
}

// chance draws whether something happens, by what it is and how often it was drawn:
// whichever comes first on several goroutines, the same falls to each.
func (w *world) chance(p float64, what ...any) bool { return w.draw(what...) < p }

func (w *world) draw(what ...any) float64 {
	key := fmt.Sprint(what...)
	w.mu.Lock()
	w.drawn[key]++
	n := w.drawn[key]
	w.mu.Unlock()
	h := fnv.New64a()
	_, _ = fmt.Fprintf(h, "%d %s %d", w.seed, key, n)
	x := h.Sum64()
	x ^= x >> 31 // the last bytes reach all bits
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 29
	return float64(x>>11) / (1 << 53)
}

func (w *world) among(n int, what ...any) int { return int(w.draw(what...) * float64(n)) }

func (w *world) fault(format string, args ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.wrong = append(w.wrong, fmt.Sprintf(format, args...))
}

// mostSkew is how far a clock jumps at most: whoever has an outlook of a clock that was ahead
// goes on from its moment.
const mostSkew = 20 * time.Minute

// kinds are the weathers there may be: mean and half the swing of a day, in degrees.
var worldKinds = map[string][2]float64{"run": {1, 7}, "big": {3, 10}, "weak": {-2, 4}, "cold": {-12, 3}, "warm": {13, 4}}

var worldNames = []string{"run", "big", "weak", "cold", "warm"}

// Ask answers with the newest weather, late, from before, or not at all.
func (n *node) Ask(_ context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	w := n.w
	if err := n.ctx.Err(); err != nil {
		return forecast.Inputs{}, err
	}
	if !w.calm && w.chance(0.15, "service", n.name, site.ID) {
		w.mu.Lock()
		defer w.mu.Unlock()
		if last, have := w.last[site.ID]; have { // as it lies on the disk
			last.Kept = true
			return last, nil
		}
		return forecast.Inputs{}, errors.New("the service does not answer")
	}
	got := forecast.Inputs{Bulletin: bulletinOf(w.weather(), now)}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.last[site.ID] = got
	return got, nil
}

// weather is what the service says now.
func (w *world) weather() string {
	kind := w.service[0].kind
	for _, c := range w.service {
		if !c.at.After(w.now) {
			kind = c.kind
		}
	}
	return kind
}

func bulletinOf(kind string, now time.Time) weather.Bulletin {
	s := weather.NewSeries(now.AddDate(0, 0, -3).Truncate(24*time.Hour), 7*24)
	c := worldKinds[kind]
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = c[0] - c[1]*math.Cos(2*math.Pi*(float64(s.Time(i).Hour())-8)/24)
	}
	return weather.Bulletin{Source: kind, IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}
}

// ready are the outlooks that were made once, by weather and hour.
var ready sync.Map

// outlook takes a ready one, as of the site and the moment that are asked for.
func (n *node) outlook(_ context.Context, in forecast.Inputs) (forecast.Outlook, error) {
	w := n.w
	hour := in.Now.Truncate(time.Hour)
	key := in.Bulletin.Source + " " + hour.UTC().Format(time.RFC3339)
	found, have := ready.Load(key)
	if !have {
		at := forecast.Inputs{Site: in.Site, Now: hour, Bulletin: bulletinOf(in.Bulletin.Source, hour), Seed: in.Seed,
			EveningAt: in.EveningAt}
		made, err := forecast.Make(at)
		if err != nil {
			return made, err
		}
		made.Hours = forecast.Hours{Start: made.Hours.Start} // long, and nothing that is decided goes by them
		found, _ = ready.LoadOrStore(key, &made)
	}
	o := *found.(*forecast.Outlook)
	o.Site, o.Bush.Name = in.Site.ID, in.Site.Name
	o.IssuedAt, o.Source.IssuedAt, o.Source.Kept = in.Now.In(in.Site.Zone), in.Bulletin.IssuedAt, in.Kept
	w.befall(&o)
	w.mu.Lock()
	if newest := w.weather(); !in.Kept && (in.Bulletin.Source != newest || in.Bulletin.IssuedAt.Before(in.Now.Add(-time.Hour-mostSkew))) {
		w.wrong = append(w.wrong, fmt.Sprintf("not true to the weather: %s of %s is taken for new, and it is %s", in.Bulletin.Source,
			in.Bulletin.IssuedAt.Format("15:04"), newest))
	}
	of := in.Site.ID + " " + in.Now.UTC().Format(time.RFC3339)
	w.made[of] = append(w.made[of], &o)
	w.mu.Unlock()
	return o, nil
}

// Send is the gateway: it takes a message, refuses it, asks for rest, or takes it and
// never says so; and the daemon may end before or after.
func (n *node) Send(_ context.Context, m channel.Message) (string, error) {
	w := n.w
	if err := n.ctx.Err(); err != nil {
		return "", err
	}
	w.mu.Lock()
	if r, asked := w.rests[m.Key]; asked && r.troubles == w.troubles && w.now.Before(r.until.Add(-time.Second)) &&
		w.now.Add(n.skew).Before(r.byClock.Add(-time.Second)) {
		w.wrong = append(w.wrong, fmt.Sprintf("pressed: %s to %s at %s, and the gateway asked for rest until %s", m.Kind, m.Person,
			w.now.Format(time.TimeOnly), r.until.Format(time.TimeOnly)))
	}
	dumb := w.now.Before(w.dumb)
	w.mu.Unlock()
	if dumb {
		return "", errors.New("no connection")
	}
	if !w.calm {
		switch x := w.draw("gateway", m.Person, string(m.Kind)); {
		case x < 0.08:
			wait := time.Duration(w.among(300, "rest")) * time.Second
			w.mu.Lock()
			w.rests[m.Key] = rest{w.now.Add(wait), w.now.Add(n.skew + wait), w.troubles}
			w.mu.Unlock()
			return "", &channel.Refusal{Said: "later", Wait: wait}
		case x < 0.16:
			return "", errors.New("no connection")
		case x < 0.19:
			n.down("before a message")
			return "", n.ctx.Err()
		case x < 0.22:
			w.take(m, true)
			n.down("after a message")
			return "", n.ctx.Err()
		case x < 0.26:
			w.take(m, true)
			return "", errors.New("the answer broke off")
		}
	}
	w.take(m, false)
	return "kept", nil
}

func (w *world) take(m channel.Message, unanswered bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.accepted = append(w.accepted, accepted{w.now, m})
	if unanswered {
		w.doubled[m.Key] = true
	}
}

// down kills a daemon where it is.
func (n *node) down(string) {
	n.w.mu.Lock()
	n.downs++
	n.w.troubles++
	n.until = n.w.now.Add(time.Duration(1+n.downs*7%20) * time.Minute)
	n.w.mu.Unlock()
	n.crash()
}

// people of the world: who is told of which bush, and in which role.
func worldPeople() []channel.Person {
	person := func(id, role, number string, sites ...string) channel.Person {
		return channel.Person{ID: id, Role: role, Reader: message.Reader{Language: "en", Units: units.US}, Sites: sites,
			Ways: []channel.Way{{Channel: "text", To: number}}}
	}
	return []channel.Person{
		person("ann", "keeper", "+18025550101"), person("bob", "crew", "+18025550102", "bush"),
		person("cy", "viewer", "+18025550103", "lake"), person("dee", "crew", "+18025550104", "lake"),
	}
}

func (n *node) settings() Settings {
	s := evenSettings("")
	lake := s.Sites[0]
	lake.ID, lake.Name = "lake", "Lake"
	s.Sites = append(s.Sites, lake)
	s.Link = "http://sugar.example" // by which people say that they have seen what is urgent
	s.People, s.Asker, s.Channels = worldPeople(), n, map[string]channel.Channel{"text": n}
	return s
}

// up starts a daemon, as after a crash.
func (n *node) up() error {
	n.ctx, n.crash = context.WithCancel(context.WithValue(context.Background(), nodeKey{}, n))
	n.d = &Daemon{Archive: n.w.archive, Ledger: n.w.ledger, Holder: n.name, Log: slog.New(slog.DiscardHandler),
		Metrics: hooks.NewMetrics("test"), PlaceKey: func(s *forecast.Site) string { return s.ID },
		Now: func() time.Time { return n.w.now }}
	n.d.reckoner = n.outlook
	n.d.turn = func(of int) int { return n.w.among(of, "turn", n.name) }
	return n.d.Use(n.settings(), n.w.now.Add(n.skew))
}

type nodeKey struct{}

// worlds share one migrated database, emptied before each evening.
type worlds struct {
	archive *archive.Archive
	faulty  *faultyDB
	ledger  *ledger.Ledger
	tables  []string
}

func openWorlds(t testing.TB) *worlds {
	t.Helper()
	dir := t.TempDir()
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		if dir, err = os.MkdirTemp("/dev/shm", "thawline-world-"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.RemoveAll(dir) })
	}
	path := filepath.Join(dir, "world.db")
	a, err := archive.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	w := &worlds{archive: a, faulty: &faultyDB{inner: a.DB().Driver(),
		dsn: "file:" + path + "?_txlock=immediate&_pragma=busy_timeout(10000)&_pragma=synchronous(OFF)&_pragma=foreign_keys(1)"}}
	// Ids of messages follow from the key, and the order of what is sent at one moment from them.
	if _, err := a.DB().Exec("INSERT INTO kept_value (name, value) VALUES ('address_key', ?)", strings.Repeat("5a", 32)); err != nil {
		t.Fatal(err)
	}
	db := sql.OpenDB(w.faulty)
	t.Cleanup(func() { _ = db.Close() })
	w.ledger = ledger.New(db)
	rows, err := a.DB().Query("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'goose_%' AND name <> 'kept_value'")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		w.tables = append(w.tables, name)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return w
}

// empty makes room for the next evening.
func (ws *worlds) empty(t testing.TB) {
	conn, err := ws.archive.DB().Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	statements := "PRAGMA foreign_keys = 0; BEGIN;"
	for _, name := range ws.tables {
		statements += "DELETE FROM " + name + ";"
	}
	if _, err := conn.ExecContext(context.Background(), statements+"COMMIT; PRAGMA foreign_keys = 1;"); err != nil {
		t.Fatal(err)
	}
}
