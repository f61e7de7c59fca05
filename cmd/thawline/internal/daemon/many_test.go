package daemon

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
	"thawline/testdata/beside"
)

// regional is replayed weather, another one in each cell of the grid: frost by
// night and thaw by day, two weeks back and 16 days ahead.
type regional struct{}

func (regional) Ask(_ context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	cell := spread(source.CellOf(site.Place))
	s := weather.NewSeries(now.AddDate(0, 0, -14), 31*24)
	mean, swing := float64(cell%9)/3-1, 5+float64(cell%5)
	for i := range s.Hours() {
		hour := float64(s.Time(i).Hour()) + site.Place.LongitudeDeg/15
		s.Col(weather.TemperatureC)[i] = mean - swing*math.Cos(2*math.Pi*(hour-3)/24)
		s.Col(weather.CloudCoverPct)[i] = 40
		s.Col(weather.WindSpeedMS)[i] = 3
		s.Col(weather.SurfacePressureHPa)[i] = 975
	}
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "replay", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}}, nil
}

// members are bushes over a region, each with a keeper of its own.
func members(n int, channels map[string]channel.Channel) Settings {
	s := many(n, channels)
	s.Asker, s.RefreshEvery = regional{}, 3*time.Hour
	keeper := s.People[0]
	s.People = nil
	for i := range s.Sites {
		site := &s.Sites[i]
		site.Place = weather.Place{LatitudeDeg: 43.6 + 2.2*float64(i%83)/83, LongitudeDeg: -73.4 + 3*float64(i%127)/127,
			ElevationM: float64(100 + i%300)}
		p := keeper
		p.ID, p.Sites, p.Ways = fmt.Sprint("member ", i), []string{site.ID}, []channel.Way{{Channel: "text", To: fmt.Sprint("member ", i)}}
		s.People = append(s.People, p)
	}
	return s
}

// timed notes when a message was accepted.
type timed struct {
	recorder
	clock func() time.Time
	at    []time.Time
}

func (r *timed) Send(ctx context.Context, m channel.Message) (string, error) {
	said, err := r.recorder.Send(ctx, m)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.at = append(r.at, r.clock())
	return said, err
}

// An evening of many members, THAWLINE_MANY of them, through the whole daemon: the
// night before is kept, services answer from memory, messages are noted. With one
// daemon and with two on the same processors.
func TestEveningOfMany(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("THAWLINE_MANY"))
	if err != nil {
		t.Skip("THAWLINE_MANY names no number of members: an evening of so many is not measured")
	}
	for _, count := range []int{1, 2} {
		t.Run(fmt.Sprintf("%d daemons", count), func(t *testing.T) {
			where := beside.Postgres(t)
			if where == "" {
				where = filepath.Join(t.TempDir(), "many.db")
				t.Log("THAWLINE_TEST_POSTGRES names no database: a file is measured")
			}
			debug.FreeOSMemory()
			began := time.Now()
			clock := func() time.Time { return eveningIn2026.Add(time.Since(began)) }
			record := &timed{clock: clock}
			daemons := make([]*Daemon, count)
			for i := range daemons {
				daemons[i] = sharing(t, where, fmt.Sprint("daemon ", i), members(n, map[string]channel.Channel{"text": record}),
					eveningIn2026.Add(-time.Minute))
				daemons[i].Now = clock
				for _, j := range daemons[i].jobs { // this evening alone
					if j.name != "evening" {
						j.next = eveningIn2026.AddDate(0, 0, 1)
					}
				}
			}
			peak := uint64(0)
			stop := make(chan struct{})
			go func() {
				for {
					select {
					case <-stop:
						return
					case <-time.After(200 * time.Millisecond):
						var m runtime.MemStats
						runtime.ReadMemStats(&m)
						peak = max(peak, m.Sys-m.HeapReleased)
					}
				}
			}()
			began = time.Now()
			enough := func() bool { record.mu.Lock(); defer record.mu.Unlock(); return len(record.got) >= n }
			var wg sync.WaitGroup
			for _, d := range daemons {
				ctx, cancel := context.WithCancel(context.Background())
				wg.Go(func() { _ = d.Run(ctx) })
				wg.Go(func() {
					defer cancel()
					for !enough() && time.Since(began) < 20*time.Minute {
						d.Plan(ctx, clock())
						time.Sleep(100 * time.Millisecond)
					}
				})
			}
			wg.Wait()
			close(stop)
			told := map[string]int{}
			evenings := 0
			for _, m := range record.got {
				told[m.Key]++
				if m.Says("evening") {
					evenings++
				}
			}
			lags := make([]float64, len(record.at))
			for i, at := range record.at {
				lags[i] = at.Sub(eveningIn2026).Seconds()
			}
			slices.Sort(lags)
			t.Logf("%d members, %d daemons: %.0f s; texts after %.0f s (median), %.0f s (the last); %d messages, %d evening texts; peak memory %d MB, resident %s",
				n, count, time.Since(began).Seconds(), lags[len(lags)/2], lags[len(lags)-1], len(record.got), evenings, peak>>20,
				resident())
			if evenings != n || len(told) != len(record.got) {
				t.Errorf("%d evening texts, %d messages under %d keys", evenings, len(record.got), len(told))
			}
		})
	}
}

// resident is the largest resident size of this process so far.
func resident() string {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return "unknown"
	}
	m := regexp.MustCompile(`VmHWM:\s*(\d+) kB`).FindSubmatch(status)
	if m == nil {
		return "unknown"
	}
	kB, _ := strconv.Atoi(string(m[1]))
	return fmt.Sprintf("%d MB", kB>>10)
}
