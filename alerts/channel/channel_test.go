package channel

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/go-resty/resty/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"thawline/forecast/secret"
)

var sample = Message{Key: "0195-abc", To: "+18025550123", Name: "Hill", Text: "Sap & \"snow\"\nà 5 h", Kind: "evening",
	MadeAt: time.Date(2026, 3, 20, 22, 30, 0, 0, time.UTC), Until: time.Date(2026, 3, 21, 8, 0, 0, 0, time.UTC)}

// answering is a server that notes the last request and answers in a way.
type answering struct {
	status int
	header map[string]string
	body   string
	seen   *http.Request
	got    string
}

func (a *answering) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	data, _ := io.ReadAll(r.Body)
	a.seen, a.got = r, string(data)
	for k, v := range a.header {
		w.Header().Set(k, v)
	}
	if a.status != 0 {
		w.WriteHeader(a.status)
	}
	_, _ = io.WriteString(w, a.body)
}

func TestGatewayFillsTheDescribedRequest(t *testing.T) {
	a := &answering{body: `{"status":"queued"}`}
	server := httptest.NewServer(a)
	defer server.Close()
	g := &Gateway{GatewayOptions{URL: server.URL + "/send", JSON: `{"to":"{to}","body":"{text}","ref":"{key}"}`,
		Header: "Authorization: Bearer {secret}", Secret: secret.New("s3cret"), Accepted: regexp.MustCompile("queued")}, resty.New()}
	if _, err := g.Send(context.Background(), sample); err != nil {
		t.Fatal(err)
	}
	var got map[string]string
	if err := json.Unmarshal([]byte(a.got), &got); err != nil || got["to"] != sample.To || got["body"] != sample.Text ||
		got["ref"] != sample.Key || a.seen.Header.Get("Authorization") != "Bearer s3cret" {
		t.Errorf("%v %q %v", err, a.got, a.seen.Header)
	}
	g.JSON, g.Form = "", "to={to}&body={text}"
	if _, err := g.Send(context.Background(), sample); err != nil || a.got != "to=%2B18025550123&body=Sap+%26+%22snow%22%0A%C3%A0+5+h" {
		t.Errorf("%v %q", err, a.got)
	}
	g.Form, g.URL, g.Method = "", server.URL+"/send?to={to}&text={text}", "GET"
	if _, err := g.Send(context.Background(), sample); err != nil || a.seen.URL.Query().Get("text") != sample.Text ||
		a.seen.Method != "GET" {
		t.Errorf("%v %s", err, a.seen.URL)
	}
}

func TestGatewayAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		answer  answering
		outcome string
		wait    time.Duration
	}{
		"429 with Retry-After":     {answering{status: 429, header: map[string]string{"Retry-After": "120"}}, "later", 2 * time.Minute},
		"503":                      {answering{status: 503, body: "busy s3cret"}, "later", 0},
		"400":                      {answering{status: 400, body: "no such number +18025550123"}, "refused", 0},
		"401":                      {answering{status: 401}, "refused", 0},
		"200 with an error inside": {answering{body: `{"error":"no credit"}`}, "later", 0},
		"redirect": {answering{status: 302, header: map[string]string{"Location": "http://elsewhere.invalid/"}},
			"later", 0},
	} {
		server := httptest.NewServer(&c.answer)
		g := &Gateway{GatewayOptions{URL: server.URL, Form: "to={to}&text={text}", Secret: secret.New("s3cret"),
			Accepted: regexp.MustCompile("queued")}, resty.New().SetRedirectPolicy(resty.NoRedirectPolicy())}
		_, err := g.Send(context.Background(), sample)
		outcome, wait := Outcome(err)
		if err == nil || outcome != c.outcome || wait != c.wait {
			t.Errorf("%s: %v, %s after %s", name, err, outcome, wait)
		}
		if err != nil && (strings.Contains(err.Error(), "s3cret") || strings.Contains(err.Error(), sample.To)) {
			t.Errorf("%s: a secret or a number is told: %v", name, err)
		}
		server.Close()
	}
	dead := &Gateway{GatewayOptions{URL: "http://127.0.0.1:1/{to}", Form: "text={text}"}, resty.New()}
	if _, err := dead.Send(context.Background(), sample); err == nil || strings.Contains(err.Error(), "8025550123") {
		t.Errorf("nobody listens: %v", err)
	}
}

