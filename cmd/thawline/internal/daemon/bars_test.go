package daemon

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-resty/resty/v2"
	"golang.org/x/time/rate"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/weather/source"
	"thawline/testdata/beside"
)

// texts is a gateway that takes its time, and so many a second at most.
type texts struct {
	delay time.Duration
	limit *rate.Limiter // nil for as many as come
	clock func() time.Time

	mu      sync.Mutex
	at      map[string][]time.Time // by key, when they were taken
	refused int
	now     int // requests that wait for their answer
	most    int // of them at a time
}

func (g *texts) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	var m struct{ To, Text, Key string }
	_ = json.NewDecoder(r.Body).Decode(&m)
	g.mu.Lock()
	g.now++
	g.most = max(g.most, g.now)
	g.mu.Unlock()
	time.Sleep(g.delay)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.now--
	if g.limit != nil && !g.limit.Allow() {
		g.refused++
		w.Header().Set("Retry-After", "1")
		w.WriteHeader(http.StatusTooManyRequests)
		return
	}
	g.at[m.Key] = append(g.at[m.Key], g.clock())
}

func (g *texts) taken() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.at)
}

// lags are how long after the evening each text was taken, the latest last.
func (g *texts) lags() (out []time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, at := range g.at {
		out = append(out, at[0].Sub(eveningIn2026))
	}
	slices.Sort(out)
	return out
}

// barsOf is the number of a campaign, or a smaller one.
func barsOf(name string, usual int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return n
	}
	return usual
}

// running is a clock that begins at an evening and runs as the wall's does. alone tells
// what was decided before, so that only sending takes time.
type running struct {
	began atomic.Int64
	alone bool
}

func (r *running) now() time.Time {
	began := r.began.Load()
	if began == 0 {
		return eveningIn2026.Add(-time.Second)
	}
	return eveningIn2026.Add(time.Duration(time.Now().UnixNano() - began))
}

// evening starts a daemon for the evening alone, with its engine running, and ends it with
// the test.
func (r *running) evening(t *testing.T, where string, s Settings) *Daemon {
	t.Helper()
	d := sharing(t, where, "a", s, eveningIn2026.Add(-time.Minute))
	d.Now, d.Pace = r.now, engine.Paces{DB: d.Archive.DB()}
	for _, j := range d.jobs {
		if r.alone || j.name != "evening" {
			j.next = eveningIn2026.AddDate(0, 0, 1)
		}
	}
	for i := 0; r.alone && i < len(s.Sites); i++ {
		decision := alerts.Decision{Kind: alerts.Evening, Site: s.Sites[i].ID, Key: "evening:2026-03-20",
			Until: eveningIn2026.Add(time.Hour)}
		if err := d.record(t.Context(), &s.Sites[i], decision, eveningIn2026,
			func(*message.Words) string { return "Sap will run." }); err != nil {
			t.Fatal(err)
		}
	}
	r.began.Store(time.Now().UnixNano())
	ctx, cancel := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	wait.Go(func() { _ = d.Run(ctx) })
	wait.Go(func() {
		for ctx.Err() == nil {
			d.Plan(ctx, r.now())
			time.Sleep(100 * time.Millisecond)
		}
	})
	t.Cleanup(func() { cancel(); wait.Wait() })
	return d
}

// until waits for something, and says how long it took.
func until(t *testing.T, patience time.Duration, done func() bool) time.Duration {
	t.Helper()
	began := time.Now()
	for ; !done(); time.Sleep(20 * time.Millisecond) {
		if time.Since(began) > patience {
			t.Fatalf("not within %s", patience)
		}
	}
	return time.Since(began)
}

func viaGateway(n int, g *texts, p Pacing) (Settings, *httptest.Server) {
	server := httptest.NewServer(g)
	c := &channel.Gateway{GatewayOptions: channel.GatewayOptions{URL: server.URL, JSON: `{"to":"{to}","text":"{text}","key":"{key}"}`},
		Client: resty.New()}
	s := members(n, map[string]channel.Channel{"text": c})
	s.Paces = map[string]Pacing{"text": p}
	return s, server
}

func whereBars(t *testing.T) string {
	if where := beside.Postgres(t); where != "" {
		return where + "&application_name=" + t.Name()
	}
	return filepath.Join(t.TempDir(), "bars.db")
}

