package daemon

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// What was seen goes to bushes near by that share theirs, on its own day: to nobody else, not
// back to the bush itself, not tomorrow, and no longer once it is taken back or no longer
// shared.
func TestEyesOfNeighbours(t *testing.T) {
	at := time.Date(2026, 3, 14, 15, 0, 0, 0, time.UTC)
	sites := map[string]*forecast.Site{}
	for id, latitude := range map[string]float64{"here": 44, "there": 44.2, "far": 49, "mute": 44.1} {
		sites[id] = &forecast.Site{ID: id, Zone: time.UTC, Place: weather.Place{LatitudeDeg: latitude, LongitudeDeg: -72},
			Shares: forecast.Shares{Seen: id != "mute"}}
	}
	chances := make([]float64, 49)
	for i := range chances {
		chances[i] = 1
	}
	saw := func(id string, chances []float64) *archive.Sighting {
		s := sightingOf(sites[id], &forecast.Outlook{Site: id, IssuedAt: at, Seen: &forecast.Nearby{Chances: chances}})
		return &s
	}
	var e eyes
	for _, id := range []string{"here", "mute"} {
		if _, err := e.keep(saw(id, chances)); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		of   string
		at   time.Time
		want int
	}{{"there", at, 1}, {"here", at, 0}, {"far", at, 0}, {"mute", at, 0}, {"there", at.AddDate(0, 0, 1), 0}, {"there", at.Add(-time.Minute), 0}} {
		if got := e.near(sites[c.of], sites, c.at); len(got) != c.want {
			t.Errorf("%s at %s: %d, not %d", c.of, c.at, len(got), c.want)
		}
	}
	sites["here"].Shares.Seen = false
	if got := e.near(sites["there"], sites, at); len(got) != 0 {
		t.Errorf("what is not shared any more is still told: %d", len(got))
	}
	sites["here"].Shares.Seen = true
	if q, err := e.keep(saw("here", nil)); err != nil || q == nil {
		t.Fatalf("taking back writes nothing: %v", err)
	}
	if got := e.near(sites["there"], sites, at); len(got) != 0 {
		t.Errorf("what was taken back is still told: %d", len(got))
	}
}

// steady gives every place the same weather, as a forecast that does not change.
type steady struct{ course weather.Series }

func (s *steady) Ask(_ context.Context, _ *forecast.Site, now time.Time) (forecast.Inputs, error) {
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "steady", IssuedAt: now, FetchedAt: now, Course: s.course,
		ElevationM: math.NaN()}}, nil
}

// neighbourhood is an association of bushes some kilometres apart, all of whom share what
// they see but the last. On 18 March it is forecast to thaw in the afternoon only.
func neighbourhood(t *testing.T, n int, box *recorder) Settings {
	t.Helper()
	zone := newYork(t)
	course := weather.NewSeries(time.Date(2026, 3, 6, 5, 0, 0, 0, time.UTC), 24*24)
	for i := range course.Hours() {
		at := course.Time(i).In(zone)
		hour := float64(at.Hour())
		course.Col(weather.TemperatureC)[i] = 1 - 6*math.Cos(2*math.Pi*(hour-3)/24)
		if at.Day() == 18 && at.Hour() >= 7 { // hangs below freezing until the afternoon
			course.Col(weather.TemperatureC)[i] = min(-2.7+4*max(hour-13, 0), 6)
		}
		course.Col(weather.CloudCoverPct)[i] = 90
		course.Col(weather.WindSpeedMS)[i] = 3
		course.Col(weather.SurfacePressureHPa)[i] = 975
	}
	s := settings(forecast.Site{}, &steady{course}, map[string]channel.Channel{"text": box})
	s.Sites = nil
	for i := range n {
		s.Sites = append(s.Sites, forecast.Site{ID: fmt.Sprintf("bush-%02d", i), Name: fmt.Sprintf("Bush %02d", i), Zone: zone,
			TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Place:  weather.Place{LatitudeDeg: 44.6 + 0.03*float64(i%5), LongitudeDeg: -72.3 - 0.03*float64(i/5), ElevationM: 400},
			Shares: forecast.Shares{Seen: i < n-1},
			Groups: []forecast.Group{{ID: "ridge", Name: "ridge", Taps: 60, Method: volume.Pail, ContainerL: 30,
				Tapped: time.Date(2026, 3, 8, 8, 0, 0, 0, zone)}}})
	}
	p := s.People[0]
	s.People = nil
	for i := range s.Sites {
		one := p
		one.ID, one.Sites = "of "+s.Sites[i].ID, []string{s.Sites[i].ID}
		one.Ways = []channel.Way{{Channel: "text", To: s.Sites[i].ID}}
		s.People = append(s.People, one)
	}
	return s
}

