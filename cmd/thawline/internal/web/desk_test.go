package web_test

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
)

const membersKey = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="

// deskPages are pages of an association of so many invented members, none of whom shares
// a place but the first, with an outlook each.
func deskPages(t testing.TB, n int) *pages {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "thawline.yaml")
	for name, text := range map[string]string{
		"key":           membersKey,
		"office-phone":  "+18195550100",
		"thawline.yaml": "units: metric\nmembers_key_file: key\ndata_dir: .\nweather:\n  sources: [met_norway]\n  contact: a@example.org\npeople:\n  - id: office\n    role: keeper\n    phone_file: office-phone\n    channels: [text]\nchannels:\n  - id: text\n    kind: text_gateway\n    url: https://gateway.example.org/?to={to}&text={text}\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	load := func() (*config.Config, error) { return config.Load(file, nil) }
	settings, err := load()
	if err != nil {
		t.Fatal(err)
	}
	settings.DataDir = dir
	env := app.Env{Version: "test", Log: slog.New(slog.DiscardHandler), Clock: func() time.Time { return deskNow }, Frozen: true}
	a, err := app.OpenArchive(t.Context(), settings)
	if err != nil {
		t.Fatal(err)
	}
	desk, err := app.OpenDesk(settings, a, nil, nil, func() *config.Config { return settings })
	if err != nil {
		t.Fatal(err)
	}
	if _, err := desk.Import(t.Context(), "members.csv", memberTable(n), "", office, deskNow); err != nil {
		t.Fatal(err)
	}
	for i := range n {
		o := glimpseOf(i)
		if err := a.PutOutlook(t.Context(), "bush"+strconv.Itoa(i), deskNow, deskNow.Add(-2*time.Hour), o); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	h, err := app.Open(t.Context(), env, settings, load)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Close() })
	return &pages{t: t, h: h, handler: h.Handler(), network: "127.0"}
}

var (
	deskNow = time.Date(2026, time.March, 8, 22, 0, 0, 0, time.UTC)
	office  = members.Author{Name: "Office", Way: members.ByCSV}
)

// memberTable is a table of invented members from the Ottawa valley to the Gaspé.
func memberTable(n int) []byte {
	var b strings.Builder
	b.WriteString("id,name,latitude,longitude,zone,taps,collected_by,container,person,person_name,role,phone,channels,shares_place\n")
	for i := range n {
		lat, lon := 45.0537+float64(i*37%997)/997*2.1+float64(i%7)/31, -76.0413+float64(i*61%991)/991*7.3
		shares := "no"
		if i == 0 {
			shares = "yes"
		}
		fmt.Fprintf(&b, "bush%d,Érablière %d,%.4f,%.4f,America/Toronto,%d,pail,7.5 L,keeper%d,Keeper %d,keeper,+1819%07d,text,%s\n", i,
			i, lat, lon, 50+i%300, i, i, i, shares)
	}
	return []byte(b.String())
}

// glimpseOf is as much of an outlook as the desk reads.
func glimpseOf(i int) any {
	chance, class := float64(i%10)/10, "weak"
	if i%11 == 0 {
		chance, class = 0.9, "strong run"
	}
	return map[string]any{"issued_at": deskNow.Add(-2 * time.Hour),
		"days": []any{map[string]any{"date": "2026-03-09", "run_probability": chance, "class": class}}}
}

