package app

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-resty/resty/v2"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
	"thawline/testdata/beside"
)

var associationsEvening = time.Date(2026, 3, 20, 22, 30, 0, 0, time.UTC) // half past six

// skies answers as Open-Meteo does, so long after for each cell that it is asked for.
type skies struct {
	delay              time.Duration
	forecast, ensemble []byte // of one cell

	mu    sync.Mutex
	cells map[string]int // questions for each place's forecast
}

// What an ensemble's answer holds for a cell: a megabyte where it is measured.
const (
	wholeEnsemble = 51
	smallEnsemble = 6
)

func newSkies(delay time.Duration, members int) *skies {
	s := &skies{delay: delay, cells: map[string]int{}}
	s.forecast = skyOf(14, []string{"temperature_2m", "dew_point_2m", "relative_humidity_2m", "surface_pressure", "shortwave_radiation",
		"cloud_cover", "wind_speed_10m", "precipitation", "snow_depth"}, 1)
	s.ensemble = skyOf(0, []string{"temperature_2m", "dew_point_2m", "shortwave_radiation", "cloud_cover", "wind_speed_10m",
		"precipitation"}, members)
	return s
}

// skyOf is an answer for one place: frost by night and thaw by day.
func skyOf(pastDays int, variables []string, members int) []byte {
	from := associationsEvening.Truncate(24*time.Hour).AddDate(0, 0, -pastDays)
	hours := (pastDays + 16) * 24
	var b bytes.Buffer
	column := func(name string, at func(hour int) float64) {
		fmt.Fprintf(&b, ",%q:[", name)
		for h := range hours {
			if h > 0 {
				b.WriteByte(',')
			}
			b.WriteString(strconv.FormatFloat(at(h), 'f', 1, 64))
		}
		b.WriteByte(']')
	}
	b.WriteString(`{"latitude":44,"longitude":-72,"elevation":300,"utc_offset_seconds":0,"timezone":"GMT","hourly_units":{"time":"unixtime"`)
	unit := map[string]string{"temperature_2m": "°C", "dew_point_2m": "°C", "relative_humidity_2m": "%", "surface_pressure": "hPa",
		"shortwave_radiation": "W/m²", "cloud_cover": "%", "wind_speed_10m": "m/s", "precipitation": "mm", "snow_depth": "m"}
	suffixes := []string{""}
	for m := 1; m < members; m++ {
		suffixes = append(suffixes, fmt.Sprintf("_member%02d", m))
	}
	for _, v := range variables {
		for _, suffix := range suffixes {
			fmt.Fprintf(&b, ",%q:%q", v+suffix, unit[v])
		}
	}
	b.WriteString(`},"hourly":{"time":[`)
	for h := range hours {
		if h > 0 {
			b.WriteByte(',')
		}
		fmt.Fprint(&b, from.Unix()+int64(h)*3600)
	}
	b.WriteByte(']')
	for _, v := range variables {
		for m, suffix := range suffixes {
			column(v+suffix, func(h int) float64 {
				wave := -math.Cos(2 * math.Pi * (float64(h%24) - 8) / 24)
				return map[string]float64{"temperature_2m": 1 + 6*wave + float64(m%7-3)/4, "dew_point_2m": -6,
					"relative_humidity_2m": 60, "surface_pressure": 975, "shortwave_radiation": max(0, 400*wave), "cloud_cover": 40,
					"wind_speed_10m": 3, "precipitation": 0, "snow_depth": 0.3}[v]
			})
		}
	}
	b.WriteString("}}")
	return b.Bytes()
}

func (s *skies) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	latitudes, longitudes := strings.Split(q.Get("latitude"), ","), strings.Split(q.Get("longitude"), ",")
	one := s.ensemble
	if strings.HasSuffix(r.URL.Path, "/forecast") {
		one = s.forecast
		s.mu.Lock()
		for i := range latitudes {
			s.cells[latitudes[i]+" "+longitudes[i]]++
		}
		s.mu.Unlock()
	}
	time.Sleep(s.delay * time.Duration(len(latitudes)))
	w.Header().Set("Content-Type", "application/json")
	if len(latitudes) == 1 {
		_, _ = w.Write(one)
		return
	}
	for i := range latitudes {
		_, _ = w.Write([]byte{"[,"[min(i, 1)]})
		_, _ = w.Write(one)
	}
	_, _ = w.Write([]byte("]"))
}

// slowTexts is a gateway that takes its time.
type slowTexts struct {
	delay time.Duration
	taken sync.Map // by key
	n     atomic.Int64
	twice atomic.Int64
}

func (g *slowTexts) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	time.Sleep(g.delay)
	if _, before := g.taken.LoadOrStore(r.URL.Query().Get("key"), true); before {
		g.twice.Add(1)
	} else {
		g.n.Add(1)
	}
	w.WriteHeader(http.StatusAccepted)
}

// association is so many bushes in so many cells, each with a keeper of its own.
func association(t *testing.T, members, cells int) daemon.Settings {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	s := daemon.Settings{EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour, Thresholds: alerts.Usual,
		Services: []string{source.OpenMeteoName}}
	for i := range members {
		c := i % cells
		id := fmt.Sprintf("bush-%05d", i)
		s.Sites = append(s.Sites, forecast.Site{ID: id, Name: "Bush " + id, Zone: zone, TreeDiameterM: 0.3,
			Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Place: weather.Place{LatitudeDeg: 43.03 + 0.1*float64(c/28) + 0.04*float64(i/cells%9)/9,
				LongitudeDeg: -73.97 + 0.1*float64(c%28) + 0.04*float64(i/cells%7)/7, ElevationM: float64(200 + i%300)},
			Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: volume.Pail, ContainerL: 15}}})
		s.People = append(s.People, channel.Person{ID: "keeper of " + id, Role: "keeper", Sites: []string{id},
			Reader: message.Reader{Language: "en", Units: units.US}, Ways: []channel.Way{{Channel: "text", To: id}}})
	}
	return s
}

