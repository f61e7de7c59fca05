package daemon

import (
	"context"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/forecast/weather"
)

// seasons is weather through a year.
type seasons struct{}

func (seasons) Ask(_ context.Context, _ *forecast.Site, now time.Time) (forecast.Inputs, error) {
	s := weather.NewSeries(now.AddDate(0, 0, -14), 30*24)
	for i := range s.Hours() {
		at := s.Time(i)
		year := 7 - 15*math.Cos(2*math.Pi*float64(at.YearDay()-20)/365)
		s.Col(weather.TemperatureC)[i] = year - 7*math.Cos(2*math.Pi*(float64(at.Hour())-8)/24) + 3*math.Sin(float64(at.YearDay()))
		s.Col(weather.WindSpeedMS)[i] = 3 + 2*math.Sin(float64(i)/9)
		s.Col(weather.SurfacePressureHPa)[i] = 975
	}
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "seasons", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}}, nil
}

// counted is a channel that only counts.
type counted struct{ n atomic.Int64 }

func (c *counted) Send(context.Context, channel.Message) (string, error) {
	c.n.Add(1)
	return "counted", nil
}

// use is what a process holds.
type use struct {
	heap          uint64
	routines, fds int
	disk          int64
}

func used(t *testing.T, d *Daemon) use {
	t.Helper()
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	u := use{heap: m.HeapAlloc, routines: runtime.NumGoroutine()}
	if list, err := os.ReadDir("/proc/self/fd"); err == nil {
		u.fds = len(list)
	}
	var pages, free, size int64
	for pragma, into := range map[string]*int64{"page_count": &pages, "freelist_count": &free, "page_size": &size} {
		if err := d.Archive.DB().QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(into); err != nil {
			t.Fatal(err)
		}
	}
	u.disk = (pages - free) * size
	return u
}

// A year on a fast clock, with people who look at it: memory, goroutines and file
// handles stay as they are after the first weeks, and the disk grows by what is
// kept. Without THAWLINE_YEAR it is five weeks of spring.
func TestYear(t *testing.T) {
	if testing.Short() {
		t.Skip("weeks on a fast clock are left out")
	}
	begin, weeks := time.Date(2026, 2, 20, 12, 0, 0, 0, time.UTC), 5
	if os.Getenv("THAWLINE_YEAR") != "" {
		weeks = 53
	}
	box := &counted{}
	s := evenSettings("")
	s.Asker, s.Channels = seasons{}, map[string]channel.Channel{"text": box}
	second := s.Sites[0]
	second.ID, second.Name = "upper", "Upper"
	s.Sites = append(s.Sites, second)
	d := started(t, filepath.Join(t.TempDir(), "year.db"), s, begin)
	clock := begin
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return clock }))
	defer server.Close()
	look := func() {
		for _, page := range []string{"/metrics", "/healthz", "/readyz"} {
			answer, err := http.Get(server.URL + page)
			if err != nil {
				t.Fatal(err)
			}
			_, _ = io.Copy(io.Discard, answer.Body)
			_ = answer.Body.Close()
		}
		for _, site := range s.Sites {
			if d.Outlook(context.Background(), site.ID) == nil {
				t.Errorf("%s: no outlook of %s", clock, site.ID)
			}
		}
	}
	var first, last use
	for week := range weeks {
		through(d, clock, clock.AddDate(0, 0, 7))
		clock = clock.AddDate(0, 0, 7)
		look()
		last = used(t, d)
		if week == 2 {
			first = last
		}
		if week%8 == 2 || week == weeks-1 {
			t.Logf("week %2d: heap %.1f MB, %d goroutines, %d file handles, %.2f MB on disk, %d messages", week+1,
				float64(last.heap)/1e6, last.routines, last.fds, float64(last.disk)/1e6, box.n.Load())
		}
	}
	if last.routines > first.routines+3 || last.fds > first.fds+3 {
		t.Errorf("%d goroutines and %d file handles became %d and %d", first.routines, first.fds, last.routines, last.fds)
	}
	if last.heap > first.heap+first.heap/4+4<<20 {
		t.Errorf("the heap grew from %d to %d kB", first.heap>>10, last.heap>>10)
	}
	if perWeek := float64(last.disk-first.disk) / float64(weeks-3) / 2; perWeek > 70_000 {
		t.Errorf("%.0f bytes a site and week on disk", perWeek)
	} else {
		t.Logf("%.0f bytes a site and week on disk", perWeek)
	}
}
