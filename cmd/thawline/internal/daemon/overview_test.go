package daemon

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/testdata/beside"
)

// association is so many bushes, each but the last with a keeper of its own, and an office
// that names none.
func association(n int, record channel.Channel, office ...func(*channel.Person)) Settings {
	s := many(n, map[string]channel.Channel{"text": record})
	desk := s.People[0]
	desk.ID, desk.Sites, desk.EachBush, desk.Ways = "office", nil, false, []channel.Way{{Channel: "text", To: "office"}}
	for _, change := range office {
		change(&desk)
	}
	s.People = []channel.Person{desk}
	for i := range n - 1 {
		p := desk
		p.ID, p.Sites, p.EachBush = fmt.Sprint("member ", i), []string{s.Sites[i].ID}, false
		p.Ways = []channel.Way{{Channel: "text", To: p.ID}}
		s.People = append(s.People, p)
	}
	return s
}

// saidTo are the kinds that each person got, in order.
func saidTo(record *recorder) map[string]string {
	out := map[string]string{}
	for i := range record.got {
		for _, k := range record.got[i].Kinds {
			out[record.got[i].To] = strings.TrimSpace(out[record.got[i].To] + " " + string(k))
		}
	}
	return out
}

// An office with more bushes than a handful gets one message about all of them, once, from
// whichever daemon, and no bush's own; who belongs to a bush gets that bush's, and no message
// about all. With a handful, or where they ask for it, the office gets each bush's.
func TestOfficeHearsOfAllBushesAtOnce(t *testing.T) {
	for name, c := range map[string]struct {
		bushes  int
		office  func(*channel.Person)
		all     int // messages about all bushes to the office
		evening int // evening texts to it
	}{
		"seven":               {7, func(*channel.Person) {}, 1, 0},
		"a handful":           {5, func(*channel.Person) {}, 0, 5},
		"asked for each":      {7, func(p *channel.Person) { p.EachBush = true }, 0, 7},
		"named, a handful":    {7, func(p *channel.Person) { p.Sites = []string{"bush-00", "bush-06"} }, 0, 2},
		"in French, who lead": {7, func(p *channel.Person) { p.Reader.Language = "fr" }, 1, 0},
	} {
		where := beside.Where(t, filepath.Join(t.TempDir(), "shared.db"))
		record := &recorder{}
		s := association(c.bushes, record, c.office)
		one, other := sharing(t, where, "one", s, eveningIn2026.Add(-time.Minute)), sharing(t, where, "other", s, eveningIn2026.Add(-time.Minute))
		for now := eveningIn2026.Add(-time.Minute); now.Before(eveningIn2026.Add(time.Hour)); now = now.Add(5 * time.Minute) {
			one.Step(t.Context(), now)
			other.Step(t.Context(), now)
		}
		all, evenings, text := 0, 0, ""
		for i := range record.got {
			m := &record.got[i]
			if m.Says(alerts.Overview) {
				all, text = all+1, m.Text
			}
			if m.To == "office" && m.Says(alerts.Evening) {
				evenings++
			}
			if m.To != "office" && (m.Says(alerts.Overview) || !m.Says(alerts.Evening)) {
				t.Errorf("%s: %s got %v: %s", name, m.To, m.Kinds, m.Text)
			}
		}
		said := saidTo(record)
		if all != c.all || evenings != c.evening || c.all > 0 && said["office"] != "overview" || !strings.Contains(said["member 1"], "evening") {
			t.Errorf("%s: %d about all, %d evening texts; %v", name, all, evenings, said)
		}
		if c.all > 0 && !strings.Contains(text, "7") {
			t.Errorf("%s: %s", name, text)
		}
	}
}

