package channel

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"
)

// callGateway is a stand-in for a service that calls: what becomes of each call in turn.
func callGateway(t *testing.T, outcomes ...string) (address string, calls *[]map[string]string) {
	t.Helper()
	calls = &[]map[string]string{}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		call := map[string]string{}
		if err == nil {
			err = json.Unmarshal(body, &call)
		}
		if err != nil || len(*calls) >= len(outcomes) {
			t.Errorf("call %d: %v %s", len(*calls)+1, err, body)
			return
		}
		*calls = append(*calls, call)
		_, _ = io.WriteString(w, outcomes[len(*calls)-1])
	}))
	t.Cleanup(server.Close)
	return server.URL, calls
}

func voiceAt(address string) *VoiceOptions {
	return &VoiceOptions{GatewayOptions: GatewayOptions{URL: address,
		JSON: `{"to": "{to}", "say": "{text}", "language": "{language}", "reference": "{key}"}`},
		Pressed: regexp.MustCompile(`"digit": *"1"`), Heard: regexp.MustCompile("completed"), Busy: regexp.MustCompile("busy")}
}

// A call is heard, busy, not picked up, or answered with the 1; only the last acknowledges.
func TestCalls(t *testing.T) {
	address, calls := callGateway(t, `{"status": "busy"}`, `{"status": "no-answer"}`, `{"status": "completed"}`,
		`{"status": "completed", "digit": "1", "more": "`+strings.Repeat("x", 400)+`"}`)
	o := voiceAt(address)
	if faults := o.Check(); len(faults) > 0 {
		t.Fatal(faults)
	}
	v := o.Open(With{Agent: "test", Timeout: time.Second})
	acknowledged := 0
	m := Message{Key: "k", To: "+18025550123", Text: "Ridge pails will run over, chance 80 %.",
		Spoken: "Ridge pails will run over, chance eighty percent. Press one to say that you heard this.", Language: "en",
		Acknowledge: func(context.Context) error { acknowledged++; return nil }}
	for i, want := range []struct {
		said, refused string
		wait          time.Duration
	}{{"", "the line is busy", 3 * time.Minute}, {"", "nobody picked up", 5 * time.Minute}, {"heard", "", 0},
		{"heard, and pressed 1", "", 0}} {
		said, err := v.Send(context.Background(), m)
		var r *Refusal
		if errors.As(err, &r) != (want.refused != "") || r != nil && (r.Said != want.refused || r.Wait != want.wait || r.Permanent) ||
			said != want.said {
			t.Errorf("call %d: %q %v", i+1, said, err)
		}
		if pressed := i == 3; pressed != (acknowledged == 1) {
			t.Errorf("call %d: acknowledged %d times", i+1, acknowledged)
		}
	}
	for _, call := range *calls {
		if call["reference"] != "k" || call["say"] != m.Spoken || call["language"] != "en" || call["to"] != m.To {
			t.Errorf("%v", call)
		}
	}
	if faults := (&VoiceOptions{GatewayOptions: GatewayOptions{URL: address, Form: "a={to}&b={text}"}}).Check(); len(faults) != 1 ||
		faults[0].Key != "pressed" {
		t.Errorf("%v", faults)
	}
}
