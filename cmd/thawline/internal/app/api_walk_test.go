package app

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"mime"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/config"
	"thawline/testdata"
)

// operation is one of the document, as far as the walk needs it.
type operation struct {
	method, path string
	OperationID  string
	Parameters   []struct {
		Name, In string
		Required bool
		Schema   map[string]any
	}
	RequestBody struct {
		Content map[string]struct{ Schema map[string]any }
	}
	Responses map[string]struct {
		Content map[string]json.RawMessage
		Headers map[string]json.RawMessage
	}
}

// of is what the ids of an operation are of: records, taps, messages …
func (o *operation) of() string {
	_, rest, found := strings.Cut(o.path, "{site}/")
	if strings.HasPrefix(o.path, "/api/v1/members") {
		return "members"
	}
	if !found {
		return "messages"
	}
	of, _, _ := strings.Cut(rest, "/")
	return of
}

// twoMembers are as an association's table has them.
const twoMembers = `id,name,latitude,longitude,zone,taps,collected_by,container,person,person_name,role,phone
m1,One,44.35,-72.7,America/New_York,120,pail,9.5L,ana,Ana,keeper,+18025550111
m2,Two,44.45,-72.6,America/New_York,80,pail,9.5L,ben,Ben,keeper,+18025550112
`

// usual are bodies that people send on any day.
var usual = map[string]string{
	"add-records":      `{"records":[{"group":"ridge","collected_at":"2026-03-19","volume_l":20}]}`,
	"correct-record":   `{"volume_l":18,"note":"measured again"}`,
	"add-attendance":   `{"kind":"away","from":"2026-03-22T08:00:00-04:00"}`,
	"add-observations": `{"observations":[{"kind":"dripping","group":"ridge"}]}`,
	"book-class":       `{"day":"2026-04-07","from":"09:00","to":"11:30","learners":20}`,
	"add-house":        `{"kind":"wood_left","wood_cords":2}`,
	"add-taps":         `{"group":"ridge","taps_event":"pulled","on":"2026-03-20"}`,
	"answer-message":   `{"yes":true}`,
	"put-member":       `{"values":{"name":"Ana","role":"crew"}}`,
	"pause-member":     `{"for":"5 days"}`,
	"import-members":   twoMembers,
}

// walker asks a program for whatever its document says can be asked.
type walker struct {
	t          *testing.T
	handler    http.Handler
	rng        *rand.Rand
	whole      map[string]any
	operations []operation
	compiler   *jsonschema.Compiler
	compiled   map[string]*jsonschema.Schema
	ids        map[string][]string // by what they are of
	revisions  map[string]string
	tags       []string
	asked      int
	wrong      int
	seen       map[string]map[int]int // by operation and status
}

// walked is the demonstration's whole program with an outlook, records and messages.
func walked(t *testing.T, seed uint64) *walker {
	t.Helper()
	load := demonstrated(t, "THAWLINE_MEMBERS_KEY="+base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{7}, config.MembersKeyBytes)))
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
	a.Daemon.Step(t.Context(), testdata.Now())
	now := testdata.Now().Add(-time.Hour)
	v := alerts.Verdict{Site: "kettle", Warning: "overflow:south:x", Kind: alerts.Overflow, Chance: 0.6, Due: now.Add(-12 * time.Hour)}
	if _, err := a.Daemon.Ledger.Ask(t.Context(), alerts.Ask(&v, "South", false, now, time.UTC),
		ledger.Recipient{Person: "odell", Words: "did any run over?"}, &v, now); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Daemon.Ledger.Record(t.Context(),
		alerts.Decision{Kind: alerts.Overflow, Site: "kettle", Key: "overflow:x", Until: now.Add(5 * time.Hour)},
		[]ledger.Recipient{{Person: "odell", Words: "pails run over"}}, now); err != nil {
		t.Fatal(err)
	}
	w := &walker{t: t, handler: a.Handler(), rng: rand.New(rand.NewPCG(seed, 25)), compiled: map[string]*jsonschema.Schema{},
		ids: map[string][]string{}, revisions: map[string]string{}, seen: map[string]map[int]int{}}
	list, err := a.Daemon.Ledger.Recent(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		w.ids["messages"] = append(w.ids["messages"], list[i].ID)
	}
	w.ids["members"] = []string{"ana", "ben"}
	w.read()
	return w
}