// A bush that has no weather does not hold the others back for good, and is counted; out of
// season, with nothing to come, the office is left alone.
func TestOverviewWaitsAndIsQuiet(t *testing.T) {
	record := &recorder{}
	d := sharing(t, filepath.Join(t.TempDir(), "x.db"), "a", association(7, record), eveningIn2026.Add(-time.Minute))
	d.mu.Lock()
	asker := d.settings.Asker
	d.settings.Asker = without{asker, "bush-03"}
	d.mu.Unlock()
	for now := eveningIn2026; now.Before(eveningIn2026.Add(40 * time.Minute)); now = now.Add(time.Minute) {
		d.Step(t.Context(), now)
	}
	if said := saidTo(record); strings.Contains(said["office"], "overview") {
		t.Errorf("told before the evening of each bush is done: %v", said)
	}
	for now := eveningIn2026.Add(40 * time.Minute); now.Before(eveningIn2026.Add(50 * time.Minute)); now = now.Add(time.Minute) {
		d.Step(t.Context(), now)
	}
	if said := saidTo(record); said["office"] != "overview" {
		t.Errorf("%v", said)
	}
	for i := range record.got { // a bush that never had weather is one of those in season
		if m := &record.got[i]; m.To == "office" && (!strings.Contains(m.Text, "of 7 bushes") || !strings.Contains(m.Text, "No fresh forecast for one: Bush 03")) {
			t.Error(m.Text)
		}
	}
	record = &recorder{}
	summer := time.Date(2026, 7, 20, 22, 30, 0, 0, time.UTC)
	d = sharing(t, filepath.Join(t.TempDir(), "y.db"), "a", association(7, record), summer.Add(-time.Minute))
	for now := summer; now.Before(summer.Add(time.Hour)); now = now.Add(5 * time.Minute) {
		d.Step(t.Context(), now)
	}
	if said := saidTo(record); said["office"] != "" {
		t.Errorf("in July: %v", said)
	}
}

// What can't wait for the evening goes to a bush's own people, and to the office only where it
// has none; so does what nobody answered. Nothing else of a single bush goes there.
func TestUrgentOfOneBushGoesToItsOwnPeople(t *testing.T) {
	now := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		site, to string
		kind     alerts.Kind
	}{
		{"bush-00", "member 0", alerts.Overflow}, {"bush-06", "office", alerts.Overflow},
		{"bush-00", "member 0", alerts.ClassVisit}, {"bush-06", "office", alerts.ClassVisit},
		{"bush-00", "member 0", alerts.BoilBy}, {"bush-06", "", alerts.BoilBy}, {"bush-06", "", alerts.StaleFeed},
	} {
		record := &recorder{}
		d := sharing(t, filepath.Join(t.TempDir(), "x.db"), "a", association(7, record), now)
		decision := alerts.Decision{Kind: c.kind, Site: c.site, Key: string(c.kind) + ":1", Until: now.Add(6 * time.Hour),
			Urgent: c.kind.Urgent(), Facts: alerts.Facts{At: now.Add(3 * time.Hour)}}
		if err := d.record(t.Context(), d.sites[c.site], decision, now, func(*message.Words) string { return "Go." }); err != nil {
			t.Fatal(err)
		}
		for later := now; later.Before(now.Add(5 * time.Hour)); later = later.Add(5 * time.Minute) {
			d.escalate(t.Context(), later)
			d.deliver(t.Context(), later)
		}
		got := ""
		for i := range record.got {
			got += record.got[i].To
		}
		if got != c.to {
			t.Errorf("%s of %s went to %q, want %q", c.kind, c.site, got, c.to)
		}
	}
}

