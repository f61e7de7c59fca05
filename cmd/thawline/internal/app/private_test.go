package app

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/members"
	"thawline/config"
	"thawline/testdata"
)

// member is one of an association, with what nobody else is to see.
type member struct {
	id, name, person, who, phone, group, note string
	taps                                      int
	lat, lon                                  string // as they are, to 10 m
	litres                                    string // of a record
	sharesPlace, sharesLitres                 string
}

// The three members: one shares nothing, two share litres, one of them its place too.
var private = []member{
	{"zadok", "Zadok Knoll", "anaquill", "Anais Quillfeather", "+18195551111", "Zadok pails", "zadoknote", 1373, "44.6243", "-72.3157",
		"437.3", "no", "no"},
	{"bethel", "Bethel Hollow", "benorrin", "Ben Orrinsdale", "+18195552222", "Bethel pails", "bethelnote", 211, "44.6389", "-72.2971",
		"91.7", "no", "yes"},
	{"gimel", "Gimel Heights", "cemvask", "Cem Vaskerville", "+18195553333", "Gimel pails", "gimelnote", 877, "44.5513", "-72.4419",
		"263.9", "yes", "yes"},
}

func privateTable(list []member) []byte {
	var b strings.Builder
	b.WriteString("id,name,latitude,longitude,elevation,zone,group,group_name,taps,collected_by,container,tapped,person,person_name,role,phone,channels,shares_place,shares_litres\n")
	for _, m := range list {
		fmt.Fprintf(&b, "%s,%s,%s,%s,420 m,America/New_York,pails,%s,%d,pail,9.5L,2026-03-01,%s,%s,keeper,%s,\"broker, text\",%s,%s\n",
			m.id, m.name, m.lat, m.lon, m.group, m.taps, m.person, m.who, m.phone, m.sharesPlace, m.sharesLitres)
	}
	return []byte(b.String())
}

// shows is what a text has of a member beside but, "" for nothing.
func (m *member) shows(text, but string) string {
	text = strings.ToLower(text)
	for _, sign := range []string{m.id, m.name, m.person, m.who, strings.Fields(m.who)[1], m.phone[1:], m.group, m.note} {
		if sign != but && strings.Contains(text, strings.ToLower(sign)) {
			return sign
		}
	}
	return ""
}

// finer finds where a bush is, more exactly than to a tenth of a degree.
func (m *member) finer() *regexp.Regexp {
	part := func(s string) string {
		return `\b` + regexp.QuoteMeta(strings.TrimPrefix(s, "-")[:len(strings.TrimPrefix(s, "-"))-2])
	}
	return regexp.MustCompile(part(m.lat) + "|" + part(m.lon))
}

// asked is one address, and what it is of.
type asked struct{ method, path, of string }

// visitor is somebody who looks around.
type visitor struct {
	who    string
	header http.Header
	sees   []string // bushes that are their own
	all    bool     // of the office
}

// houses is the whole program of an association whose members have outlooks, records and
// messages.
type houses struct {
	t      testing.TB
	a      *App
	h      http.Handler
	broker *broker
	n      int
	ids    map[string][]string // of records and messages, by bush
	dir    string              // of data
}

// env are settings beside those of all such houses, as the environment has them.
func openHouses(t testing.TB, list []member, gateway string, env ...string) *houses {
	t.Helper()
	b := brokerOf(t)
	host, port, _ := net.SplitHostPort(b.at)
	weather := httptest.NewServer(testdata.Handler())
	t.Cleanup(weather.Close)
	file := written(t, "thawline.yaml", `units: metric
language: en
serve: {login: always, link: "https://bush.example.org"}
weather: {sources: [open_meteo], contact: a@example.org, open_meteo: {base_url: "`+weather.URL+`"}}
people:
  - {id: office, name: Office, role: keeper, language: en, units: metric}
channels:
  - {id: text, kind: text_gateway, url: "`+gateway+`/?to={to}&text={text}"}
  - {id: broker, kind: mqtt, host: `+host+`, port: `+port+`, security: none, topic: sap, discovery: ha}
`)
	dir := t.TempDir()
	load := func() (*config.Config, error) {
		return config.Load(file, append(env, "THAWLINE_DATA_DIR="+dir,
			"THAWLINE_MEMBERS_KEY="+base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{7}, config.MembersKeyBytes))))
	}
	settings, err := load()
	if err != nil {
		t.Fatal(err)
	}
	a, err := Open(t.Context(), Env{Version: "test", Log: slog.New(slog.DiscardHandler), Clock: testdata.Now, Frozen: true}, settings, load)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	a.Auth.Bound(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8787})
	s := &houses{t: t, a: a, h: a.Handler(), broker: b, ids: map[string][]string{}, dir: dir}
	if list != nil {
		s.take(list)
	}
	return s
}