// The desk names who has not answered an urgent message, what it says and how long it is of use,
// and puts the bushes that overflow first: the office's texts lead there. Who has answered, and
// what is over, is not shown.
func TestDeskListsTheSilent(t *testing.T) {
	p := deskPages(t, 12)
	ctx := t.Context()
	ends := map[string]time.Time{"bush2": deskNow.Add(5 * time.Hour), "bush3": deskNow.Add(3 * time.Hour), "bush4": deskNow.Add(-time.Hour),
		"bush5": deskNow.Add(4 * time.Hour)}
	for site, until := range ends {
		d := alerts.Decision{Kind: alerts.Overflow, Site: site, Key: "overflow:1", Until: until, Urgent: true}
		to := []ledger.Recipient{{Person: "keeper" + site[4:], Words: "pails of " + site + " will run over"}}
		if site == "bush2" {
			to = append(to, ledger.Recipient{Person: "keeper9", Words: to[0].Words})
		}
		if _, err := p.h.Daemon.Ledger.Record(ctx, d, to, deskNow.Add(-4*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	for _, statement := range []string{"UPDATE delivery SET state = 'sent', sent_at = '2026-03-08T19:00:00.000Z'",
		"UPDATE delivery SET acked_at = '2026-03-08T19:05:00.000Z' WHERE person = 'keeper5'"} {
		if _, err := p.h.Archive.DB().ExecContext(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	just := alerts.Decision{Kind: alerts.Overflow, Site: "bush8", Key: "overflow:1", Until: deskNow.Add(3 * time.Hour), Urgent: true}
	nobody := just
	nobody.Site, nobody.Until = "bush10", deskNow.Add(6*time.Hour)
	if _, err := p.h.Daemon.Ledger.Record(ctx, just, []ledger.Recipient{{Person: "keeper8", Words: "bush8 a minute ago"}},
		deskNow.Add(-time.Minute)); err != nil {
		t.Fatal(err)
	}
	if _, err := p.h.Archive.DB().ExecContext(ctx,
		"UPDATE delivery SET state = 'sent', sent_at = '2026-03-08T21:59:00.000Z' WHERE person = 'keeper8'"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.h.Daemon.Ledger.Record(ctx, nobody, []ledger.Recipient{{Person: "keeper10", Words: "tank of bush10", Beyond: true}},
		deskNow.Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	o := glimpseOf(7).(map[string]any)
	o["work"] = map[string]any{"groups": []any{map[string]any{"group": "a", "alone_overflow_probability": 0.9, "alone_loss_l": 200,
		"alone_over_at": deskNow.Add(20 * time.Hour)}}}
	o["season"] = map[string]any{"tapped": true}
	if err := p.h.Archive.PutOutlook(ctx, "bush7", deskNow.Add(time.Minute), deskNow.Add(-2*time.Hour), o); err != nil {
		t.Fatal(err)
	}
	body := p.desk("/desk?lang=en&units=metric")
	_, silent, _ := strings.Cut(body, `<section id="silent">`)
	silent, _, _ = strings.Cut(silent, "</section>")
	first, second := strings.Index(silent, "pails of bush3"), strings.Index(silent, "pails of bush2")
	if first < 0 || second < first || strings.Contains(silent, "bush4") || strings.Contains(silent, "bush5") ||
		!strings.Contains(silent, "Keeper 3") || !strings.Contains(silent, "9 pm") || strings.Count(silent, "no answer</td>") != 2 ||
		!strings.Contains(silent, "Keeper 2, Keeper 9") || strings.Count(silent, "pails of bush2") != 1 || strings.Contains(silent, "bush8") ||
		!strings.Contains(silent, "Keeper 10</td><td>gets no messages") {
		t.Errorf("silent: %s", silent)
	}
	_, bushes, _ := strings.Cut(body, "Bushes on the map")
	at, over := strings.Index(bushes, "<tbody>"), strings.Index(bushes, "overflows Mon 9 Mar")
	if row, _, _ := strings.Cut(bushes[max(at, 0):], "</tr>"); over < 0 || !strings.Contains(row, "Érablière 7") {
		t.Errorf("what overflows does not come first: %.600s", bushes)
	}
	if !strings.Contains(silent, "until Sun 8 Mar 11:59 pm") {
		t.Error("what ends at midnight is not of the day that ends")
	}
	if french := p.desk("/desk?lang=fr"); message.Tied(french, "fr") != french || !strings.Contains(french, "Urgent et sans réponse") {
		t.Error("not in French, or a sign may stand alone at the begin of a line")
	}
}

// An office that reads French is told in French what a member was told in English, and the other way
// round; what went out stands as it was sent where both read the same and its hour is not past.
func TestDeskSaysItInTheOfficesWords(t *testing.T) {
	p := deskPages(t, 4)
	d := alerts.Decision{Kind: alerts.Overflow, Site: "bush2", Key: "overflow:1", Until: deskNow.Add(5 * time.Hour), Urgent: true,
		Facts: alerts.Facts{Group: "Pails", GroupID: "pails", Chance: 0.8, At: deskNow.Add(3 * time.Hour)}}
	to := []ledger.Recipient{{Person: "keeper2", Words: "as it was sent to keeper2"}}
	if _, err := p.h.Daemon.Ledger.Record(t.Context(), d, to, deskNow.Add(-4*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, err := p.h.Archive.DB().ExecContext(t.Context(), "UPDATE delivery SET state = 'sent', sent_at = '2026-03-08T19:00:00.000Z'"); err != nil {
		t.Fatal(err)
	}
	for language, want := range map[string]string{"en": "as it was sent to keeper2", "fr": "risque de déborder"} {
		_, silent, _ := strings.Cut(p.desk("/desk?lang="+language), `<section id="silent">`)
		silent, _, _ = strings.Cut(silent, "</section>")
		if !strings.Contains(silent, want) || language == "fr" && strings.Contains(silent, "as it was sent") {
			t.Errorf("%s: want %q in %s", language, want, silent)
		}
	}
	d.Site, d.Facts.At = "bush3", deskNow.Add(-3*time.Hour) // before its outlook was made
	if _, err := p.h.Daemon.Ledger.Record(t.Context(), d, []ledger.Recipient{{Person: "keeper3", Words: "Gather by 3 pm."}},
		deskNow.Add(-4*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, err := p.h.Archive.DB().ExecContext(t.Context(), "UPDATE delivery SET state = 'sent', sent_at = '2026-03-08T19:00:00.000Z'"); err != nil {
		t.Fatal(err)
	}
	if body := p.desk("/desk?lang=en"); strings.Contains(body, "Gather by 3 pm.") || !strings.Contains(body, "Gather now.") {
		t.Errorf("past its hour: %s", body)
	}
}

// Bushes that overflow are listed by when, as the office's text names them, and midnight is of the day
// that it ends.
func TestDeskListsTheSoonestFirst(t *testing.T) {
	p := deskPages(t, 4)
	midnight := time.Date(2026, time.March, 9, 4, 0, 0, 0, time.UTC) // in New York and Toronto
	for i, at := range map[int]time.Time{1: midnight, 2: midnight.Add(-2 * time.Hour), 3: midnight.Add(6 * time.Hour)} {
		o := glimpseOf(i).(map[string]any)
		o["work"] = map[string]any{"groups": []any{map[string]any{"group": "a", "alone_overflow_probability": 0.9, "alone_loss_l": 200,
			"alone_over_at": at}}}
		o["season"] = map[string]any{"tapped": true}
		if err := p.h.Archive.PutOutlook(t.Context(), "bush"+strconv.Itoa(i), deskNow.Add(time.Minute), deskNow.Add(-2*time.Hour), o); err != nil {
			t.Fatal(err)
		}
	}
	_, bushes, _ := strings.Cut(p.desk("/desk?lang=en"), "Bushes on the map")
	first, second, third := strings.Index(bushes, "Érablière 2<"), strings.Index(bushes, "Érablière 1<"), strings.Index(bushes, "Érablière 3<")
	if first < 0 || second < first || third < second || !strings.Contains(bushes, "overflows Sun 8 Mar 11:59 pm") {
		t.Errorf("%d, %d, %d: %s", first, second, third, bushes)
	}
}

// The logins of an association are found by a part of a person's or a bush's name, whatever the
// accents, and no page lists thousands, of people or of bushes to choose from.
func TestLoginsAreFound(t *testing.T) {
	const many = 230
	p := deskPages(t, many)
	count := func(body string) (people, bushes int) {
		return strings.Count(body, `name="person"`), strings.Count(body, "<option value=\"bush")
	}
	all := p.must(http.StatusOK, "GET", "/people?lang=en", nil)
	if people, bushes := count(all); people != 200 || bushes != 2*200 || !strings.Contains(all, "31 more: search by name.") ||
		!strings.Contains(all, "30 more bushes") || !strings.Contains(all, `name="q"`) ||
		!strings.Contains(all, "the settings file and on Members") {
		t.Errorf("%d people and %d bushes to choose from: %.3000s", people, bushes, all)
	}
	for query, want := range map[string]string{"ERABLIERE+229": "Keeper 229", "keeper+77": "Keeper 77", "office": "office"} {
		body := p.must(http.StatusOK, "GET", "/people?lang=en&q="+query, nil)
		if people, _ := count(body); people != 1 || !strings.Contains(body, `<th scope="row">`+want+"</th>") {
			t.Errorf("%s: %d people: %.2000s", query, people, body)
		}
	}
	if body := p.must(http.StatusOK, "GET", "/people?lang=fr&q=erabliere+229", nil); strings.Count(body, `<option value="bush`) != 2 ||
		strings.Contains(body, "Encore") {
		t.Errorf("bushes are not narrowed: %s", body)
	}
	// A token is for one bush unless somebody chose otherwise, so that there is always one to choose.
	if people, bushes := count(p.must(http.StatusOK, "GET", "/people?q=nobody+at+all", nil)); people != 0 || bushes != 2*200 {
		t.Errorf("%d people, %d bushes", people, bushes)
	}
}

// What is to be said of the weather of many bushes stands once, with their names, and without where it
// is so of all: of an association the status page said one sentence fifty times.
func TestStatusSaysOnceWhatManyHave(t *testing.T) {
	p := deskPages(t, 5)
	put := func(i int, kind string) {
		t.Helper()
		o := glimpseOf(i).(map[string]any)
		o["source"] = map[string]any{"name": "met_norway", "issued_at": deskNow.Add(-2 * time.Hour), "remarks": []any{map[string]any{"kind": kind}}}
		if err := p.h.Archive.PutOutlook(t.Context(), "bush"+strconv.Itoa(i), deskNow.Add(time.Minute), deskNow.Add(-2*time.Hour), o); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 5 {
		put(i, "one_course")
	}
	const said = "a single forecast"
	body := p.must(http.StatusOK, "GET", "/status?lang=en", nil)
	if strings.Count(body, said) != 1 || !strings.Contains(body, "<h3>MET Norway</h3>") {
		t.Errorf("of all: %s", body)
	}
	put(3, "assumed_wind")
	body = p.must(http.StatusOK, "GET", "/status?lang=en", nil)
	if strings.Count(body, said) != 1 || !strings.Contains(body, "<h3>Érablière 0, Érablière 1, Érablière 2, Érablière 4, MET Norway</h3>") ||
		!strings.Contains(body, "<h3>Érablière 3, MET Norway</h3>") {
		t.Errorf("of some: %s", body)
	}
}

// Of more than a page lists the desk says how many more there are, silent or not told, and so
// does the status page; who did not get several messages is there once.
func TestDeskSaysHowManyMore(t *testing.T) {
	const many = 60
	p := deskPages(t, many)
	for i := range many {
		d := alerts.Decision{Kind: alerts.Overflow, Site: fmt.Sprint("bush", i), Key: "overflow:1", Until: deskNow.Add(5 * time.Hour), Urgent: true}
		for _, kind := range []alerts.Kind{alerts.Overflow, alerts.GetReady} {
			d.Kind, d.Urgent = kind, kind.Urgent()
			d.Key = string(kind) + ":1"
			if _, err := p.h.Daemon.Ledger.Record(t.Context(), d, []ledger.Recipient{{Person: fmt.Sprint("keeper", i), Words: "go"}},
				deskNow.Add(-4*time.Hour)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := p.h.Archive.DB().ExecContext(t.Context(), "UPDATE delivery SET state = 'failed', attempts = 1"); err != nil {
		t.Fatal(err)
	}
	for language, want := range map[string][]string{"en": {"And 20 more.", "60 people did not get a message.", "and one more", "10 more bushes"},
		"fr": {"Et encore 20.", "60 personnes n&#39;ont pas reçu un message.", "et un autre", "10 autres érablières"}} {
		body := p.desk("/desk?lang=" + language)
		if strings.Count(body, want[0]) != 2 || !strings.Contains(body, want[1]) || strings.Count(body, want[2]) != 40 {
			t.Errorf("%s: %d, %t, %d", language, strings.Count(body, want[0]), strings.Contains(body, want[1]), strings.Count(body, want[2]))
		}
		if status := p.must(http.StatusOK, "GET", "/status?lang="+language, nil); !strings.Contains(status, `/desk">`+want[3]+"</a>") {
			t.Errorf("the status page in %s does not say that there are %s", language, want[3])
		}
	}
}

// read asks for the desk until every outlook has been read.
func (p *pages) desk(address string) string {
	p.t.Helper()
	for range 200 {
		if body := p.must(http.StatusOK, "GET", address, nil); !strings.Contains(body, "still being read") {
			return body
		}
	}
	p.t.Fatal("outlooks are still being read")
	return ""
}

var coordinate = regexp.MustCompile(`\b(4[5-9]|-?6[89]|-?7[0-7])\.[0-9]{2,}`)

func TestDesk(t *testing.T) {
	for _, n := range []int{0, 1, 30, deskMembers(310)} {
		p := deskPages(t, n)
		if n == 1 { // the only bush leads to its page, and the desk is there still
			p.must(http.StatusSeeOther, "GET", "/", nil)
		}
		body := p.desk("/desk?lang=en&units=metric")
		if len(body) > 200_000 {
			t.Errorf("%d bushes: %d bytes", n, len(body))
		}
		if found := coordinate.FindString(regexp.MustCompile(`href="[^"]*"`).ReplaceAllString(body, "")); found != "" && n != 1 &&
			!strings.HasPrefix(found, "45.05") && !strings.HasPrefix(found, "-76.04") {
			t.Errorf("%d bushes: told %s", n, found)
		}
		if n == 30 && (strings.Count(body, "<circle") < 30 || !strings.Contains(body, "Érablière 22") ||
			!strings.Contains(body, "big run")) {
			t.Errorf("not all marks: %d", strings.Count(body, "<circle"))
		}
		if n > 300 && !strings.Contains(body, `class="dots v-big"`) {
			t.Error("many bushes are not dots")
		}
		if n > 300 {
			near := p.desk("/desk?zoom=3&lat=46.5&lon=-72.5&lang=fr")
			if !strings.Contains(near, "<title>Érablière") || !strings.Contains(near, "Plus loin") {
				t.Error("no names when looked at closely")
			}
			deskShots(t, p)
			deskTimes(t, p, n)
		}
	}
}

func deskMembers(usual int) int {
	if n, err := strconv.Atoi(os.Getenv("THAWLINE_MEMBERS")); err == nil {
		return n
	}
	return usual
}

// deskTimes says how long the desk takes, at the median of 21.
func deskTimes(t *testing.T, p *pages, n int) {
	t.Helper()
	var took []time.Duration
	size := 0
	for range 21 {
		began := time.Now()
		size = len(p.must(http.StatusOK, "GET", "/desk", nil))
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	t.Logf("%d bushes: %d bytes, median %v, slowest %v", n, size, took[10], took[20])
}

// deskShots leaves pictures in the folder that THAWLINE_SHOTS names.
func deskShots(t *testing.T, p *pages) {
	t.Helper()
	dir := os.Getenv("THAWLINE_SHOTS")
	if dir == "" {
		return
	}
	server := httptest.NewServer(p.handler)
	defer server.Close()
	for _, width := range []string{"1280", "360"} {
		for name, path := range map[string]string{"desk": "/desk?lang=en", "near": "/desk?zoom=3&lang=fr",
			"members": "/desk/members?lang=en", "member": "/desk/members/person/keeper1?lang=en", "log": "/desk/log?lang=en"} {
			out := filepath.Join(dir, "desk-"+name+"-"+width+".png")
			if said, err := exec.CommandContext(t.Context(), "chromium", "--headless", "--no-sandbox", "--disable-gpu",
				"--hide-scrollbars", "--window-size="+width+",2200", "--screenshot="+out, server.URL+path).CombinedOutput(); err != nil {
				t.Logf("%v: %s", err, said)
			}
		}
	}
}

// notMoved saves a bush's form as it is shown, with the place told roughly, and with
// something wrong beside it: the bush stays where it is. A place that is typed moves it.
func (p *pages) notMoved() {
	p.t.Helper()
	place := func() string {
		k, err := p.h.Desk.One(p.t.Context(), config.Bush, "bush1")
		if err != nil {
			p.t.Fatal(err)
		}
		return fmt.Sprint(k.Values["latitude"], " ", k.Values["longitude"])
	}
	before := place()
	shown := p.must(http.StatusOK, "GET", "/desk/members/bush/bush1?lang=en", nil)
	form := url.Values{"do": {"save"}}
	for _, m := range regexp.MustCompile(`name="([^"]+)"[^>]*value="([^"]*)"`).FindAllStringSubmatch(shown, -1) {
		if !form.Has(m[1]) {
			form.Set(m[1], m[2])
		}
	}
	if len(form.Get("latitude")) != 4 {
		p.t.Errorf("the form tells where the bush is: %s", form.Get("latitude"))
	}
	form.Set("elevation", "high")
	if body := p.must(http.StatusUnprocessableEntity, "POST", "/desk/members/bush/bush1", form); coordinate.MatchString(body) {
		p.t.Error("a form with something wrong tells where the bush is")
	}
	form.Set("elevation", "200 m")
	p.must(http.StatusSeeOther, "POST", "/desk/members/bush/bush1", form)
	if after := place(); after != before {
		p.t.Errorf("moved from %s to %s", before, after)
	}
	form.Set("latitude", "46.1234")
	p.must(http.StatusSeeOther, "POST", "/desk/members/bush/bush1", form)
	if after := place(); !strings.HasPrefix(after, "46.1234 ") {
		p.t.Errorf("not moved: %s", after)
	}
}

func TestMemberPages(t *testing.T) {
	p := deskPages(t, 3)
	p.must(http.StatusOK, "GET", "/desk/members?q=keeper", nil)
	form := url.Values{"do": {"save"}, "id": {"robin"}, "name": {"Robin"}, "role": {"crew"}, "sites": {"bush1"},
		"phone": {"+18025550199"}, "channels": {"text"}}
	p.must(http.StatusSeeOther, "POST", "/desk/members/person/new", form)
	body := p.must(http.StatusOK, "GET", "/desk/members/person/robin?lang=en", nil)
	if !strings.Contains(body, "added robin (page)") || strings.Contains(body, "+18025550199") || !strings.Contains(body, "…99") {
		t.Error("who was added is not shown, or the whole number is")
	}
	form.Set("sites", "bush2")
	form.Del("phone")
	p.must(http.StatusSeeOther, "POST", "/desk/members/person/robin", form)
	k, err := p.h.Desk.One(t.Context(), config.Member, "robin")
	if err != nil || k.Phone.Reveal() != "+18025550199" {
		t.Errorf("the number that was left alone is %v, %v", k.Phone.Given(), err)
	}
	form.Set("quiet_hours", "late")
	if body := p.must(http.StatusUnprocessableEntity, "POST", "/desk/members/person/robin", form); !strings.Contains(body,
		"not a stretch of the day") {
		t.Error("what is wrong is not told")
	}
	p.must(http.StatusSeeOther, "POST", "/desk/members/person/robin", url.Values{"do": {"pause"}, "pause": {"5 days"}})
	if body := p.must(http.StatusOK, "POST", "/desk/members/person/robin", url.Values{"do": {"link"}}); !strings.Contains(body, "/l/") {
		t.Error("no link is shown")
	}
	p.notMoved()
	p.must(http.StatusUnprocessableEntity, "POST", "/desk/members/person/robin", url.Values{"do": {"forget"}})
	if body := p.must(http.StatusOK, "POST", "/desk/members/person/robin", url.Values{"do": {"give"}}); !strings.Contains(body,
		"+18025550199") {
		t.Error("not all is given")
	}
	p.must(http.StatusSeeOther, "POST", "/desk/members/person/robin", url.Values{"do": {"forget"}, "sure": {"yes"}})
	p.must(http.StatusNotFound, "GET", "/desk/members/person/robin", nil)
	p.must(http.StatusSeeOther, "POST", "/desk/members/bush/bush2", url.Values{"do": {"remove"}})
	if body := p.must(http.StatusOK, "GET", "/desk/log?lang=en", nil); !strings.Contains(body, "took out bush2") ||
		!strings.Contains(body, "forgot robin") {
		t.Error("the log lacks what was done")
	}
}