func fromEnvironment(name string, usual int) int {
	if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return n
	}
	return usual
}

// An association's evening from the question to the weather service to the last text,
// through everything that the program does: services are asked for each cell once,
// its weather is kept once, everybody is told once. THAWLINE_ASSOCIATION=10000 measures so
// many members in THAWLINE_CELLS=700 cells, a service that takes 200 ms a cell and a
// gateway that takes 100 ms a text.
func TestAnAssociationsEvening(t *testing.T) {
	n, cells := fromEnvironment("THAWLINE_ASSOCIATION", 36), fromEnvironment("THAWLINE_CELLS", 12)
	sky, texts := newSkies(2*time.Millisecond, smallEnsemble), &slowTexts{delay: 5 * time.Millisecond}
	if os.Getenv("THAWLINE_ASSOCIATION") != "" {
		sky, texts.delay = newSkies(200*time.Millisecond, wholeEnsemble), 100*time.Millisecond
	}
	service, gateway := httptest.NewServer(sky), httptest.NewServer(texts)
	defer service.Close()
	defer gateway.Close()
	where := beside.Postgres(t)
	if where == "" {
		where = filepath.Join(t.TempDir(), "association.db")
	} else {
		where += "&application_name=" + t.Name()
	}
	a, err := archive.Open(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	s := association(t, n, cells)
	s.Channels = map[string]channel.Channel{"text": &channel.Gateway{GatewayOptions: channel.GatewayOptions{URL: gateway.URL +
		"/?key={key}&to={to}&text={text}", Method: "GET"}, Client: resty.New()}}
	s.Paces = map[string]daemon.Pacing{"text": {Senders: 24}}
	client, err := source.NewClient(source.Options{Contact: "t@example.org", Version: "test", Timeout: time.Minute, Budgets: a,
		Bounds: map[string]source.Bound{source.OpenMeteoName: {PerSecond: 1000}}})
	if err != nil {
		t.Fatal(err)
	}
	keep := source.NewSharedKeep(a)
	chain := &source.Chain{Keep: keep, Share: time.Minute,
		Forecasters: []source.Forecaster{source.NewOpenMeteo(client, source.OpenMeteoOptions{BaseURL: service.URL})}}
	if s.Asker, err = sharedAsker(chain, s.Sites, a); err != nil {
		t.Fatal(err)
	}
	shareWeather(a, s.Sites)
	makeRoom(n)
	defer makeRoom(1)
	pool, err := a.OwnPool(outboxConnections)
	if err != nil {
		t.Fatal(err)
	}
	var began atomic.Int64
	now := func() time.Time { return time.Now().Add(time.Duration(began.Load())) }
	began.Store(int64(time.Until(associationsEvening.Add(-time.Second))))
	d := &daemon.Daemon{Archive: a, Ledger: ledger.New(a.DB()), Outbox: ledger.New(pool), Pace: engine.Paces{DB: pool},
		Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"), PlaceKey: PlaceKey, Holder: "a", Now: now}
	tx, err := a.DB().BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Sites { // looked at an hour ago, so that the evening alone is due
		if _, err := tx.ExecContext(archive.Later(t.Context()),
			`INSERT INTO outlook (site, made_at, issued_at, document) VALUES (?1, ?2, ?2, ?3)`, s.Sites[i].ID,
			associationsEvening.Add(-time.Hour).Format(engine.Instant), []byte{}); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := d.Use(s, associationsEvening.Add(-time.Minute)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wait sync.WaitGroup
	defer wait.Wait()
	defer cancel()
	cpu, start := beside.CPUSeconds(), time.Now()
	wait.Go(func() { _ = d.Run(ctx) })
	began.Store(int64(time.Until(associationsEvening)))
	beats := 0
	for ; texts.n.Load() < int64(n); time.Sleep(50 * time.Millisecond) {
		if d.Plan(ctx, now()) {
			beats++
		}
		if time.Since(start) > 20*time.Minute {
			t.Fatalf("%d texts of %d", texts.n.Load(), n)
		}
	}
	took := time.Since(start)
	used, database := beside.CPUSeconds()-cpu, beside.DatabaseSeconds(ctx, a.DB(), t.Name())
	var days, bytes int64
	if err := a.DB().QueryRowContext(ctx, `SELECT COUNT(*), CAST(SUM(LENGTH(hours)) AS BIGINT) FROM weather_day`).Scan(&days,
		&bytes); err != nil {
		t.Fatal(err)
	}
	asked := 0
	for _, times := range sky.cells {
		asked += times
	}
	t.Logf("%d members in %d cells: the last text after %.1f s; %.1f ms of processor a member here, %.1f in the database, %.2f of %d cores busy; %d questions for cells; weather of %d days kept in %.1f MB",
		n, cells, took.Seconds(), 1000*used/float64(n), 1000*database/float64(n), (used+database)/took.Seconds(), runtime.GOMAXPROCS(0),
		asked, days, float64(bytes)/1e6)
	if asked != cells || texts.twice.Load() > 0 {
		t.Errorf("%d questions for %d cells, %d texts twice", asked, cells, texts.twice.Load())
	}
	if want := int64(cells) * 16; days > want {
		t.Errorf("%d days of weather kept for %d cells", days, cells)
	}
}
