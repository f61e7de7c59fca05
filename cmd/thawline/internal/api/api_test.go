package api

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/testdata/beside"
)

var now = time.Date(2026, 3, 20, 22, 0, 0, 0, time.UTC)

// served is the API behind a visitor of the test's choice.
type served struct {
	Backend
	api     huma.API
	handler http.Handler
	visitor auth.Identity
	ledger  *ledger.Ledger
}

func open(t *testing.T) *served {
	t.Helper()
	a, err := archive.Open(context.Background(), beside.Where(t, filepath.Join(t.TempDir(), "x.db")))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	sites := []forecast.Site{
		{ID: "hill", Name: "Hill", Zone: time.UTC,
			Groups: []forecast.Group{{ID: "south", Name: "South", Taps: 50, ContainerL: 7.5}, {ID: "north", Taps: 20}}},
		{ID: "far", Name: "Far", Zone: time.UTC, Groups: []forecast.Group{{ID: "all", Taps: 5}}},
	}
	o := &forecast.Outlook{Site: "hill", Bush: forecast.Bush{Name: "Hill"}, IssuedAt: now,
		Cautions: []forecast.Caution{forecast.CautionHotPan},
		Days: []forecast.Day{{Date: "2026-03-20"},
			{Date: "2026-03-21", RunProbability: 0.9, VolumeL: forecast.Range{P10: 50, P50: 100, P90: 200}}}}
	l := ledger.New(a.DB())
	s := &served{ledger: l, Backend: Backend{Outlook: func(_ context.Context, site string) *forecast.Outlook {
		return map[string]*forecast.Outlook{"hill": o}[site]
	}, Sites: func() []forecast.Site { return sites },
		Words: func() (*message.Words, error) {
			return message.NewWords(message.Reader{Language: "en", Units: units.US})
		},
		Thresholds: func(ctx context.Context, site string, now time.Time) (settings, tuned alerts.Thresholds, err error) {
			list, err := l.Verdicts(ctx, site, time.Time{})
			return alerts.Usual, alerts.Usual.Tuned(list, now), err
		},
		WordsIn: func(accepted string) (*message.Words, error) {
			return message.NewWords(message.Reader{Language: map[bool]string{true: "fr", false: "en"}[accepted == "fr"],
				Units: units.Metric})
		},
		Records: a, Intake: intake.Service{Archive: a}, Messages: l, Now: func() time.Time { return now },
		Log: slog.New(slog.DiscardHandler)}}
	r := chi.NewRouter()
	s.api = Register(r, s.Backend)
	s.handler = r
	s.visitor = auth.Identity{Name: "Wren", Person: "wren", Role: auth.Keeper}
	return s
}

func (s *served) ask(method, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r.WithContext(auth.With(r.Context(), s.visitor)))
	return w
}

func (s *served) must(t *testing.T, want int, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	t.Helper()
	w := s.ask(method, path, body, headers...)
	if w.Code != want {
		t.Errorf("%s %s: %d %s, not %d", method, path, w.Code, w.Body, want)
	}
	return w
}

const one = `{"records":[{"group":"south","collected_at":"2026-03-19T17:30:00-04:00","volume_l":120,"brix":2.1,"note":"ice"}]}`

// Every operation × every role and scope: what is not allowed is refused, and
// nothing is without a scope.
func TestRightsOfEveryOperation(t *testing.T) {
	s := open(t)
	all := auth.Scopes()
	visitors := map[string]auth.Identity{"nobody": {}, "viewer": {Role: auth.Viewer}, "crew": {Role: auth.Crew, Person: "odell"},
		"keeper": {Role: auth.Keeper}}
	for _, scope := range all {
		visitors[string(scope)] = auth.Identity{Name: "token", Role: auth.Viewer, Scopes: []auth.Scope{scope}}
	}
	may := map[auth.Scope][]string{
		auth.ReadOutlook:  {"viewer", "crew", "keeper", string(auth.ReadOutlook)},
		auth.ReadRecords:  {"viewer", "crew", "keeper", string(auth.ReadRecords)},
		auth.WriteRecords: {"crew", "keeper", string(auth.WriteRecords)}, auth.Acknowledge: {"crew", "keeper", string(auth.Acknowledge)},
		auth.ReadMembers:  {"keeper", string(auth.ReadMembers), string(auth.WriteMembers)},
		auth.WriteMembers: {"keeper", string(auth.WriteMembers)},
		auth.ReadMessages: {"crew", "keeper", string(auth.ReadMessages), string(auth.Acknowledge)},
	}
	checked := 0
	for path, item := range s.api.OpenAPI().Paths {
		for method, op := range map[string]*huma.Operation{"GET": item.Get, "POST": item.Post, "PUT": item.Put, "DELETE": item.Delete,
			"PATCH": item.Patch} {
			if op == nil {
				continue
			}
			scope, ok := op.Metadata[scopeOf].(auth.Scope)
			if !ok || len(op.Security) != 1 || op.Description == "" || op.Summary == "" {
				t.Errorf("%s %s: scope %v, security %v, description %q", method, path, op.Metadata, op.Security, op.Description)
			}
			for who, v := range visitors {
				checked++
				s.visitor = v
				w := s.ask(method, strings.NewReplacer("{site}", "hill", "{kind}", "bush", "{id}", "none", "{delivery}",
					"none").Replace(path), `{"records":[{"group":"none","collected_at":"2026-03-19"}]}`)
				allowed := false
				for _, m := range may[scope] {
					allowed = allowed || m == who
				}
				if op.OperationID == "cancel-class" && who == "crew" { // keepers alone take a visit back
					allowed = false
				}
				refused := w.Code == http.StatusUnauthorized || w.Code == http.StatusForbidden
				if allowed == refused || who == "nobody" &&
					(w.Code != http.StatusUnauthorized || w.Header().Get("WWW-Authenticate") == "") {
					t.Errorf("%s %s as %s: %d %s", method, path, who, w.Code, w.Body)
				}
			}
		}
	}
	if checked < 80 {
		t.Errorf("only %d checked", checked)
	}
}