// take takes members in as the office does, and lets the daemon do what is due.
func (s *houses) take(list []member) {
	s.t.Helper()
	done, err := s.a.Desk.Import(s.t.Context(), "members.csv", privateTable(list), "",
		members.Author{Name: "Office", Way: members.ByCSV}, testdata.Now())
	if err != nil || len(done.LeftOut) > 0 {
		s.t.Fatal(err, done)
	}
	s.a.reload(s.t.Context(), false)
	s.a.Daemon.Step(s.t.Context(), testdata.Now())
}

func (s *houses) send(method, path string, header http.Header, form url.Values) *httptest.ResponseRecorder {
	s.n++
	r := httptest.NewRequest(method, "http://localhost:8787"+path, strings.NewReader(form.Encode()))
	maps.Copy(r.Header, header)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.RemoteAddr = fmt.Sprintf("198.51.%d.%d:4000", s.n/200%250, s.n%200+1)
	w := httptest.NewRecorder()
	s.h.ServeHTTP(w, r)
	return w
}

// letIn is a person who has chosen a password.
func (s *houses) letIn(id, name string) http.Header {
	s.t.Helper()
	token, err := s.a.Auth.MakeLink(s.t.Context(), auth.Link{Kind: auth.PasswordLink, Person: id, Name: name, Days: 3}, "test")
	if err != nil {
		s.t.Fatal(err)
	}
	cookie, _, _ := strings.Cut(s.send("POST", "/l/"+token, nil, url.Values{}).Header().Get("Set-Cookie"), ";")
	w := s.send("POST", "/password", http.Header{"Cookie": {cookie}}, url.Values{"password": {"a long enough password"}})
	var all []string
	for _, c := range w.Result().Cookies() {
		all = append(all, c.Name+"="+c.Value)
	}
	if len(all) == 0 {
		s.t.Fatalf("%s is not let in: %d", id, w.Code)
	}
	return http.Header{"Cookie": {strings.Join(all, "; ")}}
}

