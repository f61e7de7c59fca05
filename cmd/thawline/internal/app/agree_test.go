package app

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
	"thawline/forecast/secret"
	"thawline/testdata"
)

// gatewayLog takes texts and knows to which number each went.
type gatewayLog struct {
	mu   sync.Mutex
	sent map[string][]string // words by number
}

func (g *gatewayLog) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	g.mu.Lock()
	defer g.mu.Unlock()
	q := r.URL.Query()
	if text := q.Get("text"); strings.Contains(text, "/l/") || strings.Contains(text, "pails of ") { // the rest is of the weather
		g.sent[q.Get("to")] = append(g.sent[q.Get("to")], text)
	}
	w.WriteHeader(http.StatusAccepted)
}

func (g *gatewayLog) to(number string) []string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return slices.Clone(g.sent[number])
}

func (g *gatewayLog) all() (texts int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, list := range g.sent {
		texts += len(list)
	}
	return texts
}

func manyTable(n int) []byte {
	var b strings.Builder
	b.WriteString("id,name,latitude,longitude,elevation,zone,taps,collected_by,container,tapped,person,person_name,role,phone,channels\n")
	for i := range n {
		fmt.Fprintf(&b, "bush%d,Bush %d,%.4f,%.4f,420 m,America/New_York,%d,pail,9.5L,2026-03-01,keeper%d,Keeper %d,keeper,+1819%07d,text\n", i, i, 44.02+float64(i%90)/60, -73+float64(i%77)/40, 50+i%300, i, i, i)
	}
	return []byte(b.String())
}

func (s *houses) count(query string, args ...any) (n int) {
	s.t.Helper()
	if err := s.a.Archive.DB().QueryRowContext(s.t.Context(), query, args...).Scan(&n); err != nil {
		s.t.Fatal(err)
	}
	return n
}

// An association is taken in from a table, and everybody is invited. Then one is edited, one
// paused, one bush taken out and one member forgotten, while a message waits for each:
// texts, feeds, topics, queues, API and log tell the same of each. THAWLINE_MEMBERS=4000 does
// it with so many, in less than a minute.
func TestChangesToMembersAgreeEverywhere(t *testing.T) {
	n := fromEnvironment("THAWLINE_MEMBERS", 30)
	texts := &gatewayLog{sent: map[string][]string{}}
	gateway := httptest.NewServer(texts)
	t.Cleanup(gateway.Close)
	s := openHouses(t, nil, gateway.URL)
	office, ctx, now := members.Author{Name: "Office", Way: members.ByCSV}, t.Context(), testdata.Now()
	began := time.Now()
	done, err := s.a.Desk.Import(ctx, "members.csv", manyTable(n), members.InviteByText, office, now)
	if err != nil || done.Added != 2*n || len(done.Invited) != n || len(done.LeftOut) > 0 {
		t.Fatalf("added %d, invited %d, left out %v, %v", done.Added, len(done.Invited), done.LeftOut, err)
	}
	imported := time.Since(began)
	for i := 6; i < n; i++ { // looked at lately: their turn comes later
		if _, err := s.a.Archive.DB().ExecContext(ctx,
			`INSERT INTO outlook (site, made_at, issued_at, document) VALUES (?1, ?2, ?2, ?3)`, fmt.Sprintf("bush%d", i),
			testdata.Now().Add(-time.Minute).UTC().Format("2006-01-02T15:04:05.000Z"), []byte{}); err != nil {
			t.Fatal(err)
		}
	}
	s.settle(now)
	if got := texts.all(); got != n {
		t.Fatalf("%d invitations of %d came", got, n)
	}
	for i := range 6 {
		id := fmt.Sprint(i)
		d := alerts.Decision{Kind: alerts.Overflow, Site: "bush" + id, Key: "overflow:" + id, Until: now.Add(9 * time.Hour)}
		if _, err := s.a.Daemon.Ledger.Record(ctx, d,
			[]ledger.Recipient{{Person: "keeper" + id, Words: "pails of " + id + " run over", NotBefore: now.Add(20 * time.Second)}},
			now); err != nil {
			t.Fatal(err)
		}
		if len(s.broker.of("bush"+id)) < 3 {
			t.Errorf("bush%d has no topics", i)
		}
	}
	feed, err := daemon.Address(ctx, s.a.Daemon.Ledger, "feed", "bush3")
	if err != nil {
		t.Fatal(err)
	}
	changed := time.Now()
	s.editPauseRemoveForget(office, now)
	s.settle(now)
	s.settle(now.Add(30 * time.Second)) // before the minute of anybody's weather
	t.Logf("%d members: taken in and invited in %v, all told after %v, four changes everywhere in %v", n,
		imported.Round(time.Millisecond), changed.Sub(began).Round(time.Millisecond), time.Since(changed).Round(time.Millisecond))
	if time.Since(began) > time.Minute {
		t.Errorf("all of it took %v", time.Since(began))
	}
	s.agree(texts, feed)
}

