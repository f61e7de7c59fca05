package daemon

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// A visit to a group silences what waits to be said of it, to everybody: what quiet hours
// hold, what goes with another message, and what nobody has answered. What is said of
// another group, of another bush's group of that name and of tomorrow goes out all the
// same, and so does everything after an old visit that is only written down now, or after
// the visit is taken back.
func TestAVisitSilencesItsGroup(t *testing.T) {
	const evening, lane, passedOn, pond = "Sap runs tomorrow.", "Lane runs over.", "ann has not answered: Lane runs over.",
		"Pond's ridge runs over."
	ridges := []string{"Ridge runs over.", "Ridge must be boiled.", "Ridge may burst.", "ann has not answered: Ridge runs over."}
	for name, c := range map[string]struct {
		visited time.Duration // from the warning
		undone  bool
		silent  bool
	}{
		"a visit":                             {visited: 20 * time.Minute, silent: true},
		"one just before":                     {visited: -10 * time.Minute, silent: true},
		"an old one that is written down now": {visited: -80 * time.Hour},
		"one that is taken back":              {visited: 20 * time.Minute, undone: true},
	} {
		t.Run(name, func(t *testing.T) {
			site, truth := kettle(t)
			site.Groups = append(site.Groups,
				forecast.Group{ID: "lane", Name: "lane", Taps: 140, Method: "tubing_gravity", TankL: 568, Tapped: site.Groups[0].Tapped})
			other := site
			other.ID, other.Name = "pond", "Pond"
			now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
			box := &recorder{}
			s := settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box})
			s.Sites, s.Link = append(s.Sites, other), "https://bush.example.org"
			person := func(id, role string) channel.Person {
				return channel.Person{ID: id, Role: role, Reader: s.People[0].Reader, Ways: []channel.Way{{Channel: "text", To: id}}}
			}
			s.People = []channel.Person{person("ann", "crew"), person("bob", "keeper"), person("cy", "crew")}
			d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
			for i := range s.Sites {
				if _, err := d.look(t.Context(), &d.settings.Sites[i], now, false); err != nil {
					t.Fatal(err)
				}
			}
			d.Remake(t.Context(), now)
			visited(t, d, now.Add(-72*time.Hour), 150) // the last that was known
			d.Remake(t.Context(), now)
			since := func(site, group string) string {
				at := d.Outlook(t.Context(), site).Work.Group(group).SinceVisit
				if at == nil {
					return ""
				}
				return at.UTC().Format(time.RFC3339)
			}
			if got := since(site.ID, "ridge"); got != "2026-03-17T21:00:00Z" {
				t.Fatal(got)
			}
			tell := func(site string, k alerts.Kind, group, words string, people map[string]time.Duration) {
				t.Helper()
				decision := alerts.Decision{Kind: k, Site: site, Key: string(k) + ":test:" + group + ":" + since(site, group),
					Urgent: k.Urgent(), Until: now.Add(30 * time.Hour), Facts: alerts.Facts{GroupID: group}}
				var to []ledger.Recipient
				for id, later := range people {
					to = append(to, ledger.Recipient{Person: id, Words: words, NotBefore: now.Add(later)})
				}
				if fresh, err := d.Ledger.Record(t.Context(), decision, to, now); err != nil || !fresh {
					t.Fatal(fresh, err)
				}
			}
			tell(site.ID, alerts.Overflow, "ridge", ridges[0], map[string]time.Duration{"ann": 0, "cy": 9 * time.Hour})
			tell(site.ID, alerts.BoilBy, "ridge", ridges[1], map[string]time.Duration{"cy": 9 * time.Hour})
			tell(site.ID, alerts.HardFreeze, "ridge", ridges[2], map[string]time.Duration{"cy": 10 * time.Hour})
			tell(site.ID, alerts.Overflow, "lane", lane, map[string]time.Duration{"ann": 0, "cy": 9 * time.Hour})
			tell(site.ID, alerts.Evening, "", evening, map[string]time.Duration{"cy": 9 * time.Hour})
			tell(other.ID, alerts.Overflow, "ridge", pond, map[string]time.Duration{"cy": 9 * time.Hour})
			d.deliver(t.Context(), now)
			box.got = nil // ann has them, and does not answer
			at := now.Add(c.visited)
			visited(t, d, at, 150)
			later := now.Add(25 * time.Minute)
			d.Remake(t.Context(), later)
			if c.undone {
				if _, err := d.Archive.UndoSince(t.Context(), site.ID, now.Add(10*time.Minute), "robin", later); err != nil {
					t.Fatal(err)
				}
				d.Remake(t.Context(), later)
			}
			for range 3 { // the last, hours later, when quiet hours are over
				d.escalate(t.Context(), later)
				d.deliver(t.Context(), later)
				later = later.Add(5 * time.Hour)
			}
			d.deliver(t.Context(), later)
			want, all := []string{evening, lane, passedOn, pond}, slices.Concat(ridges, []string{evening, lane, passedOn, pond})
			if !c.silent {
				want = all
			}
			var got []string
			for _, m := range box.got {
				for _, line := range strings.Split(m.Text, "\n") {
					if slices.Contains(all, line) { // besides what the daemon finds out itself
						got = append(got, line)
					}
				}
			}
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}
