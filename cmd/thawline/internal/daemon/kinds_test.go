package daemon

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/weather"
)

// Every kind goes where its row says: to people by their roles, into the Atom feed or
// not, and into the warnings as CAP values.
func TestEveryKindGoesWhereItsRowSays(t *testing.T) {
	d, box, server, now := evening(t)
	ctx := t.Context()
	site := &d.settings.Sites[0]
	d.settings.People[0].Role, d.settings.People[1].Role, d.settings.People[2].Role = "keeper", "crew", "viewer"
	address, err := Address(ctx, d.Ledger, "feed", site.ID)
	if err != nil {
		t.Fatal(err)
	}
	base := server.URL + "/f/" + address
	for i, p := range alerts.Profiles {
		box.got = nil
		*now = now.Add(time.Hour)
		words := fmt.Sprintf("words-of-%d.", i)
		decision := alerts.Decision{Kind: p.Kind, Site: site.ID, Key: string(p.Kind) + ":x", Until: now.Add(time.Hour),
			Urgent: p.Kind.Urgent()}
		if p.ByRole() {
			err = d.record(ctx, site, decision, *now, func(*message.Words) string { return words })
		} else {
			_, err = d.Ledger.Record(ctx, decision, []ledger.Recipient{{Person: "ann", Words: words}}, *now)
		}
		if err != nil {
			t.Fatal(err)
		}
		d.deliver(ctx, *now)
		for _, person := range d.settings.People {
			got := slices.ContainsFunc(box.got, func(m channel.Message) bool { return m.Person == person.ID && m.Text == words })
			if want := p.Kind.HeardBy(person.Role) || !p.ByRole() && person.ID == "ann"; got != want {
				t.Errorf("%s to the %s: %t, want %t", p.Kind, person.Role, got, want)
			}
		}
		if _, text := get(t, base+"/news.atom"); strings.Contains(text, words) != (p.InFeed == alerts.Published) {
			t.Errorf("%s: in the feed %t", p.Kind, p.InFeed != alerts.Published)
		}
		_, text := get(t, base+"/warning.cap")
		if !p.Warns() {
			if strings.Contains(text, words) {
				t.Errorf("%s warns: %s", p.Kind, text)
			}
			continue
		}
		for _, want := range []string{"<category>" + p.Warning.Category + "<", "<urgency>" + p.Warning.Urgency + "<",
			"<severity>" + p.Warning.Severity + "<", "<certainty>" + p.Warning.Certainty + "<", words} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %s in %s", p.Kind, want, text)
			}
		}
	}
}

// The calendar has every entry that the table names, and no other.
func TestCalendarHasWhatKindsAreShownBy(t *testing.T) {
	d, _, _, now := evening(t)
	site := &d.settings.Sites[0]
	w, err := d.Words(message.Reader{Language: "en"})
	if err != nil {
		t.Fatal(err)
	}
	tomorrow := now.In(site.Zone).AddDate(0, 0, 1)
	o := &forecast.Outlook{Days: []forecast.Day{{}, {Date: tomorrow.Format(time.DateOnly), RunProbability: 1}},
		Boil: []forecast.BoilDay{{Date: tomorrow.Format(time.DateOnly), Start: &tomorrow, End: &tomorrow}}}
	o.Work.Rounds = []forecast.CrewRound{{Start: tomorrow}}
	named := map[string]bool{}
	for _, p := range alerts.Profiles {
		if p.Entry != alerts.NoEntry {
			named[string(p.Entry)] = false
		}
	}
	for _, e := range entriesOf(site, o, w, *now) {
		found := false
		for entry := range named {
			for _, numbered := range []string{entry, entry + "1"} {
				if e.UID == feed.UID(site.ID, numbered, tomorrow.Format(time.DateOnly)) {
					named[entry], found = true, true
				}
			}
		}
		if !found {
			t.Errorf("%s is in no row", e.UID)
		}
	}
	for entry, there := range named {
		if !there {
			t.Errorf("the calendar has no entry %q", entry)
		}
	}
}

// The table's roles are those that people have.
func TestRolesOfTheTableArePeoples(t *testing.T) {
	for _, role := range []auth.Role{auth.Keeper, auth.Crew, auth.Viewer} {
		if !alerts.Evening.HeardBy(string(role)) {
			t.Errorf("the evening is not for %q", role)
		}
	}
}