func (w *walker) read() {
	w.t.Helper()
	document := w.send(httptest.NewRequest("GET", "http://localhost:8787/api/v1/openapi.json", nil)).Body.Bytes()
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(document))
	if err != nil {
		w.t.Fatal(err)
	}
	w.whole = value.(map[string]any)
	w.compiler = jsonschema.NewCompiler()
	w.compiler.AssertFormat()
	if err := w.compiler.AddResource("mem:openapi.json", value); err != nil {
		w.t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]operation
	}
	if err := json.Unmarshal(document, &doc); err != nil {
		w.t.Fatal(err)
	}
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		for _, method := range slices.Sorted(maps.Keys(doc.Paths[path])) {
			o := doc.Paths[path][method]
			o.method, o.path = strings.ToUpper(method), path
			w.operations = append(w.operations, o)
		}
	}
}

// send asks from an address of this machine, another one each time: how fast one may ask is
// no question here.
func (w *walker) send(r *http.Request) *httptest.ResponseRecorder {
	w.asked++
	r.RemoteAddr = fmt.Sprintf("127.0.%d.%d:4000", w.asked/200%250, w.asked%200+1)
	answer := httptest.NewRecorder()
	w.handler.ServeHTTP(answer, r)
	return answer
}

func (w *walker) chance(p float64) bool { return w.rng.Float64() < p }

func pick[T any](w *walker, list ...T) T { return list[w.rng.IntN(len(list))] }

// What people and machines may send in the place of what is wanted.
var odd = []any{"", " ", "none", "-1", "NaN", "\u0000", "\u202e<b>", "'; DROP TABLE visit; --", "9999-99-99", "2026-02-30",
	"0001-01-01T00:00:00Z", strings.Repeat("é", 300), "\U0001f341", nil, true, -1.0, 0.0, 1e308, -1e-308, 123456789012345680.0, []any{},
	map[string]any{}, []any{nil}}

// value is one that a schema allows, or now and then another.
func (w *walker) value(schema map[string]any, name string, wild bool) any {
	if wild && w.chance(0.12) {
		return odd[w.rng.IntN(len(odd))]
	}
	if ref, is := schema["$ref"].(string); is {
		at := any(w.whole)
		for key := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
			at = at.(map[string]any)[key]
		}
		return w.value(at.(map[string]any), name, wild)
	}
	if list, is := schema["enum"].([]any); is {
		return pick(w, list...)
	}
	kind, _ := schema["type"].(string)
	if kinds, is := schema["type"].([]any); is {
		kind = fmt.Sprint(kinds[0])
	}
	switch kind {
	case "object":
		out := map[string]any{}
		properties, _ := schema["properties"].(map[string]any)
		required, _ := schema["required"].([]any)
		for _, key := range slices.Sorted(maps.Keys(properties)) {
			if slices.Contains(required, any(key)) && !(wild && w.chance(0.05)) || w.chance(0.6) {
				out[key] = w.value(properties[key].(map[string]any), key, wild)
			}
		}
		if wild && w.chance(0.05) {
			out["surprise"] = 1
		}
		return out
	case "array":
		items, _ := schema["items"].(map[string]any)
		out := []any{}
		for range 1 + w.rng.IntN(3) {
			out = append(out, w.value(items, name, wild))
		}
		return out
	case "number", "integer":
		low, _ := schema["minimum"].(json.Number)
		high, _ := schema["maximum"].(json.Number)
		from, _ := low.Float64()
		to, _ := high.Float64()
		if to <= from {
			to = from + 50
		}
		x := from + w.rng.Float64()*(to-from)
		if kind == "integer" {
			return int(x)
		}
		return float64(int(x*10)) / 10
	case "boolean":
		return w.chance(0.5)
	}
	return w.text(schema, name)
}