func TestDocumentIsOpenAPI31(t *testing.T) {
	s := open(t)
	s.visitor = auth.Identity{}
	w := s.must(t, 200, "GET", "/api/v1/openapi.json", "")
	var doc struct {
		OpenAPI string                    `json:"openapi"`
		Paths   map[string]map[string]any `json:"paths"`
	}
	if err := json.Unmarshal(w.Body.Bytes(), &doc); err != nil || !strings.HasPrefix(doc.OpenAPI, "3.1") || len(doc.Paths) < 7 {
		t.Errorf("%v %s %d", err, doc.OpenAPI, len(doc.Paths))
	}
	if strings.Contains(w.Body.String(), "//unpkg") || s.ask("GET", "/docs", "").Code != 404 {
		t.Error("the documents ask another host")
	}
}

// Asked again with its tag, an outlook that has not changed is not sent.
func TestOutlook(t *testing.T) {
	s := open(t)
	w := s.must(t, 200, "GET", "/api/v1/sites/hill/outlook", "")
	var doc map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	if text, _ := doc["evening_text"].(string); !strings.Contains(text, "tomorrow") || doc["site"] != "hill" {
		t.Errorf("%s", w.Body)
	}
	if care, _ := doc["cautions"].([]any); len(care) != 1 || !strings.Contains(care[0].(string), "Boiling sap") {
		t.Errorf("cautions %v", doc["cautions"])
	}
	tag := w.Header().Get("ETag")
	if again := s.must(t, 304, "GET", "/api/v1/sites/hill/outlook", "", "If-None-Match", tag); again.Body.Len() > 0 ||
		again.Header().Get("ETag") != tag {
		t.Errorf("%q %v", again.Body, again.Header())
	}
	s.must(t, 200, "GET", "/api/v1/sites/hill/outlook", "", "If-None-Match", `"another"`)
	s.must(t, 404, "GET", "/api/v1/sites/far/outlook", "") // no outlook yet
	s.must(t, 404, "GET", "/api/v1/sites/none/outlook", "")
	s.visitor = auth.Identity{Role: auth.Viewer, Site: "far"}
	s.must(t, 404, "GET", "/api/v1/sites/hill/outlook", "") // not to be seen
	if w := s.must(t, 200, "GET", "/api/v1/sites", ""); strings.Contains(w.Body.String(), "hill") {
		t.Errorf("%s", w.Body)
	}
}