// An urgent message of bushes where nobody gets messages, whether they said STOP, have no number or
// are nobody at all, comes to each of the office in one message that says so, an hour apart like
// those that are not answered and together with them; nothing goes to who said STOP, and a bush
// of which one person hears is none of them. Who asked for each bush's messages gets each.
func TestOfficeHearsOfBushesWithNobodyToTellAtOnce(t *testing.T) {
	now := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	for _, each := range []bool{false, true} {
		record, where := &recorder{}, beside.Where(t, filepath.Join(t.TempDir(), "x.db"))
		s := association(30, record, func(p *channel.Person) { p.EachBush = each })
		second := s.People[0]
		second.ID, second.Reader.Language, second.Ways = "bureau", "fr", []channel.Way{{Channel: "text", To: "bureau"}}
		crew := s.People[1+2] // with member 2, who said STOP
		crew.ID, crew.Role, crew.EachBush, crew.Ways = "crew", channel.Crew, false, []channel.Way{{Channel: "text", To: "crew"}}
		s.People = append(s.People, second, crew)
		s.People[1+1].Ways = nil
		s.People[1+3].Ways = []channel.Way{{Channel: "text"}} // no number
		s.Link = "https://maple.example.org"
		d := sharing(t, where, "one", s, now)
		for _, person := range []string{"member 0", "member 2"} {
			if err := d.Ledger.SetStopped(t.Context(), person, true, now.Add(-time.Hour)); err != nil {
				t.Fatal(err)
			}
		}
		// 0 said STOP, 1 has no channel, 2 said STOP beside a crew that hears, 3 has no number, 4 does
		// not answer, 29 has nobody.
		for _, i := range []int{0, 1, 2, 3, 4, 29} {
			site := d.sites[fmt.Sprintf("bush-%02d", i)]
			decision := alerts.Decision{Kind: alerts.Overflow, Site: site.ID, Key: "overflow:1", Until: now.Add(6 * time.Hour), Urgent: true,
				Facts: alerts.Facts{Group: "pails", At: now.Add(3 * time.Hour)}}
			if err := d.record(t.Context(), site, decision, now, func(*message.Words) string { return site.Name + ": go by 3 pm." }); err != nil {
				t.Fatal(err)
			}
		}
		for later := now; later.Before(now.Add(5 * time.Hour)); later = later.Add(5 * time.Minute) {
			d.escalate(t.Context(), later)
			d.deliver(t.Context(), later)
		}
		got := map[string][]string{}
		for i := range record.got {
			m := &record.got[i]
			got[m.To] = append(got[m.To], m.Texted)
		}
		for _, who := range []string{"", "member 0", "member 1", "member 2", "member 3"} {
			if len(got[who]) > 0 {
				t.Errorf("each %v: %q got %q", each, who, got[who])
			}
		}
		if len(got["crew"]) != 1 || len(got["member 4"]) != 1 {
			t.Errorf("each %v: crew %q, member %q", each, got["crew"], got["member 4"])
		}
		if each {
			if len(got["office"]) != 6 {
				t.Errorf("asked for each, and got %q", got["office"])
			}
			continue
		}
		en, fr := got["office"], got["bureau"]
		if len(en) != 2 || len(fr) != 2 {
			t.Fatalf("%q; %q", en, fr)
		}
		if want := "4 bushes have urgent work and nobody who gets messages: Bush 00, Bush 01, Bush 03, Bush 29. The list is on the Desk page."; en[0] != want {
			t.Errorf("got  %s\nwant %s", en[0], want)
		}
		if !strings.HasPrefix(fr[0], "Urgent dans 4 érablières") {
			t.Error(fr[0])
		}
		if want := "2 bushes have not answered urgent messages: Bush 02, Bush 04."; !strings.HasPrefix(en[1], want) {
			t.Errorf("got  %s\nwant %s", en[1], want)
		}
	}
}

// Pages and programs list thousands of bushes as the settings do, whatever order their work is done
// in.
func TestBushesAreListedAsTheSettingsDo(t *testing.T) {
	s := association(Many+1, &recorder{})
	for i := range s.Sites {
		s.Sites[i].Place.LatitudeDeg += float64(i*7%11) / 2
	}
	d := sharing(t, filepath.Join(t.TempDir(), "x.db"), "a", s, eveningIn2026)
	got := d.Sites()
	for i := range s.Sites {
		if got[i].ID != s.Sites[i].ID {
			t.Fatalf("%s is in the place of %s", got[i].ID, s.Sites[i].ID)
		}
	}
	if slices.EqualFunc(d.settings.Sites, got, func(a, b forecast.Site) bool { return a.ID == b.ID }) {
		t.Error("the work is not done in the order of cells: nothing was tested")
	}
}

// without is weather for every site but one.
type without struct {
	Asker
	site string
}

func (w without) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	if site.ID == w.site {
		return forecast.Inputs{}, errors.New("no weather here")
	}
	return w.Asker.Ask(ctx, site, now)
}