func (w *walker) text(schema map[string]any, name string) string {
	at := testdata.Now().Add(-time.Duration(w.rng.IntN(60*24)) * time.Hour)
	switch {
	case schema["format"] == "date-time":
		return at.Format(time.RFC3339)
	case schema["format"] == "date":
		return at.Format(time.DateOnly)
	case name == "group":
		return pick(w, "ridge", "lane", "Ridge", "none", "")
	case strings.Contains(name, "at") || name == "on" || name == "day" || name == "from" || name == "to":
		return pick(w, at.Format(time.RFC3339), at.Format(time.DateOnly))
	}
	return pick(w, "ice", "note", "odell", "frogs", "12345678", "2026-03-18")
}

// request is a random one of an operation; a tame one is as the document wants it.
func (w *walker) request(o *operation, wild bool) *http.Request {
	path, query, id := o.path, []string{}, ""
	header := http.Header{}
	for _, p := range o.Parameters {
		value := fmt.Sprint(w.value(p.Schema, p.Name, wild && p.In != "path"))
		switch {
		case p.Name == "site":
			value = "kettle"
			if wild && w.chance(0.1) {
				value = pick(w, "none", "%00", "..%2f", strings.Repeat("x", 65))
			}
			path = strings.Replace(path, "{site}", value, 1)
		case p.In == "path":
			value = "none"
			if p.Name == "kind" { // of members
				path = strings.Replace(path, "{kind}", "person", 1)
				continue
			}
			if ids := w.ids[o.of()]; len(ids) > 0 && !(wild && w.chance(0.2)) {
				value = pick(w, ids...)
			}
			id = value
			path = strings.Replace(path, "{"+p.Name+"}", value, 1)
		case p.Name == "If-Match" && o.method != "GET" && !(wild && w.chance(0.3)):
			header.Set(p.Name, `"`+w.revisions[id]+`"`)
		case p.Name == "If-None-Match":
			if len(w.tags) > 0 && w.chance(0.5) {
				header.Set(p.Name, pick(w, w.tags...))
			}
		case !p.Required && (!wild || w.chance(0.6)):
		case p.In == "query":
			query = append(query, p.Name+"="+strings.NewReplacer(" ", "+", "\x00", "%00", "&", "%26", "%", "%25", ";",
				"%3B").Replace(value))
		case p.In == "header":
			header.Set(p.Name, strings.Map(func(r rune) rune {
				if r < ' ' || r > '~' {
					return 'x'
				}
				return r
			}, value))
		}
	}
	if len(query) > 0 {
		path += "?" + strings.Join(query, "&")
	}
	method := o.method
	if method == "GET" && wild && w.chance(0.2) {
		method = "HEAD"
	}
	var body []byte
	if c, needs := o.RequestBody.Content["application/json"]; needs {
		header.Set("Content-Type", "application/json")
		body, _ = json.Marshal(w.value(c.Schema, "", wild))
		switch x := w.rng.Float64(); {
		case !wild || w.chance(0.2):
			body = []byte(usual[o.OperationID])
		case x < 0.04:
			body = body[:len(body)/2]
		case x < 0.06:
			header.Set("Content-Type", pick(w, "text/csv", "application/x-www-form-urlencoded", "nonsense"))
		case x < 0.08:
			body = nil
		case x < 0.09:
			body = bytes.Repeat([]byte(" "), 1<<20+1)
		}
	}
	if _, needs := o.RequestBody.Content["text/csv"]; needs {
		header.Set("Content-Type", "text/csv")
		if body = []byte(usual[o.OperationID]); wild && w.chance(0.5) {
			body = body[:w.rng.IntN(len(body))]
		}
	}
	r, err := http.NewRequest(method, "http://localhost:8787"+path, bytes.NewReader(body))
	if err != nil { // no address at all
		return w.request(o, false)
	}
	r.Header = header
	return r
}