func TestRecordsInAndOut(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/records"
	if w := s.must(t, 200, "POST", path, one, "Idempotency-Key", "phone-0001"); !strings.Contains(w.Body.String(), `"outcome":"added"`) {
		t.Errorf("%s", w.Body)
	}
	w := s.must(t, 200, "GET", path+"?from=2026-03-19&to=2026-03-19", "")
	var list []Record
	if err := json.Unmarshal(w.Body.Bytes(), &list); err != nil || len(list) != 1 {
		t.Fatalf("%v %s", err, w.Body)
	}
	r := list[0]
	if *r.VolumeL != 120 || *r.Brix != 2.1 || r.Taps != 50 || r.RecordedBy != "Wren" || r.CollectedAt != "2026-03-19T21:30:00Z" {
		t.Errorf("%+v", r)
	}
	s.must(t, 304, "GET", path+"?from=2026-03-19&to=2026-03-19", "", "If-None-Match", w.Header().Get("ETag"))
	if none := s.must(t, 200, "GET", path+"?from=2026-03-20", ""); strings.TrimSpace(none.Body.String()) != "[]" {
		t.Errorf("%s", none.Body)
	}

	// Two who correct the same revision: the second is told, and nothing is lost.
	item := path + "/" + r.ID
	s.must(t, 428, "PUT", item, `{"volume_l":100}`)
	if w := s.must(t, 200, "PUT", item, `{"volume_l":100}`, "If-Match", `"1"`); w.Header().Get("ETag") != `"2"` {
		t.Errorf("%v", w.Header())
	}
	s.must(t, 412, "PUT", item, `{"volume_l":90}`, "If-Match", `"1"`)
	s.must(t, 412, "DELETE", item, "", "If-Match", `"1"`)

	// The phone sends its entry again: the correction stands.
	if w := s.must(t, 200, "POST", path, one, "Idempotency-Key", "phone-0001"); !strings.Contains(w.Body.String(), `"again":true`) {
		t.Errorf("%s", w.Body)
	}
	if w := s.ask("GET", path, ""); !strings.Contains(w.Body.String(), `"volume_l":100`) {
		t.Errorf("the correction is gone: %s", w.Body)
	}
	if w := s.must(t, 200, "POST", item+"/undo", ""); !strings.Contains(w.Body.String(), `"volume_l":120`) {
		t.Errorf("%s", w.Body)
	}
	s.must(t, 204, "DELETE", item, "", "If-Match", `"3"`)
	s.must(t, 404, "DELETE", item, "", "If-Match", `"4"`)
	s.must(t, 200, "POST", item+"/undo", "")
	s.must(t, 404, "POST", "/api/v1/sites/far/records/"+r.ID+"/undo", "") // of another site

	file := s.must(t, 200, "GET", path+".csv", "")
	back, err := records.ReadCSV(file.Body, "records.csv", time.UTC)
	if err != nil || len(back) != 1 || back[0].VolumeL != 120 {
		t.Errorf("%v %+v", err, back)
	}
	s.visitor = auth.Identity{Role: auth.Viewer}
	if w := s.must(t, 200, "GET", path, ""); strings.Contains(w.Body.String(), "Wren") {
		t.Errorf("a viewer sees who wrote it: %s", w.Body)
	}
}

// Of two who correct the same revision at once one is told, and a key stands for the
// records that were first sent with it.
func TestNothingIsOverwrittenUnseen(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/records"
	s.must(t, 200, "POST", path, one, "Idempotency-Key", "scale-0001")
	s.must(t, 200, "POST", path, one, "Idempotency-Key", "scale-0001")
	if w := s.must(t, 422, "POST", path, strings.Replace(one, "120", "130", 1), "Idempotency-Key",
		"scale-0001"); !strings.Contains(w.Body.String(), "used for other records") {
		t.Errorf("%s", w.Body)
	}
	var list []Record
	if err := json.Unmarshal(s.must(t, 200, "GET", path, "").Body.Bytes(), &list); err != nil || len(list) != 1 || *list[0].VolumeL != 120 {
		t.Fatalf("%v %+v", err, list)
	}
	const many = 4
	codes := make(chan int, many)
	for i := range many {
		go func() {
			codes <- s.ask("PUT", path+"/"+list[0].ID, fmt.Sprintf(`{"volume_l":%d}`, 50+i), "If-Match", `"1"`).Code
		}()
	}
	count := map[int]int{}
	for range many {
		count[<-codes]++
	}
	if count[200] != 1 || count[412] != many-1 {
		t.Errorf("%v", count)
	}
}