// Where an urgent message reaches neither the crew nor the bush's own keeper, the office hears
// of it; where the keeper was reached, or the office too is out of reach, nothing is told again.
func TestOfficeHearsWhereNobodyIsReached(t *testing.T) {
	now := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		dead   []string
		office int
		tries  int // messages that were tried to whoever is dead, at most
	}{
		{"crew and keeper", []string{"crew", "member 0"}, 1, 2},
		{"crew", []string{"crew"}, 0, 1},
		{"all", []string{"crew", "member 0", "office"}, 0, 3},
	} {
		record, where := &recorder{}, beside.Where(t, filepath.Join(t.TempDir(), "x.db"))
		tried := 0
		record.fail = func(m channel.Message) error {
			if !slices.Contains(c.dead, m.To) {
				return nil
			}
			tried++
			return &channel.Refusal{Said: "no such number", Permanent: true}
		}
		s := association(30, record)
		crew := s.People[1+0]
		crew.ID, crew.Role, crew.EachBush, crew.Ways = "crew", channel.Crew, false, []channel.Way{{Channel: "text", To: "crew"}}
		s.People, s.Link = append(s.People, crew), "https://maple.example.org"
		d := sharing(t, where, "one", s, now)
		site := d.sites["bush-00"]
		decision := alerts.Decision{Kind: alerts.Overflow, Site: site.ID, Key: "overflow:1", Until: now.Add(6 * time.Hour), Urgent: true,
			Facts: alerts.Facts{Group: "pails", At: now.Add(3 * time.Hour)}}
		to := []ledger.Recipient{{Person: "crew", Words: "Bush 00: go by 3 pm."}} // an overflow is for those who gather
		if _, err := d.Ledger.Record(t.Context(), decision, to, now); err != nil {
			t.Fatal(err)
		}
		for later := now; later.Before(now.Add(5 * time.Hour)); later = later.Add(5 * time.Minute) {
			d.escalate(t.Context(), later)
			d.deliver(t.Context(), later)
		}
		var office []string
		for i := range record.got {
			if m := &record.got[i]; m.To == "office" {
				office = append(office, m.Texted)
			}
		}
		if len(office) != c.office || tried > c.tries {
			t.Errorf("%s: the office got %q, %d were tried in vain", c.name, office, tried)
		}
		if len(office) > 0 && !strings.Contains(office[0], "go by 3 pm") {
			t.Error(office[0])
		}
	}
}

// On the day of a big run dozens of members do not answer: each of the office hears of all of
// them in one message, in a language of their own, and not again for an hour, whichever daemon
// tells it; what comes meanwhile is in the next. Nobody is told of twice, and one who is
// alone comes in full.
func TestOfficeHearsOfAllTheSilentAtOnce(t *testing.T) {
	now := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	for _, c := range []struct{ silent, most int }{{1, 1}, {40, 2}} {
		record, where := &recorder{}, beside.Where(t, filepath.Join(t.TempDir(), "x.db"))
		s := association(50, record)
		second := s.People[0]
		second.ID, second.Reader.Language, second.Ways = "bureau", "fr", []channel.Way{{Channel: "text", To: "bureau"}}
		s.People, s.Link = append(s.People, second), "https://maple.example.org"
		one, other := sharing(t, where, "one", s, now), sharing(t, where, "other", s, now)
		for i := range c.silent {
			site := one.sites[fmt.Sprintf("bush-%02d", i)]
			at := now.Add(time.Duration(i) * time.Minute)
			decision := alerts.Decision{Kind: alerts.Overflow, Site: site.ID, Key: "overflow:1", Until: at.Add(6 * time.Hour), Urgent: true,
				Facts: alerts.Facts{Group: "pails", At: at.Add(3 * time.Hour)}}
			if err := one.record(t.Context(), site, decision, at, func(*message.Words) string { return site.Name + ": go by 3 pm." }); err != nil {
				t.Fatal(err)
			}
			one.deliver(t.Context(), at)
		}
		for later := now.Add(time.Hour); later.Before(now.Add(8 * time.Hour)); later = later.Add(5 * time.Minute) {
			for _, d := range []*Daemon{one, other} {
				d.escalate(t.Context(), later)
				d.deliver(t.Context(), later)
			}
		}
		got := map[string][]string{}
		for i := range record.got {
			if m := &record.got[i]; m.Says(alerts.Escalation) {
				got[m.To] = append(got[m.To], m.Texted)
			}
		}
		if len(got) != 2 || len(got["office"]) != c.most || len(got["bureau"]) != c.most {
			t.Fatalf("%d silent: %d messages to the office, %d to the other, want %d; %v", c.silent, len(got["office"]), len(got["bureau"]),
				c.most, got)
		}
		if first := got["office"][0]; !strings.Contains(first, "go by 3 pm") {
			t.Error(first)
		}
		for i := 1; i < c.most; i++ { // the first was alone for an hour
			if en, fr := got["office"][i], got["bureau"][i]; !strings.Contains(en, "39 bushes have not answered urgent messages: Bush 01") || !strings.Contains(fr, "39 érablières") {
				t.Errorf("%s; %s", en, fr)
			}
		}
		told := 0
		for _, text := range got["office"] {
			n := 1
			_, _ = fmt.Sscanf(text, "%d bushes have not answered urgent messages", &n)
			told += n
		}
		if told != c.silent {
			t.Errorf("told of %d, want %d: %q", told, c.silent, got["office"])
		}
	}
}