func (w *walker) fault(form string, values ...any) {
	w.t.Helper()
	w.wrong++
	w.t.Errorf(form, values...)
}

// check holds an answer against what the document says of it.
func (w *walker) check(o *operation, r *http.Request, answer *httptest.ResponseRecorder) {
	w.t.Helper()
	where := fmt.Sprintf("%s %s: %d", r.Method, r.URL, answer.Code)
	if w.seen[o.OperationID] == nil {
		w.seen[o.OperationID] = map[int]int{}
	}
	w.seen[o.OperationID][answer.Code]++
	declared, is := o.Responses[strconv.Itoa(answer.Code)]
	if !is || answer.Code >= 500 {
		w.fault("%s is not declared, or our fault: %.300s", where, answer.Body)
		return
	}
	if r.Method == http.MethodHead || answer.Code == http.StatusNotModified || answer.Code == http.StatusNoContent {
		if answer.Body.Len() > 0 && answer.Code < 400 { // the server leaves out what the guards say to HEAD
			w.t.Errorf("%s has a body: %.300s", where, answer.Body)
		}
		return
	}
	if tag := answer.Header().Get("ETag"); r.Method == http.MethodGet && answer.Code == http.StatusOK {
		if tag == "" {
			w.t.Errorf("%s has no tag", where)
		}
		w.tags = append(w.tags, tag)
	}
	kind, _, err := mime.ParseMediaType(answer.Header().Get("Content-Type"))
	if _, is := declared.Content[kind]; err != nil || !is {
		w.fault("%s: %q is not declared", where, answer.Header().Get("Content-Type"))
		return
	}
	if !strings.HasSuffix(kind, "json") {
		return
	}
	value, err := jsonschema.UnmarshalJSON(answer.Body)
	if err != nil {
		w.t.Errorf("%s: %v", where, err)
		return
	}
	escape := strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D")
	pointer := "mem:openapi.json#/paths/" + escape.Replace(o.path) + "/" + strings.ToLower(o.method) + "/responses/" +
		strconv.Itoa(answer.Code) + "/content/" + escape.Replace(kind) + "/schema"
	if w.compiled[pointer] == nil {
		if w.compiled[pointer], err = w.compiler.Compile(pointer); err != nil {
			w.t.Fatalf("%s: %v", pointer, err)
		}
	}
	if err := w.compiled[pointer].Validate(value); err != nil {
		w.fault("%s: %v", where, err)
	}
	w.learn(o.of(), value)
}

// learn takes the ids of an answer, to ask for what there is.
func (w *walker) learn(of string, value any) {
	switch v := value.(type) {
	case []any:
		for _, one := range v {
			w.learn(of, one)
		}
	case map[string]any:
		if id, is := v["id"].(string); is && !strings.ContainsAny(id, "/ %") && id != "" && !slices.Contains(w.ids[of], id) {
			w.ids[of] = append(w.ids[of], id)
		}
		if id, is := v["id"].(string); is && v["revision"] != nil {
			w.revisions[id] = fmt.Sprint(v["revision"])
		}
		for _, key := range slices.Sorted(maps.Keys(v)) {
			w.learn(of, v[key])
		}
	}
}

