package web_test

import (
	"fmt"
	"math"
	"slices"
	"syscall"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/demo"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// withSeasons is the demonstration with so many seasons of weather and records: three are
// there, and those before repeat them.
func withSeasons(b *testing.B, seasons int) *pages {
	p := demoPages(b, nil)
	site := p.h.Daemon.Sites()[0]
	visits, err := demo.Visits(&site)
	if err != nil {
		b.Fatal(err)
	}
	for back := 1; back <= seasons-3; back++ {
		hours, err := p.h.Archive.Hours(b.Context(), app.PlaceKey(&site), time.Date(2023, 12, 1, 0, 0, 0, 0, time.UTC),
			time.Date(2024, 6, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			b.Fatal(err)
		}
		moved := weather.NewSeries(time.Date(2023-back-1, 12, 1, 0, 0, 0, 0, time.UTC), hours.Hours())
		for _, v := range []weather.Variable{weather.TemperatureC, weather.ShortwaveWM2} {
			copy(moved.Col(v), hours.Col(v))
		}
		if err := p.h.Archive.PutHours(b.Context(), app.PlaceKey(&site), &moved); err != nil {
			b.Fatal(err)
		}
		var old []records.Visit
		for _, v := range visits {
			if v.CollectedAt.Year() == 2024 {
				v.Site, v.CollectedAt = site.ID, v.CollectedAt.AddDate(-back-1, 0, 0)
				old = append(old, v)
			}
		}
		if _, err := p.h.Archive.PutVisits(b.Context(), old, "Odell", testdata.Now()); err != nil {
			b.Fatal(err)
		}
	}
	return p
}

// BenchmarkPages times pages on the demonstration with ten and with thirty seasons of
// records: the first look after a start, and those after it. The daemon rests meanwhile.
func BenchmarkPages(b *testing.B) {
	for _, seasons := range []int{10, 30} {
		p := withSeasons(b, seasons)
		for _, at := range []string{"", "/season", "/season?season=2019", "/flow", "/flow?season=2019", "/records", "/records?season=2019",
			"/skill", "/review", "/rounds", "/boil", "/pan", "/sugar", "/school", "/class", "/wall", "/more", "/messages"} {
			look := func(b *testing.B, between func()) {
				var times []float64
				p.must(200, "GET", "/site/kettle"+at, nil)
				worked := processorMs()
				for b.Loop() {
					between()
					began := time.Now()
					if w := p.ask("GET", "/site/kettle"+at, nil, "Accept-Encoding", "gzip"); w.Code != 200 {
						b.Fatal(w.Code)
					}
					times = append(times, time.Since(began).Seconds()*1000)
				}
				slices.Sort(times)
				b.ReportMetric(times[len(times)/2], "median-ms")
				b.ReportMetric((processorMs()-worked)/float64(len(times)), "processor-ms") // other work slows clocks
			}
			name := fmt.Sprintf("seasons=%d/site%s", seasons, at)
			b.Run(name+"/later", func(b *testing.B) { look(b, func() {}) })
			b.Run(name+"/first", func(b *testing.B) { look(b, func() { p.h.Pages.ForgetSeasons() }) })
		}
	}
}

// processorMs is the processor's time of this program so far.
func processorMs() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return math.NaN()
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e6
}
