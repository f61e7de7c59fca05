package app

import (
	"context"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-resty/resty/v2"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/weather/source"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// watching runs a whole program on a database, without its pages, until the test ends.
func watching(t *testing.T, where, name string, clock func() time.Time, settings func(a *archive.Archive) daemon.Settings) *App {
	t.Helper()
	kept, err := archive.Open(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	a := New(Env{Log: slog.New(slog.DiscardHandler), Clock: clock}, kept)
	a.settings, a.now = &config.Config{}, clock
	a.Daemon.Holder, a.Daemon.Now = name, clock
	s := settings(kept)
	if err := a.Daemon.Use(s, clock()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wait sync.WaitGroup
	wait.Go(func() { _ = a.watch(ctx, nil) })
	t.Cleanup(func() { cancel(); wait.Wait(); _ = kept.Close() })
	return a
}

func patiently(t *testing.T, what string, done func() bool) time.Duration {
	t.Helper()
	began := time.Now()
	for ; !done(); time.Sleep(10 * time.Millisecond) {
		if time.Since(began) > time.Minute {
			t.Fatal(what + ": not within a minute")
		}
	}
	return time.Since(began)
}

// What is written down makes the outlook again on every daemon that shares the database, in
// about two seconds, whichever took the record.
func TestARecordIsKnownToEveryDaemon(t *testing.T) {
	where := beside.Postgres(t)
	if where == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: daemons that share one are not tried")
	}
	began := time.Now()
	clock := func() time.Time { return testdata.Now().Add(time.Since(began)) }
	site := demoBush(t)
	chain := fromOne(t, source.OpenMeteoName, "https://weather.example.org", testdata.Transport())
	var apps []*App
	for _, name := range []string{"a", "b"} {
		apps = append(apps, watching(t, where, name, clock, func(*archive.Archive) daemon.Settings {
			return daemon.Settings{Sites: []forecast.Site{*site}, Asker: &Provider{Services: chain}, EveningAt: time.Hour,
				RefreshEvery: 24 * time.Hour, Thresholds: alerts.Usual}
		}))
	}
	var before []time.Time
	for _, a := range apps {
		patiently(t, "the first outlook", func() bool { return a.Daemon.Outlook(t.Context(), site.ID) != nil })
		before = append(before, a.Daemon.Outlook(t.Context(), site.ID).IssuedAt)
	}
	time.Sleep(2 * tickShared) // each has looked how things stand
	v := records.Visit{Site: site.ID, Group: site.Groups[0].ID, CollectedAt: clock(), VolumeL: 40, BrixPct: math.NaN()}
	if _, err := apps[0].Archive.PutVisits(t.Context(), []records.Visit{v}, "robin", clock()); err != nil {
		t.Fatal(err)
	}
	written := time.Now()
	for i, a := range apps {
		patiently(t, "an outlook that knows of the record",
			func() bool { return a.Daemon.Outlook(t.Context(), site.ID).IssuedAt.After(before[i]) })
		t.Logf("daemon %d knows of it after %.2f s", i, time.Since(written).Seconds())
	}
	const most = 2 * time.Second
	if took := time.Since(written); took > most &&
		took > most+madeIn(t, chain, site) { // where other programs keep the machine busy, making it takes longer
		t.Errorf("known after %s", took)
	}
}

// madeIn is what making an outlook takes just now, several times over.
func madeIn(t *testing.T, chain *source.Chain, site *forecast.Site) time.Duration {
	t.Helper()
	answer, err := Fetch(t.Context(), chain, site, testdata.Now())
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if _, err := forecast.Make(forecast.Inputs{Site: *site, Bulletin: answer.Bulletin, Now: testdata.Now(),
		EveningAt: 18 * time.Hour}); err != nil {
		t.Fatal(err)
	}
	return 4 * time.Since(began)
}

// While PostgreSQL is away services are asked no more often than their budget allows, and
// when it is back the evening comes without anybody's help.
func TestTheDatabaseGoesAway(t *testing.T) {
	where := beside.Postgres(t)
	if where == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: its absence is not tried")
	}
	const n, perSecond, away = 21, 5, 2 * time.Second
	between := beside.NewBetween(t, where)
	var asked atomic.Int64
	sky, texts := newSkies(0, smallEnsemble), &slowTexts{}
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { asked.Add(1); sky.ServeHTTP(w, r) }))
	defer service.Close()
	gateway := httptest.NewServer(texts)
	defer gateway.Close()
	var ahead atomic.Int64
	ahead.Store(int64(time.Until(associationsEvening.Add(-6 * time.Hour))))
	clock := func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) }
	a := watching(t, between.Address, "a", clock, func(a *archive.Archive) daemon.Settings {
		s := association(t, n, n)
		s.Channels = map[string]channel.Channel{"text": &channel.Gateway{GatewayOptions: channel.GatewayOptions{URL: gateway.URL +
			"/?key={key}&to={to}&text={text}", Method: "GET"}, Client: resty.New()}}
		client, err := source.NewClient(source.Options{Contact: "t@example.org", Version: "test", Budgets: a,
			Bounds: map[string]source.Bound{source.OpenMeteoName: {PerSecond: perSecond}}})
		if err != nil {
			t.Fatal(err)
		}
		chain := &source.Chain{Keep: source.NewSharedKeep(a),
			Forecasters: []source.Forecaster{source.NewOpenMeteo(client, source.OpenMeteoOptions{BaseURL: service.URL})}}
		if s.Asker, err = sharedAsker(chain, s.Sites, a); err != nil {
			t.Fatal(err)
		}
		return s
	})
	made := func() int {
		sites, err := a.Archive.OutlooksMade(t.Context(), clock().Add(-time.Hour))
		if err != nil {
			return 0
		}
		return len(sites)
	}
	patiently(t, "the first outlooks", func() bool { return made() == n })

	between.SetAway(true)
	ahead.Add(int64(4 * time.Hour)) // all weather is old, and everything due
	before, began := asked.Load(), time.Now()
	a.Daemon.Plan(t.Context(), clock())
	time.Sleep(away)
	questions, took := asked.Load()-before, time.Since(began)
	t.Logf("%d questions in %.1f s while the database is away", questions, took.Seconds())
	if most := perSecond*took.Seconds() + 1; float64(questions) > most || questions == 0 {
		t.Errorf("%d questions while the database is away, at most %.0f", questions, most)
	}

	between.SetAway(false)
	back := time.Now()
	ahead.Store(int64(time.Until(associationsEvening)))
	patiently(t, "the evening after the database is back", func() bool {
		a.Daemon.Plan(t.Context(), clock()) // as is done every few seconds
		return texts.n.Load() >= n
	})
	t.Logf("the last of %d texts %.1f s after it is back", n, time.Since(back).Seconds())
	if texts.twice.Load() > 0 {
		t.Errorf("%d texts twice", texts.twice.Load())
	}
}