// sees writes that taps drip at a bush, as a text or a page would.
func sees(t *testing.T, d *Daemon, site *forecast.Site, now time.Time) {
	t.Helper()
	_, err := d.intake().Observe(t.Context(), intake.Seen{Site: site, List: []records.Observation{{Kind: records.Dripping, At: now}},
		From: auth.Identity{Name: "Robin", Role: auth.Crew}, Key: site.ID + now.String()}, now)
	if err != nil {
		t.Fatal(err)
	}
}

// A run that begins earlier than it was announced is told by what is seen at bushes near by,
// though the forecast has not moved: by whichever of two daemons, once, to those who share
// what they see and have not seen for themselves; and fifty reports within minutes remake no
// outlook twice within a quarter of an hour.
func TestAnEarlyRunIsToldByWhatIsSeen(t *testing.T) {
	const bushes, reporters = 16, 10
	where := beside.Where(t, filepath.Join(t.TempDir(), "eyes.db"))
	box := &recorder{}
	s := neighbourhood(t, bushes, box)
	zone := s.Sites[0].Zone
	evening := time.Date(2026, 3, 17, 18, 29, 0, 0, zone)
	daemons := []*Daemon{sharing(t, where, "a", s, evening), sharing(t, where, "b", s, evening)}
	step := func(now time.Time) {
		for _, d := range daemons {
			d.Step(t.Context(), now)
			d.Remake(t.Context(), now)
			d.Step(t.Context(), now.Add(time.Second)) // what was enqueued, and what it decided
		}
	}
	for now := evening; now.Before(evening.Add(10 * time.Minute)); now = now.Add(time.Minute) {
		step(now)
	}
	count := func(k alerts.Kind) map[string]int {
		out := map[string]int{}
		for i := range box.got {
			if box.got[i].Says(k) {
				out[box.got[i].To]++
			}
		}
		return out
	}
	if told := count(alerts.Evening); len(told) != bushes {
		t.Fatalf("%d of %d were told of a run", len(told), bushes)
	}
	morning := time.Date(2026, 3, 18, 8, 30, 0, 0, zone)
	step(morning)
	before := daemons[0].Made() + daemons[1].Made()
	last := &s.Sites[reporters] // shares, and has not looked
	was := daemons[0].Outlook(t.Context(), last.ID)
	if was == nil || was.Eyes.Reports != 0 {
		t.Fatalf("%+v", was)
	}
	now := morning.Add(time.Minute)
	for i := range reporters { // one each half minute, on either daemon
		sees(t, daemons[i%2], &s.Sites[i], now)
		step(now)
		now = now.Add(30 * time.Second)
	}
	made := daemons[0].Made() + daemons[1].Made() - before
	quick := now
	for ; now.Before(quick.Add(40 * time.Minute)); now = now.Add(time.Minute) {
		step(now)
	}
	all := daemons[0].Made() + daemons[1].Made() - before
	o := daemons[1].Outlook(t.Context(), last.ID)
	t.Logf("told from %s, now from %s, by %d reports %+.1f K; %d outlooks in five minutes, %d in 45", was.Days[0].Window.Start.Format("15:04"),
		o.Days[0].Window.Start.Format("15:04"), o.Eyes.Reports, o.Eyes.WarmerK, made, all)
	if o.Eyes.Reports != reporters || o.Eyes.WarmerK < 0.5 {
		t.Errorf("%+v", o.Eyes)
	}
	// Each report remakes the outlook of its own bush, on both daemons; the bushes that have
	// not reported theirs once at a time by either.
	const own, silent = 2 * reporters, bushes - 1
	if most := uint64(own + silent); made > most {
		t.Errorf("%d outlooks within five minutes, %d at most", made, most)
	}
	changes := map[string]int{}
	for i := range box.got {
		if m := &box.got[i]; m.Says(alerts.Change) {
			changes[m.To]++
			if !strings.Contains(m.Text, "Bushes near by show it") {
				t.Errorf("%s", m.Text)
			}
			if strings.Contains(m.Text, "Bush 0") && !strings.HasPrefix(m.Text, m.Name) || strings.Contains(m.Text, "44.") {
				t.Errorf("another bush is named: %s", m.Text)
			}
		}
	}
	for i := range s.Sites {
		id, want := s.Sites[i].ID, 0
		if i >= reporters && i < bushes-1 {
			want = 1
		}
		if changes[id] > 1 || want == 1 && changes[id] != 1 || i == bushes-1 && changes[id] != 0 {
			t.Errorf("%s: %d changes told", id, changes[id])
		}
	}
	// A daemon that starts now knows what was seen, and remakes nothing for it.
	third := sharing(t, where, "c", s, now)
	third.Remake(t.Context(), now)
	third.Step(t.Context(), now)
	if got := third.eyes.near(last, third.sharing(), now); len(got) != reporters {
		t.Errorf("a daemon that starts knows of %d reports", len(got))
	}
}
