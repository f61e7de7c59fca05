package daemon

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/records"
)

// A thermometer's readings become a low of each night and a high of each day, once; what a
// person read stands before it, and what was taken back stays so.
func TestThermometerBecomesLowsAndHighs(t *testing.T) {
	zone := newYork(t)
	now := time.Date(2026, 3, 6, 12, 0, 0, 0, zone)
	s := evenSettings("")
	site := s.Sites[0].ID
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	for at := now; at.Before(now.Add(48 * time.Hour)); at = at.Add(30 * time.Minute) {
		f := 40.0
		if h := at.Hour(); h < 8 || h >= 20 {
			f = 23
		}
		if err := d.gaugeSaid(t.Context(),
			channel.Heard{Site: site, Body: fmt.Appendf(nil, `{"ts":%d,"value":%g,"unit":"F"}`, at.Unix(), f)}, at); err != nil {
			t.Fatal(err)
		}
	}
	where := &s.Sites[0]
	if _, err := d.intake().Observe(t.Context(),
		intake.Seen{Site: where, List: []records.Observation{{Kind: records.Low, TemperatureC: -7, Day: "2026-03-08"}},
			From: auth.Identity{Name: "Robin", Role: auth.Crew}}, now.Add(48*time.Hour)); err != nil {
		t.Fatal(err)
	}
	kept := func(at time.Time) (string, []string) {
		t.Helper()
		if err := d.fromThermometer(t.Context(), where, at); err != nil {
			t.Fatal(err)
		}
		stored, err := d.Archive.Observations(t.Context(), site, now.AddDate(0, 0, -1), zone)
		if err != nil {
			t.Fatal(err)
		}
		var out, ids []string
		for i := range stored {
			out = append(out, fmt.Sprintf("%s %s %.1f", stored[i].Day, stored[i].Kind, stored[i].TemperatureC))
			ids = append(ids, stored[i].ID)
		}
		return strings.Join(out, "; "), ids
	}
	want := "2026-03-07 low -5.0; 2026-03-07 high 4.4; 2026-03-08 low -7.0"
	got, ids := kept(now.Add(49 * time.Hour))
	if got != want {
		t.Fatalf("%s, want %s", got, want)
	}
	if _, err := d.Archive.RemoveObservation(t.Context(), site, ids[1], "robin", now); err != nil {
		t.Fatal(err)
	}
	if got, _ := kept(now.Add(50 * time.Hour)); got != "2026-03-07 low -5.0; 2026-03-08 low -7.0" {
		t.Errorf("taken back, yet there: %s", got)
	}
	for body, wrong := range map[string]string{`{"value":-3}`: "unit", `{"value":-3,"unit":"L"}`: "write it like", `-3`: "not a reading"} {
		if err := d.gaugeSaid(t.Context(), channel.Heard{Site: site, Body: []byte(body)}, now); err == nil ||
			!strings.Contains(err.Error(), wrong) {
			t.Errorf("%s: %v", body, err)
		}
	}
	if err := d.gaugeSaid(t.Context(), channel.Heard{Site: "nowhere", Body: []byte(`{"value":1,"unit":"C"}`)}, now); err == nil {
		t.Error("a site that is not there is heard")
	}
}