// Whatever is asked of the API, by whatever the document says and by what it does not say,
// is answered as the document says: no other status, no fault of ours, no other form.
// THAWLINE_WALK is how many requests are made, THAWLINE_SEED which.
func TestEveryAnswerIsAsTheDocumentSays(t *testing.T) {
	many, seed := 560, uint64(1)
	if testing.Short() {
		many = 100
	}
	for name, set := range map[string]func(int){"THAWLINE_WALK": func(n int) { many = n },
		"THAWLINE_SEED": func(n int) { seed = uint64(n) }} {
		if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
			set(n)
		}
	}
	w := walked(t, seed)
	for i := 0; i < many && w.wrong < 8; i++ {
		o := &w.operations[i%len(w.operations)]
		r := w.request(o, i >= 6*len(w.operations))
		w.check(o, r, w.send(r))
	}
	for i := range w.operations {
		well := 0
		for status, n := range w.seen[w.operations[i].OperationID] {
			if status < 300 {
				well += n
			}
		}
		if well == 0 && many >= 560 {
			t.Errorf("%s was never answered well: %v", w.operations[i].OperationID, w.seen[w.operations[i].OperationID])
		}
	}
	t.Logf("seed %d: %d requests to %d operations: %v", seed, w.asked, len(w.operations), w.seen)
}

// Beside its operations the API answers as programs expect: an address where there is
// nothing is a problem document, what can't be done says what can, and HEAD works.
func TestAPIAnswersPrograms(t *testing.T) {
	w := walked(t, 1)
	ask := func(method, path string) *httptest.ResponseRecorder {
		return w.send(httptest.NewRequest(method, "http://localhost:8787"+path, nil))
	}
	for _, path := range []string{"/api/v1/nothing", "/api/v2/sites", "/api/", "/api/v1/sites/kettle/nothing"} {
		got := ask("GET", path)
		var said struct {
			Title, Detail string
			Status        int
		}
		if err := json.Unmarshal(got.Body.Bytes(), &said); err != nil || got.Code != 404 ||
			got.Header().Get("Content-Type") != "application/problem+json" || said.Status != 404 || said.Detail == "" {
			t.Errorf("%s: %d %s", path, got.Code, got.Body)
		}
	}
	if got := ask("DELETE", "/api/v1/sites/kettle/records"); got.Code != 405 ||
		got.Header().Get("Content-Type") != "application/problem+json" ||
		!slices.Equal(got.Header().Values("Allow"), []string{"GET", "HEAD", "POST"}) {
		t.Errorf("DELETE of all records: %d %v %s", got.Code, got.Header(), got.Body)
	}
	for _, path := range []string{"/api/v1/sites", "/api/v1/sites/kettle/outlook", "/api/v1/sites/kettle/records",
		"/api/v1/sites/kettle/records.csv", "/api/v1/openapi.json"} {
		whole, head := ask("GET", path), ask("HEAD", path)
		if head.Code != 200 || head.Body.Len() > 0 || head.Header().Get("Content-Type") != whole.Header().Get("Content-Type") ||
			head.Header().Get("ETag") != whole.Header().Get("ETag") ||
			head.Header().Get("Content-Length") != strconv.Itoa(whole.Body.Len()) {
			t.Errorf("HEAD %s: %d %v", path, head.Code, head.Header())
		}
		again := httptest.NewRequest("GET", "http://localhost:8787"+path, nil)
		again.Header.Set("If-None-Match", `"x", W/`+whole.Header().Get("ETag"))
		if got := w.send(again); got.Code != 304 || got.Body.Len() > 0 {
			t.Errorf("%s again: %d", path, got.Code)
		}
	}
}

// The document by spectral, a checker of others': not one warning. THAWLINE_SPECTRAL names
// the program.
func TestDocumentBySpectral(t *testing.T) {
	spectral := os.Getenv("THAWLINE_SPECTRAL")
	if spectral == "" {
		t.Skip("THAWLINE_SPECTRAL names no spectral: the document of the API is not checked by it")
	}
	w := walked(t, 1)
	document := written(t, "openapi.json",
		w.send(httptest.NewRequest("GET", "http://localhost:8787/api/v1/openapi.json", nil)).Body.String())
	rules := written(t, "rules.yaml", "extends: [\"spectral:oas\"]\n")
	if out, err := exec.CommandContext(t.Context(), spectral, "lint", document, "--ruleset", rules, "--fail-severity", "hint",
		"--quiet").CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