// fill gives each bush a record, a message that was sent and a warning.
func (s *houses) fill(list []member) {
	s.t.Helper()
	for _, m := range list {
		token, err := s.a.Auth.MakeToken(s.t.Context(), auth.Token{Name: "t-" + m.id, Site: m.id, Days: 1, Scopes: everyScope}, "test")
		if err != nil {
			s.t.Fatal(err)
		}
		r := httptest.NewRequest("POST", "http://localhost:8787/api/v1/sites/"+m.id+"/records",
			strings.NewReader(`{"records":[{"group":"pails","collected_at":"2026-03-19","volume_l":`+m.litres+`,"note":"`+m.note+`"}]}`))
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		s.h.ServeHTTP(w, r)
		var said struct{ Records []struct{ ID string } }
		if w.Code != 200 || json.Unmarshal(w.Body.Bytes(), &said) != nil {
			s.t.Fatalf("%d %s", w.Code, w.Body)
		}
		for _, one := range said.Records {
			s.ids[m.id] = append(s.ids[m.id], one.ID)
		}
		now := testdata.Now()
		if _, err := s.a.Daemon.Ledger.Record(s.t.Context(),
			alerts.Decision{Kind: alerts.Overflow, Site: m.id, Key: "overflow:" + m.id, Until: now.Add(5 * time.Hour)},
			[]ledger.Recipient{{Person: m.person, Words: m.group + " run over: " + m.litres + " litres"}}, now); err != nil {
			s.t.Fatal(err)
		}
		v := alerts.Verdict{Site: m.id, Warning: "overflow:south:" + m.id, Kind: alerts.Overflow, Chance: 0.6,
			Due: now.Add(-12 * time.Hour)}
		if _, err := s.a.Daemon.Ledger.Ask(s.t.Context(), alerts.Ask(&v, m.group, false, now, time.UTC),
			ledger.Recipient{Person: m.person, Words: m.note}, &v, now); err != nil {
			s.t.Fatal(err)
		}
	}
	s.a.Daemon.Remake(s.t.Context(), testdata.Now())
	s.a.Daemon.Step(s.t.Context(), testdata.Now())
	sent, err := s.a.Daemon.Ledger.Recent(s.t.Context(), 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for i := range sent {
		s.ids[sent[i].Site] = append(s.ids[sent[i].Site], sent[i].ID)
	}
}

var everyScope = []auth.Scope{auth.ReadOutlook, auth.ReadRecords, auth.WriteRecords, auth.ReadMessages, auth.Acknowledge,
	auth.ReadMetrics, auth.ReadMembers, auth.WriteMembers}

// addresses are all that the routes, the document of the API and the hooks know, for each
// bush. What a new one takes in its path has to be named here.
func (s *houses) addresses(list []member) (out []asked) {
	s.t.Helper()
	routes, outside := s.a.routes()
	var patterns []asked
	err := chi.Walk(routes, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if method == "GET" || method == "POST" {
			patterns = append(patterns, asked{method: method, path: pattern})
		}
		return nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, pattern := range outside.Patterns {
		method, path, plain := strings.Cut(pattern, " ")
		if !plain {
			method, path = "GET", pattern
		}
		patterns = append(patterns, asked{method: method, path: path})
	}
	var doc struct {
		Paths map[string]map[string]json.RawMessage
	}
	if err := json.Unmarshal(s.send("GET", "/api/v1/openapi.json", nil, nil).Body.Bytes(), &doc); err != nil {
		s.t.Fatal(err)
	}
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		for _, method := range slices.Sorted(maps.Keys(doc.Paths[path])) {
			patterns = append(patterns, asked{method: strings.ToUpper(method), path: path})
		}
	}
	for _, p := range patterns {
		if strings.Contains(p.path, "*") { // what lies below is listed by itself
			continue
		}
		if !strings.Contains(p.path, "{") {
			out = append(out, p)
			continue
		}
		for _, m := range list {
			for _, path := range s.filled(p, &m) {
				out = append(out, asked{p.method, path, m.id})
			}
		}
	}
	return out
}

var place = regexp.MustCompile(`\{[a-z]+\}`)

// filled are a pattern's addresses for a bush.
func (s *houses) filled(p asked, m *member) []string {
	s.t.Helper()
	path := strings.ReplaceAll(p.path, "{site}", m.id)
	switch {
	case strings.HasPrefix(path, "/desk/members/{kind}") || strings.HasPrefix(path, "/api/v1/members"):
		return []string{strings.NewReplacer("{kind}", "person", "{id}", m.person).Replace(path),
			strings.NewReplacer("{kind}", "bush", "{id}", m.id).Replace(path)}
	case strings.Contains(path, "{token}"):
		var out []string
		for what, of := range map[string]string{"feed": m.id, "in": m.id, "push": m.person, "stop": m.person} {
			key, err := daemon.Address(s.t.Context(), s.a.Daemon.Ledger, what, of)
			if err != nil {
				s.t.Fatal(err)
			}
			out = append(out, strings.ReplaceAll(path, "{token}", key))
		}
		slices.Sort(out)
		return out
	}
	path = strings.NewReplacer("{link}", "none", "{format}", "json").Replace(path)
	if !place.MatchString(path) {
		return []string{path}
	}
	var out []string
	for _, id := range s.ids[m.id] {
		out = append(out, strings.NewReplacer("{id}", id, "{delivery}", id).Replace(path))
	}
	if len(out) == 0 || place.MatchString(out[0]) {
		s.t.Fatalf("%s: what stands in its braces is not known to this walk", p.path)
	}
	return out
}

// key reports whether an address is a key itself: whoever has it is let in to what is
// behind it.
func (a *asked) key() bool {
	return slices.ContainsFunc([]string{"/f/", "/in/", "/p/", "/u/", "/a/", "/l/"},
		func(s string) bool { return strings.HasPrefix(a.path, s) })
}

// Nothing of a member is seen by another, by a stranger, or by a token of another bush, on
// any page, by any operation, in any feed and below any topic; the office sees no whole
// number and no place more exactly than was agreed. What is asked for comes from the routes
// themselves and from the document of the API.
func TestNothingOfAMemberIsSeenByOthers(t *testing.T) {
	texts := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusAccepted) }))
	t.Cleanup(texts.Close)
	s := openHouses(t, private, texts.URL)
	s.fill(private)
	token, err := s.a.Auth.MakeToken(t.Context(), auth.Token{Name: "meter", Site: "bethel", Days: 1, Scopes: everyScope}, "test")
	if err != nil {
		t.Fatal(err)
	}
	visitors := []visitor{
		{who: "stranger"},
		{who: "ben", header: s.letIn("benorrin", ""), sees: []string{"bethel"}},
		{who: "token", header: http.Header{"Authorization": {"Bearer " + token}}, sees: []string{"bethel"}},
		{who: "office", header: s.letIn("office", ""), all: true},
	}
	all := s.addresses(private)
	answered := map[string]int{}
	began := time.Now()
	for _, v := range visitors {
		for _, at := range all {
			if v.all && at.of != "" && at.of != private[0].id { // each bush is the same to the office
				continue
			}
			if body, ok := s.look(&v, &at); ok {
				answered[v.who]++
				s.held(&v, &at, body)
			}
		}
	}
	s.topics()
	s.nothingChanges(visitors[1:2], all)
	s.litresWhereBothAgreed(visitors[1])
	s.forgottenEverywhere(&private[0], "Zadok Other", "Otto Otherman", "18195559999", "othernote", "44.6243", "72.3157")
	t.Logf("%d addresses asked for by %d visitors in %v: answered %v; %d topics", len(all), len(visitors),
		time.Since(began).Round(time.Millisecond), answered, len(s.broker.all()))
	for who, least := range map[string]int{"stranger": 15, "ben": 60, "token": 10, "office": 70} {
		if answered[who] < least {
			t.Errorf("%s was answered %d times only: the walk looks at nothing", who, answered[who])
		}
	}
}