// Whatever the kind: nobody is told who pauses, has stopped, has no channel, cares for another
// bush or has another role; quiet hours hold it.
func TestWhoIsNotToldOfAnyKind(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	box := &recorder{}
	s := evenSettings("")
	person := func(id string, change func(*channel.Person)) channel.Person {
		p := channel.Person{ID: id, Role: "keeper", Reader: message.Reader{Language: "en"}, Ways: []channel.Way{{Channel: "text", To: id}}}
		change(&p)
		return p
	}
	s.Channels, s.People = map[string]channel.Channel{"text": box}, []channel.Person{
		person("told", func(*channel.Person) {}),
		person("paused", func(p *channel.Person) { p.PausedUntil = now.AddDate(0, 0, 5) }),
		person("elsewhere", func(p *channel.Person) { p.Sites = []string{"another"} }),
		person("unreachable", func(p *channel.Person) { p.Ways = nil }),
		person("stranger", func(p *channel.Person) { p.Role = "stranger" }),
		person("stopped", func(*channel.Person) {}),
		person("asleep", func(p *channel.Person) { p.Quiet = channel.Quiet{From: 18 * time.Hour, To: 19 * time.Hour} }),
	}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	if err := d.Ledger.SetStopped(t.Context(), "stopped", true, now); err != nil {
		t.Fatal(err)
	}
	for _, k := range alerts.KindsWhere((*alerts.Profile).ByRole) {
		box.got = nil
		decision := alerts.Decision{Kind: k, Site: "bush", Key: string(k) + ":x", Until: now.Add(time.Hour), Urgent: k.Urgent()}
		if err := d.record(t.Context(), &s.Sites[0], decision, now, func(*message.Words) string { return "w" }); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), now)
		if got := box.said(); got != "told: w" {
			t.Errorf("%s: %q", k, got)
		}
	}
}

// "It works" is told once for each bush, after its first evening, to keepers alone; not
// where evenings were told before, nor after an evening without weather.
func TestItWorksIsToldOnce(t *testing.T) {
	begin := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		before func(d *Daemon, s *Settings)
		want   int
	}{
		"a new bush": {func(*Daemon, *Settings) {}, 2}, // ann and cy
		"an old one": {func(d *Daemon, _ *Settings) {
			decision := alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:2026-03-01", Until: begin}
			if _, err := d.Ledger.Record(t.Context(), decision, nil, begin.AddDate(0, -4, 0)); err != nil {
				t.Fatal(err)
			}
		}, 0},
		"without weather": {func(d *Daemon, s *Settings) {
			s.Asker = noService{}
			if err := d.Use(*s, begin); err != nil {
				t.Fatal(err)
			}
		}, 0},
	} {
		box := &recorder{}
		s := evenSettings("")
		s.Channels = map[string]channel.Channel{"text": box}
		s.People[1].Role = "crew"
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, begin)
		c.before(d, &s)
		through(d, begin, begin.AddDate(0, 0, 3))
		got := 0
		for _, m := range box.got {
			if m.Says(alerts.ItWorks) {
				got++
			}
			if m.Person == "bob" && m.Says(alerts.ItWorks) || m.MadeAt.After(begin.AddDate(0, 0, 1)) {
				t.Errorf("%s: %s to %s at %s", name, m.Text, m.Person, m.MadeAt)
			}
		}
		if got != c.want {
			t.Errorf("%s: told %d times, want %d", name, got, c.want)
		}
	}
}

// frost is a spell that stays below freezing, as far as forecasts see.
type frost struct{}

func (frost) Ask(_ context.Context, _ *forecast.Site, now time.Time) (forecast.Inputs, error) {
	s := weather.NewSeries(now.AddDate(0, 0, -5), 16*24)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = -9 - 4*math.Cos(2*math.Pi*(float64(s.Time(i).Hour())-8)/24)
	}
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "frost", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}}, nil
}

// Over two weeks and a half of frost, lived through hour by hour, a tapped bush hears after
// the first evening that it works, then one line a week that no run is likely and all is
// well; nothing else.
func TestSilenceIsExplained(t *testing.T) {
	begin := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	box := &recorder{}
	s := evenSettings("")
	s.Asker, s.Channels, s.People = frost{}, map[string]channel.Channel{"text": box}, s.People[:1]
	s.Sites[0].Groups[0].Tapped, s.RefreshEvery = begin.AddDate(0, 0, -3), 24*time.Hour
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, begin)
	through(d, begin, begin.AddDate(0, 0, 17))
	var last time.Time
	quiet := 0
	for i, m := range box.got {
		switch {
		case i == 0:
			if !m.Says(alerts.ItWorks) || m.MadeAt.Sub(begin) > 24*time.Hour || !strings.Contains(m.Text, "It works") {
				t.Errorf("the first message, at %s: %s", m.MadeAt, m.Text)
			}
		case m.Says(alerts.QuietWeek):
			if quiet++; !strings.Contains(m.Text, "No run likely in the coming week. All is well") ||
				m.MadeAt.Sub(last) < 7*24*time.Hour-time.Hour {
				t.Errorf("at %s, after %s: %s", m.MadeAt, last, m.Text)
			}
			last = m.MadeAt
		default:
			t.Errorf("at %s: %s", m.MadeAt, m.Text)
		}
	}
	if quiet < 2 || quiet > 3 {
		t.Errorf("%d lines in two weeks and a half", quiet)
	}
}
