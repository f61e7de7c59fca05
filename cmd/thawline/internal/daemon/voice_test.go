package daemon

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
)

// A call that finds the line busy and then nobody is made again under its key; the 1 ends
// it: it is told once, acknowledged, and no keeper hears of it.
func TestACallIsToldOnce(t *testing.T) {
	outcomes, keys := []string{"busy", "no-answer", `completed {"digit": "1"}`}, []string{}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		keys = append(keys, r.FormValue("key"))
		if said := r.FormValue("say"); !strings.Contains(said, "Press one") || strings.ContainsAny(said, "0123456789%:()") {
			t.Errorf("said %q", said)
		}
		if len(keys) > len(outcomes) {
			t.Errorf("called %d times", len(keys))
			return
		}
		_, _ = io.WriteString(w, outcomes[len(keys)-1])
	}))
	defer server.Close()
	o := &channel.VoiceOptions{GatewayOptions: channel.GatewayOptions{URL: server.URL, Form: "key={key}&say={text}&to={to}"},
		Pressed: regexp.MustCompile(`"digit": *"1"`), Heard: regexp.MustCompile("completed"), Busy: regexp.MustCompile("busy")}
	d, box := crewAndKeepers(t, march, func(s *Settings) {
		s.Link = "https://sap.example.org"
		s.Channels["call"] = o.Open(channel.With{Agent: "test", Timeout: time.Second})
		s.People[0].Ways = []channel.Way{{Channel: "call", To: "+18025550101"}}
	})
	ctx := context.Background()
	overflows(t, d, march)
	for now := march; now.Before(march.Add(2 * time.Hour)); now = now.Add(time.Minute) {
		d.deliver(ctx, now)
		d.escalate(ctx, now)
	}
	if len(keys) != 3 || keys[0] != keys[1] || keys[1] != keys[2] {
		t.Errorf("called under %v", keys)
	}
	for _, m := range box.got {
		if m.Kind == alerts.Escalation {
			t.Errorf("a keeper hears of what was heard: %s", m.Text)
		}
	}
	list, err := d.Ledger.Recent(ctx, 10)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		if v := &list[i]; v.Kind == alerts.Overflow && v.Person == d.settings.People[0].ID && v.AckedAt.IsZero() {
			t.Error("pressing 1 did not acknowledge")
		}
	}
}

// The bulletin and the evening as sound stand beside the other feeds; without a voice there
// is no sound, and the bulletin tells nobody's gallons.
func TestFeedsThatAreHeard(t *testing.T) {
	d, _, server, _ := evening(t)
	address, err := Address(context.Background(), d.Ledger, "feed", "bush")
	if err != nil {
		t.Fatal(err)
	}
	base := server.URL + "/f/" + address
	for query, says := range map[string]string{"": "Maple sap bulletin", "?lang=fr": "Bulletin des sucres"} {
		for _, kind := range []string{"txt", "atom"} {
			if status, text := get(t, base+"/bulletin."+kind+query); status != 200 || !strings.Contains(text, says) ||
				strings.Contains(text, "gallon") || strings.Contains(text, "Bush") {
				t.Errorf("%s%s: %d %s", kind, query, status, text)
			}
		}
	}
	if status, _ := get(t, base+"/evening.wav"); status != 404 {
		t.Errorf("without a voice: %d", status)
	}
	if status, _ := get(t, server.URL+"/f/nobody/bulletin.txt"); status != 404 {
		t.Errorf("a stranger: %d", status)
	}
	espeak, err := exec.LookPath("espeak-ng")
	if err != nil {
		t.Skip("espeak-ng is not installed: no evening is spoken")
	}
	d.mu.Lock()
	d.settings.Voice.Command = espeak + " -v {language} -w {file} --stdin"
	d.mu.Unlock()
	if status, sound := get(t, base+"/evening.wav?lang=fr"); status != 200 || !strings.HasPrefix(sound, "RIFF") || len(sound) < 40_000 {
		t.Errorf("%d, %d bytes", status, len(sound))
	}
}