// The signature is verified by the specification's own library.
func TestWebhookIsSigned(t *testing.T) {
	const key = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw" // of the specification's examples
	a := &answering{}
	server := httptest.NewServer(a)
	defer server.Close()
	w := &Webhook{WebhookOptions{URL: server.URL, Secret: secret.New(key)}, resty.New(), time.Now}
	if _, err := w.Send(context.Background(), sample); err != nil {
		t.Fatal(err)
	}
	verifier, err := standardwebhooks.NewWebhook(key)
	if err != nil {
		t.Fatal(err)
	}
	if err := verifier.Verify([]byte(a.got), a.seen.Header); err != nil || a.seen.Header.Get("webhook-id") != sample.Key {
		t.Errorf("%v %v", err, a.seen.Header)
	}
	if err := verifier.Verify([]byte(a.got+" "), a.seen.Header); err == nil {
		t.Error("a changed body verifies")
	}
	w.Secret = secret.New("hunter2!")
	if _, err := w.Send(context.Background(), sample); err == nil {
		t.Error("a secret that is none signs")
	}
}

func TestNtfy(t *testing.T) {
	a := &answering{}
	server := httptest.NewServer(a)
	defer server.Close()
	n := &Ntfy{NtfyOptions{URL: server.URL + "/", Token: secret.New("tk_1")}, resty.New()}
	m := sample
	m.To, m.Urgent, m.AckLink = "sap", true, "https://x.invalid/a/1"
	if _, err := n.Send(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(a.got), &got); err != nil || got["topic"] != "sap" || got["message"] != m.Text ||
		got["priority"] != 4.0 || got["click"] != m.AckLink || a.seen.Header.Get("Authorization") != "Bearer tk_1" {
		t.Errorf("%v %s", err, a.got)
	}
	a.status = 403
	if _, err := n.Send(context.Background(), m); err == nil {
		t.Error("a refusal passes")
	} else if outcome, _ := Outcome(err); outcome != "refused" {
		t.Error(outcome)
	}
}

func TestModemWritesOneFileForAMessage(t *testing.T) {
	defer syscall.Umask(syscall.Umask(0o077)) // the daemon's
	g := &Modem{Outbox: t.TempDir()}
	for range 2 { // tried twice: the same file
		if _, err := g.Send(context.Background(), sample); err != nil {
			t.Fatal(err)
		}
	}
	files, err := filepath.Glob(filepath.Join(g.Outbox, "*"))
	if err != nil || len(files) != 1 || filepath.Base(files[0]) != "OUTC20260320_223000_00_+18025550123_0195abc.txt" {
		t.Fatalf("%v %v", err, files)
	}
	if info, err := os.Stat(files[0]); err != nil || info.Mode().Perm() != 0o660 {
		t.Errorf("gammu-smsd cannot read it: %v %v", info.Mode(), err)
	}
	data, err := os.ReadFile(files[0])
	if err != nil || data[0] != 0xff || data[1] != 0xfe {
		t.Fatalf("%v % x", err, data)
	}
	var units []uint16
	for i := 2; i < len(data); i += 2 {
		units = append(units, binary.LittleEndian.Uint16(data[i:]))
	}
	if got := string(utf16.Decode(units)); got != sample.Text {
		t.Errorf("%q", got)
	}
	bad := sample
	bad.To = "../../etc/x"
	if _, err := g.Send(context.Background(), bad); err == nil {
		t.Error("a number with a path in it is taken")
	}
	g.Outbox = filepath.Join(g.Outbox, "none")
	if _, err := g.Send(context.Background(), sample); err == nil || !strings.Contains(err.Error(), "outbox of the modem") {
		t.Error(err)
	}
}

func TestEmailToNobody(t *testing.T) {
	e := &Email{EmailOptions: EmailOptions{Host: "127.0.0.1", Port: 1, From: "sugarhouse@example.org", Plain: true}, Timeout: time.Second}
	m := sample
	m.To = "robin at example"
	if _, err := e.Send(context.Background(), m); err == nil {
		t.Error("an address that is none is taken")
	} else if outcome, _ := Outcome(err); outcome != "refused" {
		t.Error(err)
	}
	m.To = "robin@example.org"
	if _, err := e.Send(context.Background(), m); err == nil {
		t.Error("nobody listens, yet it is sent")
	} else if outcome, _ := Outcome(err); outcome != "later" {
		t.Error(err)
	}
}
