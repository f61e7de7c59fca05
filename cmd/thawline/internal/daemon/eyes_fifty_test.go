package daemon

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/testdata"
)

// fifty is an association of one bush that has not looked and fifty around it, as
// testdata.Neighbours places them.
func fifty(t *testing.T, bushes []testdata.Neighbour, box *recorder) Settings {
	t.Helper()
	s := neighbourhood(t, len(bushes)+1, box) // of which the last shares nothing
	s.Sites, s.People = s.Sites[:len(bushes)], s.People[:1]
	const kmPerDegree = 111.2
	middle := s.Sites[0].Place
	for i := range s.Sites {
		place := &s.Sites[i].Place
		place.LatitudeDeg = middle.LatitudeDeg + bushes[i].NorthKM/kmPerDegree
		place.LongitudeDeg = middle.LongitudeDeg + bushes[i].EastKM/kmPerDegree/math.Cos(middle.LatitudeDeg*math.Pi/180)
	}
	return s
}

// Fifty bushes within 50 km write down within five minutes that taps drip, hours before it
// was announced: through the database, the bush in the middle that has not looked is told at
// once and once, and its outlook is made again for it once in a quarter of an hour. A tenth
// of them wrong moves it less, and no less than no report at all does; all of them wrong move
// it the other way, and nobody is told of an early run.
func TestFiftyReportsTellOfAnEarlyRun(t *testing.T) {
	if testing.Short() {
		t.Skip("lives through the morning of 51 bushes three times")
	}
	bushes := testdata.Neighbours(1)
	warmer, litres := map[string]float64{}, map[string]float64{}
	for _, c := range []struct {
		name  string
		wrong func(n *testdata.Neighbour) bool
		told  int
	}{
		{"all right", func(*testdata.Neighbour) bool { return false }, 1},
		{"a tenth wrong", func(n *testdata.Neighbour) bool { return n.Wrong }, 1},
		{"all wrong", func(*testdata.Neighbour) bool { return true }, 0},
	} {
		box := &recorder{}
		s := fifty(t, bushes, box)
		d := sharing(t, filepath.Join(t.TempDir(), "fifty.db"), "a", s, time.Date(2026, 3, 17, 18, 29, 0, 0, s.Sites[0].Zone))
		before, after, took, longest := d.morning(t, s.Sites, func(i int) bool { return c.wrong(&bushes[i]) })
		told := 0
		for i := range box.got {
			if m := &box.got[i]; m.Says(alerts.Change) {
				told++
				if !strings.Contains(m.Text, "Bushes near by show it") || strings.Contains(m.Text, "km") {
					t.Errorf("%s: %s", c.name, m.Text)
				}
			}
		}
		t.Logf("%s: %d reports in %s, the longest %s; %+.2f K ± %.2f; from %s, before from %s; %.0f L of the day, before %.0f; %d told", c.name,
			after.Eyes.Reports, took.Round(time.Millisecond), longest.Round(time.Millisecond), after.Eyes.WarmerK, after.Eyes.SDK, from(after),
			from(before), after.Days[0].VolumeL.P50, before.Days[0].VolumeL.P50, told)
		if before.Eyes.Reports != 0 || after.Eyes.Reports != testdata.NeighbourCount {
			t.Errorf("%s: %d reports, %d before any", c.name, after.Eyes.Reports, before.Eyes.Reports)
		}
		if told != c.told {
			t.Errorf("%s: %d times told of an early run", c.name, told)
		}
		warmer[c.name], litres[c.name] = after.Eyes.WarmerK, after.Days[0].VolumeL.P50
		litres["none"] = before.Days[0].VolumeL.P50
	}
	if !(warmer["all right"] > warmer["a tenth wrong"] && warmer["a tenth wrong"] > 0.5 && warmer["all wrong"] < 0) {
		t.Errorf("%v", warmer)
	}
	if !(litres["all right"] >= litres["a tenth wrong"] && litres["a tenth wrong"] > litres["none"] && litres["none"] >= litres["all wrong"]) {
		t.Errorf("%v", litres)
	}
}

func from(o *forecast.Outlook) string {
	if o.Days[0].Window == nil {
		return "never"
	}
	return o.Days[0].Window.Start.Format("15:04")
}

// morning lives from the evening before to the end of a morning on which all sites but the
// first write down whether taps drip, and gives the first one's outlooks before and after,
// and how long the reports took together and the longest of them.
func (d *Daemon) morning(t *testing.T, sites []forecast.Site, wrong func(i int) bool) (before, after *forecast.Outlook, took, longest time.Duration) {
	t.Helper()
	zone := sites[0].Zone
	step := func(now time.Time) {
		d.Step(t.Context(), now)
		d.Remake(t.Context(), now)
		d.Step(t.Context(), now.Add(time.Second)) // what was enqueued, and what it decided
	}
	evening, now := time.Date(2026, 3, 17, 18, 29, 0, 0, zone), time.Date(2026, 3, 18, 8, 30, 0, 0, zone)
	for at := evening; at.Before(evening.Add(5 * time.Minute)); at = at.Add(time.Minute) {
		step(at)
	}
	step(now)
	before = d.Outlook(t.Context(), sites[0].ID)
	remade := d.Made()
	for i := range sites[1:] {
		now = now.Add(6 * time.Second)
		kind := records.Dripping
		if wrong(1 + i) {
			kind = records.NotDripping
		}
		site, began := &sites[1+i], time.Now()
		if _, err := d.intake().Observe(t.Context(), intake.Seen{Site: site, List: []records.Observation{{Kind: kind, At: now}},
			From: auth.Identity{Name: "Robin", Role: auth.Crew}, Key: site.ID}, now); err != nil {
			t.Fatal(err)
		}
		step(now)
		one := time.Since(began)
		took, longest = took+one, max(longest, one)
	}
	// Each report remakes the outlook of its own bush, and those who have not looked theirs
	// once: the first, and whoever writes later than another.
	if made, most := d.Made()-remade, uint64(2*len(sites)); made > most {
		t.Errorf("%d outlooks within five minutes, %d at most", made, most)
	}
	for quick := now; now.Before(quick.Add(20 * time.Minute)); now = now.Add(time.Minute) {
		step(now)
	}
	return before, d.Outlook(t.Context(), sites[0].ID), took, longest
}