// settle takes what has changed and does what is due.
func (s *houses) settle(now time.Time) {
	s.t.Helper()
	began := time.Now()
	s.a.reload(s.t.Context(), false)
	took := time.Since(began)
	s.a.Daemon.Step(s.t.Context(), now)
	s.t.Logf("taken over in %v, done what is due in %v", took.Round(time.Millisecond), (time.Since(began) - took).Round(time.Millisecond))
}

func (s *houses) editPauseRemoveForget(by members.Author, now time.Time) {
	s.t.Helper()
	ctx, desk := s.t.Context(), s.a.Desk
	person, err := desk.One(ctx, config.Member, "keeper1")
	if err != nil {
		s.t.Fatal(err)
	}
	person.Phone = secret.New("+18025550199")
	bush, err := desk.One(ctx, config.Bush, "bush1")
	if err != nil {
		s.t.Fatal(err)
	}
	members.Set(bush.Values, "name", "Renamed")
	if _, changed, err := desk.Save(ctx, []members.Kept{person, bush}, by, now); err != nil || changed != 2 {
		s.t.Fatal(changed, err)
	}
	if _, err := desk.Pause(ctx, "keeper2", "5 days", by, now); err != nil {
		s.t.Fatal(err)
	}
	if err := desk.Remove(ctx, config.Bush, "bush3", by, now); err != nil {
		s.t.Fatal(err)
	}
	if _, err := desk.ForgetAll(ctx, "keeper4", by, now); err != nil {
		s.t.Fatal(err)
	}
}

// agree holds everything that tells of members against what was done to them.
func (s *houses) agree(texts *gatewayLog, feedOfGone string) {
	s.t.Helper()
	ctx := s.t.Context()
	for number, want := range map[string]int{"+18025550199": 1, "+18190000001": 1, "+18190000002": 1, "+18190000003": 1,
		"+18190000004": 1, "+18190000005": 2, "+18190000006": 1} {
		if got := texts.to(number); len(got) != want {
			s.t.Errorf("%s got %d texts, want %d: %q", number, len(got), want, got)
		}
	}
	for query, want := range map[string]int{
		`SELECT COUNT(*) FROM engine_job WHERE queue LIKE 'outbox%'`: 0,
		`SELECT COUNT(*) FROM delivery WHERE state = 'waiting'`:      0,
		`SELECT COUNT(*) FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE v.state = 'expired' AND v.words LIKE 'pails of%' AND d.site IN ('bush2','bush3')`: 2,
		`SELECT COUNT(*) FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE d.site = 'bush4'`:                                                                 0,
	} {
		if got := s.count(query); got != want {
			s.t.Errorf("%s: %d, want %d", query, got, want)
		}
	}
	heard, stop := context.WithCancel(ctx)
	var wait sync.WaitGroup
	wait.Go(func() { s.a.Daemon.Listen(heard, testdata.Now) })
	for began := time.Now(); len(s.broker.of("bush3"))+len(s.broker.of("bush4")) > 0 && time.Since(began) < 20*time.Second; {
		time.Sleep(5 * time.Millisecond)
	}
	stop()
	wait.Wait()
	for site, want := range map[string]bool{"bush0": true, "bush1": true, "bush2": true, "bush3": false, "bush4": false, "bush5": true} {
		if got := len(s.broker.of(site)) > 0; got != want {
			s.t.Errorf("topics of %s are there: %v, want %v", site, got, want)
		}
	}
	if kept := s.broker.of("bush1"); !strings.Contains(kept["outlook"], `"name":"Renamed"`) ||
		strings.Contains(fmt.Sprint(kept), "Bush 1") {
		s.t.Error("topics of the renamed bush have its old name")
	}
	s.feedsAgree(feedOfGone)
	s.logAgrees()
}