// nothingChanges looks at everything before and after another member's bush has got another
// name, place, number of taps, records and hours: nothing of it shows, whatever it was.
func (s *houses) nothingChanges(visitors []visitor, all []asked) {
	s.t.Helper()
	before := map[string]string{}
	each := func(do func(who, path, body string)) {
		for _, v := range visitors {
			for _, at := range all {
				if at.of != "" && !slices.Contains(v.sees, at.of) {
					continue
				}
				if body, ok := s.look(&v, &at); ok {
					do(v.who, at.path, random.ReplaceAllString(body, ""))
				}
			}
		}
	}
	each(func(who, path, body string) { before[who+path] = body })
	other := private[0]
	other.name, other.who, other.phone, other.group, other.note, other.taps, other.lat, other.lon, other.litres = "Zadok Other",
		"Otto Otherman", "+18195559999", "Zadok bags", "othernote", 41, "44.5811", "-72.3377", "12.9"
	s.take([]member{other})
	s.fill([]member{other})
	looked := 0
	each(func(who, path, body string) {
		if looked++; before[who+path] != body {
			at := 0
			for at < min(len(body), len(before[who+path])) && body[at] == before[who+path][at] {
				at++
			}
			s.t.Errorf("%s as %s shows what another's bush has: …%.120q, before …%.120q", path, who, body[max(0, at-40):],
				before[who+path][max(0, min(at, len(before[who+path]))-40):])
		}
	})
	s.t.Logf("%d answers are the same after another's bush is another", looked)
}

// litresWhereBothAgreed: two who agreed see each other's litres, until one of them no longer
// does; the third neither shows nor sees any.
func (s *houses) litresWhereBothAgreed(ben visitor) {
	s.t.Helper()
	seen := func() string { return s.send("GET", "/site/bethel/season", ben.header, nil).Body.String() }
	if body := seen(); !strings.Contains(body, "Your neighbours") || !strings.Contains(body, "Gimel Heights") ||
		strings.Contains(body, "Zadok") {
		s.t.Error("those who both agreed do not see each other's litres, or see another's")
	}
	ana := visitor{header: s.letIn("anaquill", "")}
	if body := s.send("GET", "/site/zadok/season", ana.header, nil).Body.String(); strings.Contains(body, "Your neighbours") ||
		strings.Contains(body, "Gimel") {
		s.t.Error("who has not agreed sees another's litres")
	}
	not := private[2]
	not.sharesLitres = "no"
	s.take([]member{not})
	if body := seen(); strings.Contains(body, "Your neighbours") || strings.Contains(body, "Gimel") {
		s.t.Error("litres are seen of who no longer agrees")
	}
}

