package daemon

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/forecast"
)

// told is what a daemon tells in the evenings while the clock shows moments, one
// after the other.
func told(t *testing.T, change func(*Settings), moments ...time.Time) []string {
	t.Helper()
	box := &recorder{}
	s := evenSettings("")
	s.People, s.Channels = s.People[:1], map[string]channel.Channel{"text": box}
	if change != nil {
		change(&s)
	}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, moments[0])
	for _, now := range moments {
		d.Step(context.Background(), now)
	}
	var out []string
	for _, m := range box.got {
		if m.Says(alerts.Evening) {
			out = append(out, m.MadeAt.In(s.Sites[0].Zone).Format("01-02 15:04"))
		}
	}
	return out
}

// span are the moments from one to another in steps.
func span(from, to time.Time, step time.Duration) (out []time.Time) {
	for at := from; at.Before(to); at = at.Add(step) {
		out = append(out, at)
	}
	return out
}

func TestClocksThatJump(t *testing.T) {
	zone := newYork(t)
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, zone) }
	five := 5 * time.Minute
	join := func(parts ...[]time.Time) (all []time.Time) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	for name, c := range map[string]struct {
		moments []time.Time
		want    string
	}{
		"set back an hour after the text": {join(span(at(10, 17, 0), at(10, 18, 45), five),
			span(at(10, 17, 45), at(10, 20, 0), five)), "03-10 18:30"},
		"set forward an hour before the text": {join(span(at(10, 17, 0), at(10, 18, 0), five),
			span(at(10, 19, 0), at(10, 20, 0), five)), "03-10 19:00"},
		"set forward a day and back again": {join(span(at(10, 11, 0), at(10, 12, 0), five),
			span(at(11, 12, 0), at(11, 12, 30), five), span(at(10, 12, 10), at(10, 20, 0), five),
			span(at(10, 20, 0), at(11, 20, 0), time.Hour)), "03-10 18:30, 03-11 19:00"},
		"asleep for two days": {join(span(at(10, 11, 0), at(10, 12, 0), five),
			span(at(12, 12, 0), at(12, 19, 0), five)), "03-12 18:30"},
		"asleep over the evening": {join(span(at(10, 11, 0), at(10, 12, 0), five),
			span(at(10, 21, 0), at(10, 23, 0), five)), "03-10 21:00"},
		"asleep until the night": {join(span(at(10, 11, 0), at(10, 12, 0), five), span(at(11, 1, 0), at(11, 3, 0), five)), ""},
		"back by a year, and right again": {join(span(at(10, 18, 0), at(10, 18, 20), five),
			[]time.Time{at(10, 18, 20).AddDate(-1, 0, 0)}, span(at(10, 18, 25), at(10, 19, 0), five)), "03-10 18:30"},
	} {
		t.Run(name, func(t *testing.T) {
			// In winter of the year before nothing is told by the clock that is wrong: it
			// shows 18:20.
			if got := strings.Join(told(t, nil, c.moments...), ", "); got != c.want {
				t.Errorf("told at %s, want %s", got, c.want)
			}
		})
	}
}

// Midnight, the leap day, New Year and both changes of the clocks: one text for each
// local date.
func TestDatesOfAllKinds(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	zone := newYork(t)
	for name, c := range map[string]struct {
		from time.Time
		at   time.Duration
		days int
	}{
		"leap day": {time.Date(2028, 2, 27, 12, 0, 0, 0, zone), 18*time.Hour + 30*time.Minute, 4},
		"New Year": {time.Date(2026, 12, 30, 12, 0, 0, 0, zone), 18*time.Hour + 30*time.Minute, 4},
		"spring":   {time.Date(2026, 3, 6, 12, 0, 0, 0, zone), 2*time.Hour + 30*time.Minute, 4},
		"autumn":   {time.Date(2026, 10, 30, 12, 0, 0, 0, zone), 1*time.Hour + 30*time.Minute, 4},
		"midnight": {time.Date(2026, 3, 9, 12, 0, 0, 0, zone), 23*time.Hour + 59*time.Minute, 3},
	} {
		t.Run(name, func(t *testing.T) {
			got := told(t, func(s *Settings) {
				s.EveningAt = c.at
				s.Sites[0].Groups[0].Tapped = c.from.AddDate(0, 0, -10) // else nothing is told in winter
			}, span(c.from, c.from.AddDate(0, 0, c.days), 10*time.Minute)...)
			dates := map[string]int{}
			for _, g := range got {
				dates[g]++
			}
			// A clock that skips the hour of the text has no such moment on that day.
			want := c.days
			if name == "spring" {
				want--
			}
			if len(got) != want && len(got) != c.days || len(dates) != len(got) {
				t.Errorf("told at %v", got)
			}
		})
	}
}

// A text that is late beyond midnight would speak of another tomorrow: a few
// minutes late it speaks of the evening's own, later it is left out.
func TestLateBeyondMidnight(t *testing.T) {
	zone := newYork(t)
	for late, want := range map[time.Duration]string{10 * time.Minute: "2026-03-10", 50 * time.Minute: ""} {
		box := &recorder{}
		s := evenSettings("")
		s.People, s.Channels, s.EveningAt = s.People[:1], map[string]channel.Channel{"text": box}, 23*time.Hour+55*time.Minute
		evening := time.Date(2026, 3, 10, 23, 55, 0, 0, zone)
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, evening.Add(-time.Hour))
		d.Step(context.Background(), evening.Add(-time.Minute))
		d.Step(context.Background(), evening.Add(late))
		got := ""
		if box.evenings() > 0 {
			decision, _, found, err := d.Ledger.Memory(context.Background()).Last("bush", alerts.Evening, "")
			if err != nil || !found {
				t.Fatal(found, err)
			}
			got = strings.TrimPrefix(decision.Key, "evening:")
		}
		if got != want {
			t.Errorf("%s late: a text about %q, want %q", late, got, want)
		}
	}
}

// Two bushes on either side of a zone's edge are each told at their own half past
// six.
func TestZonesEdge(t *testing.T) {
	box := &recorder{}
	s := evenSettings("")
	other := s.Sites[0]
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	other.ID, other.Zone = "west", chicago
	s.Sites = []forecast.Site{s.Sites[0], other}
	s.People, s.Channels = s.People[:1], map[string]channel.Channel{"text": box}
	from := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, from)
	for _, now := range span(from, from.Add(14*time.Hour), 5*time.Minute) {
		d.Step(context.Background(), now)
	}
	var got []string
	for _, m := range box.got {
		if m.Says(alerts.Evening) {
			got = append(got, m.MadeAt.UTC().Format("15:04"))
		}
	}
	if strings.Join(got, " ") != "22:30 23:30" {
		t.Errorf("told at %v UTC", got)
	}
}