// A gateway that takes three tenths of a second an answer holds nothing but its own
// senders: THAWLINE_SLOW=1000 measures a thousand members.
func TestASlowGatewayHoldsNobodyElse(t *testing.T) {
	n := barsOf("THAWLINE_SLOW", 60)
	clock := &running{alone: os.Getenv("THAWLINE_SLOW") == ""}
	g := &texts{delay: 300 * time.Millisecond, clock: clock.now, at: map[string][]time.Time{}}
	s, server := viaGateway(n, g, Pacing{Senders: 24})
	defer server.Close()
	d := clock.evening(t, whereBars(t), s)
	cpu := beside.CPUSeconds()
	until(t, 4*time.Minute, func() bool { return g.taken() >= n })
	lags := g.lags()
	t.Logf("%d members, 300 ms an answer: half after %.1f s, the last after %.1f s; %.1f ms of processor a member here, %.1f in the database", n, lags[n/2].Seconds(), lags[n-1].Seconds(),
		1000*(beside.CPUSeconds()-cpu)/float64(n), 1000*beside.DatabaseSeconds(t.Context(), d.Archive.DB(), t.Name())/float64(n))
	if n >= 1000 && lags[n-1] > 25*time.Second {
		t.Errorf("the last after %s", lags[n-1])
	}
	if most := g.most; clock.alone && (most < 16 || most > 24) {
		t.Errorf("%d messages on their way at a time", most)
	}
}

// A gateway that takes so many a second is sent to at that pace and refuses hardly any;
// none is sent after its use. THAWLINE_PACED=4000 measures five a second.
func TestAGatewaysPaceIsKept(t *testing.T) {
	n, perSecond := barsOf("THAWLINE_PACED", 90), 5
	if os.Getenv("THAWLINE_PACED") == "" {
		perSecond = 40
	}
	clock := &running{alone: os.Getenv("THAWLINE_PACED") == ""}
	g := &texts{delay: 20 * time.Millisecond, clock: clock.now, at: map[string][]time.Time{},
		limit: rate.NewLimiter(rate.Limit(perSecond), 5)}
	s, server := viaGateway(n, g, Pacing{Senders: 24, Rate: engine.Rate{PerSecond: float64(perSecond), Burst: 2}})
	defer server.Close()
	d := clock.evening(t, whereBars(t), s)
	until(t, 16*time.Minute, func() bool { return g.taken() >= n })
	last := g.lags()[n-1]
	t.Logf("%d members, %d a second: the last after %.0f s, %d refused", n, perSecond, last.Seconds(), g.refused)
	if last > 15*time.Minute {
		t.Errorf("the last after %s", last)
	}
	if g.refused > n || os.Getenv("THAWLINE_PACED") != "" &&
		g.refused*100 > n { // where other programs keep the machine busy, what was held comes at once
		t.Errorf("%d refused", g.refused)
	}
	list, err := d.Ledger.Recent(t.Context(), 2*n)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		if list[i].SentAt.After(list[i].Until) {
			t.Errorf("%s sent after its use", list[i].ID)
		}
	}
	for key, at := range g.at {
		if len(at) != 1 {
			t.Errorf("%s came %d times", key, len(at))
		}
	}
}

// hanging answers as regional does, but for one cell, where nobody answers until it is let
// go and the last good weather stands in.
type hanging struct {
	regional
	cell string
	let  chan struct{}
}

func (h hanging) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	a, err := h.regional.Ask(ctx, site, now)
	if source.CellOf(site.Place) == h.cell {
		select {
		case <-h.let:
		case <-ctx.Done():
		}
		a.Kept, a.Bulletin.IssuedAt = true, now.Add(-29*time.Hour)
	}
	return a, err
}

// A cell whose service hangs keeps its own bushes waiting, and no other; they are told
// with the weather that is kept, and its age.
func TestACellThatHangsHoldsItsOwnBushes(t *testing.T) {
	const n = 63
	clock := &running{}
	record := &timed{clock: clock.now}
	s := members(n, map[string]channel.Channel{"text": record})
	hung := map[string]bool{}
	for i := range s.Sites {
		if i%3 == 0 { // more bushes than there are workers lie in the cell
			s.Sites[i].Place = s.Sites[0].Place
		}
	}
	h := hanging{cell: source.CellOf(s.Sites[0].Place), let: make(chan struct{})}
	for i := range s.Sites {
		hung[s.Sites[i].ID] = source.CellOf(s.Sites[i].Place) == h.cell
	}
	s.Asker = h
	clock.evening(t, filepath.Join(t.TempDir(), "d.db"), s)
	others := 0
	for _, hangs := range hung {
		if !hangs {
			others++
		}
	}
	until(t, time.Minute, func() bool { return record.evenings() >= others })
	if got := record.evenings(); got != others || n-others < Many {
		t.Errorf("%d told while the cell hangs, want %d", got, others)
	}
	close(h.let)
	until(t, time.Minute, func() bool { return record.evenings() >= n })
	record.mu.Lock()
	defer record.mu.Unlock()
	for _, m := range record.got {
		if old := strings.Contains(m.Text, "OLD WEATHER, 29 hours"); hung[m.Site] != old {
			t.Errorf("%s: %s", m.Site, m.Text)
		}
	}
}