// Each fault is told with its place, and nothing of the whole is written.
func TestBrokenRecords(t *testing.T) {
	s := open(t)
	const path = "/api/v1/sites/hill/records"
	good := `{"group":"south","collected_at":"2026-03-18","volume_l":10}`
	for bad, says := range map[string]string{
		`{"group":"soth","collected_at":"2026-03-19"}`:                    `south`,
		`{"group":"south","collected_at":"yesterday"}`:                    `body.records[1].collected_at`,
		`{"group":"south","collected_at":"2027-03-19","volume_l":10}`:     `lies in the future`,
		`{"group":"south","collected_at":"2026-03-19","volume_l":-1}`:     `body.records[1].volume_l`,
		`{"group":"south","collected_at":"2026-03-19","volume_l":5000}`:   `more than they can hold (375 litres)`,
		`{"group":"south","collected_at":"2026-03-19","brix":12}`:         `Was it concentrate`,
		`{"group":"south","collected_at":"2026-03-19","brix":40}`:         `body.records[1].brix`,
		`{"group":"south","collected_at":"2026-03-19","volume_l":"much"}`: `body.records[1].volume_l`,
		`{"group":"south"}`: `collected_at`,
		`{"group":"south","collected_at":"2026-03-19","volume_gal":3}`:                            `volume_gal`,
		`{"group":"south","collected_at":"2026-03-19","note":"` + strings.Repeat("x", 501) + `"}`: `note`,
	} {
		w := s.must(t, 422, "POST", path, `{"records":[`+good+`,`+bad+`]}`)
		if !strings.Contains(w.Body.String(), says) || !strings.HasPrefix(w.Header().Get("Content-Type"), "application/problem+json") {
			t.Errorf("%s: %s %s", bad, w.Header().Get("Content-Type"), w.Body)
		}
	}
	s.must(t, 400, "POST", path, one, "Idempotency-Key", "no")
	s.must(t, 400, "POST", path, `{"records":`)
	s.must(t, 422, "POST", path, `{"records":[]}`)
	s.must(t, 413, "POST", path, `{"records":[{"note":"`+strings.Repeat("x", 2<<20)+`"}]}`)
	if stored, err := s.Records.Visits(t.Context(), "", time.Time{}, time.UTC); err != nil || len(stored) != 0 {
		t.Errorf("%d written, %v", len(stored), err)
	}
}

func TestMessages(t *testing.T) {
	s := open(t)
	d := alerts.Decision{Kind: alerts.Evening, Site: "hill", Key: "evening:2026-03-21", Until: now.Add(10 * time.Hour)}
	if _, err := s.ledger.Record(t.Context(), d,
		[]ledger.Recipient{{Person: "wren", Words: "to Wren"}, {Person: "odell", Words: "to Odell"}}, now); err != nil {
		t.Fatal(err)
	}
	s.visitor = auth.Identity{Role: auth.Crew, Person: "odell", Name: "Odell"}
	w := s.must(t, 200, "GET", "/api/v1/sites/hill/messages", "")
	var list []Message
	if err := json.Unmarshal(w.Body.Bytes(), &list); err != nil || len(list) != 1 || list[0].Text != "to Odell" || list[0].SeenAt != nil {
		t.Fatalf("%v %s", err, w.Body)
	}
	seen := "/api/v1/messages/" + list[0].ID + "/acknowledgement"
	s.visitor.Person = "ida"
	s.must(t, 404, "POST", seen, "") // of somebody else
	s.must(t, 404, "POST", "/api/v1/messages/"+list[0].ID[:20]+"/acknowledgement", "")
	s.visitor.Person = "odell"
	s.must(t, 204, "POST", seen, "")
	s.must(t, 204, "POST", seen, "")
	s.visitor = auth.Identity{Name: "token", Role: auth.Crew, Scopes: []auth.Scope{auth.Acknowledge}}
	if w := s.must(t, 200, "GET", "/api/v1/sites/hill/messages", ""); !strings.Contains(w.Body.String(),
		`"acknowledged_at":"2026-03-20T22:00:00Z"`) || !strings.Contains(w.Body.String(), "to Wren") {
		t.Errorf("%s", w.Body)
	}
}

// Who may only read messages says of none that it was seen.
func TestReadingMessagesIsNotAcknowledging(t *testing.T) {
	s := open(t)
	d := alerts.Decision{Kind: alerts.Evening, Site: "hill", Key: "evening:2026-03-21", Until: now.Add(10 * time.Hour)}
	if _, err := s.ledger.Record(t.Context(), d, []ledger.Recipient{{Person: "wren", Words: "to Wren"}}, now); err != nil {
		t.Fatal(err)
	}
	s.visitor = auth.Identity{Name: "token", Role: auth.Viewer, Scopes: []auth.Scope{auth.ReadMessages}}
	var list []Message
	if err := json.Unmarshal(s.must(t, 200, "GET", "/api/v1/sites/hill/messages", "").Body.Bytes(), &list); err != nil || len(list) != 1 {
		t.Fatalf("%v %+v", err, list)
	}
	seen := "/api/v1/messages/" + list[0].ID + "/acknowledgement"
	s.must(t, 403, "POST", seen, "")
	s.visitor.Scopes = []auth.Scope{auth.Acknowledge}
	s.must(t, 204, "POST", seen, "")
}

func TestOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){"records": TestRecordsInAndOut,
		"nothing overwritten": TestNothingIsOverwrittenUnseen, "broken records": TestBrokenRecords, "messages": TestMessages,
		"questions": TestQuestionsAreAnswered})
}