func (s *houses) feedsAgree(feedOfGone string) {
	s.t.Helper()
	for site, want := range map[string]int{"bush1": http.StatusOK, "bush2": http.StatusOK, "bush3": http.StatusNotFound,
		"bush4": http.StatusNotFound} {
		key, err := daemon.Address(s.t.Context(), s.a.Daemon.Ledger, "feed", site)
		if err != nil {
			s.t.Fatal(err)
		}
		for _, path := range []string{"calendar.ics", "news.atom"} {
			w := s.send("GET", "/f/"+key+"/"+path, nil, nil)
			if w.Code != want || site == "bush1" && !strings.Contains(w.Body.String(), "Renamed") {
				s.t.Errorf("%s of %s: %d, want %d", path, site, w.Code, want)
			}
		}
	}
	if w := s.send("GET", "/f/"+feedOfGone+"/bulletin.txt", nil, nil); w.Code != http.StatusNotFound {
		s.t.Errorf("the feed of a bush that is gone answers %d", w.Code)
	}
	header := s.letIn("office", "Office")
	list := s.send("GET", "/api/v1/sites", header, nil).Body.String()
	for name, want := range map[string]bool{`"Renamed"`: true, `"Bush 1"`: false, `"Bush 2"`: true, `"Bush 3"`: false, `"Bush 4"`: false} {
		if strings.Contains(list, name) != want {
			s.t.Errorf("the API lists %s: %v", name, !want)
		}
	}
	for path, want := range map[string]int{"/site/bush1/": 200, "/site/bush3/": 404, "/site/bush4/": 404,
		"/desk/members/person/keeper4": 404, "/desk/members/person/keeper2": 200} {
		if got := s.send("GET", path, header, nil).Code; got != want {
			s.t.Errorf("%s: %d, want %d", path, got, want)
		}
	}
}

func (s *houses) logAgrees() {
	s.t.Helper()
	for of, want := range map[string]string{"person keeper1": "changed invited added", "bush bush1": "changed added",
		"person keeper2": "changed invited added", "bush bush3": "removed added", "person keeper4": "forgotten",
		"bush bush4": "forgotten", "person keeper5": "invited added"} {
		kind, id, _ := strings.Cut(of, " ")
		log, err := s.a.Desk.Log(s.t.Context(), kind, id, 10)
		if err != nil {
			s.t.Fatal(err)
		}
		var got []string
		for i := range log {
			got = append(got, log[i].What)
			if log[i].By != "Office" || log[i].Way != members.ByCSV {
				s.t.Errorf("%s %s by %s, %s", of, log[i].What, log[i].By, log[i].Way)
			}
		}
		if strings.Join(got, " ") != want {
			s.t.Errorf("the log of %s: %v, want %s", of, got, want)
		}
		if of == "bush bush1" && (log[0].Said != `{"name":"Bush 1"}` || log[0].Says != `{"name":"Renamed"}`) {
			s.t.Errorf("before %s, after %s", log[0].Said, log[0].Says)
		}
	}
}

// What it takes until a change to one of many members counts, and how much of it is reading
// what the database has.
func BenchmarkOneChangeOfMany(b *testing.B) {
	n := fromEnvironment("THAWLINE_MEMBERS", 4000)
	s := openHouses(b, nil, "http://127.0.0.1:1")
	ctx, now, office := b.Context(), testdata.Now(), members.Author{Name: "Office", Way: members.ByAPI}
	if _, err := s.a.Desk.Import(ctx, "members.csv", manyTable(n), "", office, now); err != nil {
		b.Fatal(err)
	}
	s.a.reload(ctx, false)
	change := func(i int) {
		k, err := s.a.Desk.One(ctx, config.Member, "keeper1")
		if err == nil {
			members.Set(k.Values, "name", fmt.Sprint("Keeper ", i))
			_, _, err = s.a.Desk.Save(ctx, []members.Kept{k}, office, now)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	for name, do := range map[string]func(){"saved": func() {},
		"read":     func() { _, _, _ = s.a.Desk.Described(ctx) },
		"joined":   func() { _, _ = s.a.joined(ctx, s.a.baseNow()) },
		"reloaded": func() { s.a.reload(ctx, false) }} {
		b.Run(name, func(b *testing.B) {
			for i := range b.N {
				if name != "saved" {
					b.StopTimer()
				}
				change(i)
				b.StartTimer()
				do()
			}
		})
	}
}
