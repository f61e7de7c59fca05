package daemon

import (
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts/channel"
)

// A mail names an address that ends all messages with one POST and not by being looked at;
// another's address ends nothing of theirs. Names keep their letters everywhere but in a
// text message.
func TestMailIsEndedWithOneClick(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	box := &recorder{}
	s := evenSettings("")
	s.Link, s.Sites[0].Name, s.Channels = "https://sap.example.org", "São João", map[string]channel.Channel{"text": box}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	d.Step(t.Context(), now)
	if len(box.got) != 3 {
		t.Fatalf("%d messages", len(box.got))
	}
	for _, m := range box.got {
		if !strings.Contains(m.Text, "São João") || strings.Contains(m.ForPhone(), "ã") || !strings.Contains(m.ForPhone(), "Sao Joao") {
			t.Errorf("%q and, by phone, %q", m.Text, m.ForPhone())
		}
	}
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return now }))
	defer server.Close()
	link, _ := strings.CutPrefix(box.got[0].StopLink, "https://sap.example.org")
	stopped := func() (who []string) {
		for _, p := range d.settings.People {
			if is, err := d.Ledger.Stopped(t.Context(), p.ID); err != nil {
				t.Fatal(err)
			} else if is {
				who = append(who, p.ID)
			}
		}
		return who
	}
	if status, text := get(t, server.URL+link); status != 200 || !strings.Contains(text, "<button>") || len(stopped()) > 0 {
		t.Errorf("looked at: %d %s, stopped %v", status, text, stopped())
	}
	post := func(path string) int {
		answer, err := http.Post(server.URL+path, "application/x-www-form-urlencoded", strings.NewReader("List-Unsubscribe=One-Click"))
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		return answer.StatusCode
	}
	if got := post("/u/" + strings.Repeat("0", 32)); got != 404 || len(stopped()) > 0 {
		t.Errorf("nobody's address: %d, stopped %v", got, stopped())
	}
	if got := post(link); got != 200 || len(stopped()) != 1 || stopped()[0] != box.got[0].Person {
		t.Errorf("%d, stopped %v, want %s", got, stopped(), box.got[0].Person)
	}
}