// look asks for an address, as far as that changes nothing of what is walked through.
func (s *houses) look(v *visitor, at *asked) (body string, ok bool) {
	s.t.Helper()
	own := at.of == "" || slices.Contains(v.sees, at.of) || v.all
	form := url.Values(nil)
	if own && (strings.HasSuffix(at.path, ".png") || strings.HasSuffix(at.path, ".wav")) {
		return "", false // made of one outlook alone
	}
	if at.method != "GET" {
		if own || at.key() {
			return "", false // would change it
		}
		form = url.Values{"do": {"save"}, "group": {"pails"}, "volume": {"3"}}
	}
	w := s.send(at.method, at.path, v.header, form)
	if w.Code >= 500 {
		s.t.Errorf("%s %s as %s: %d", at.method, at.path, v.who, w.Code)
	}
	if !own && !at.key() && w.Code < 300 && !slices.Contains(shared, at.path) {
		s.t.Errorf("%s %s as %s: %d, though it is another's", at.method, at.path, v.who, w.Code)
	}
	return w.Header().Get("Location") + "\n" + w.Body.String(), w.Code < 400
}

// shared are addresses that are the same for all.
var shared = []string{"/p/worker.js"}

// random is what differs from one look to another: keys, and the part of a map that a link
// leads to, which the told places make.
var random = regexp.MustCompile(`lat=[-.0-9]+&(amp;)?lon=[-.0-9]+|[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}|[0-9a-f]{32}`)

// held holds an answer against what somebody may see.
func (s *houses) held(v *visitor, at *asked, body string) {
	s.t.Helper()
	body = random.ReplaceAllString(body, "")
	for _, m := range private {
		own := slices.Contains(v.sees, m.id) || at.key() && at.of == m.id ||
			strings.HasSuffix(at.path, "/everything") // which is for themselves
		if found := m.finer().FindString(body); found != "" && !own && m.sharesPlace == "no" {
			s.t.Errorf("%s %s as %s: told where %s is: %s", at.method, at.path, v.who, m.id, found)
		}
		if v.all {
			if strings.Contains(body, m.phone[1:]) && !own {
				s.t.Errorf("%s %s as %s: told the number of %s", at.method, at.path, v.who, m.person)
			}
			continue
		}
		but := ""
		if at.of == m.id { // what was asked for is said again in redirects and faults
			but = m.id
			body = strings.ReplaceAll(body, at.path, "")
		}
		if strings.HasSuffix(at.path, "/season") && m.sharesLitres == "yes" && at.of != "zadok" {
			continue // both agreed to show each other their litres, under their names
		}
		if found := m.shows(body, but); found != "" && !own {
			s.t.Errorf("%s %s as %s: told %q of %s", at.method, at.path, v.who, found, m.id)
		}
	}
}

// topics holds what a broker keeps against whose topics they are.
func (s *houses) topics() {
	s.t.Helper()
	all := s.broker.all()
	for _, topic := range slices.Sorted(maps.Keys(all)) {
		for _, m := range private {
			own := strings.HasPrefix(topic, "sap/"+m.id+"/") || strings.Contains(topic, "thawline_"+m.id+"_")
			if found := m.shows(random.ReplaceAllString(all[topic], ""), ""); found != "" && !own {
				s.t.Errorf("topic %s: told %q of %s", topic, found, m.id)
			}
			if found := m.finer().FindString(all[topic]); found != "" && m.sharesPlace == "no" {
				s.t.Errorf("topic %s: told where %s is: %s", topic, m.id, found)
			}
		}
	}
	for _, m := range private {
		if len(s.broker.of(m.id)) < 3 {
			s.t.Errorf("%s has %d topics only", m.id, len(s.broker.of(m.id)))
		}
	}
}
