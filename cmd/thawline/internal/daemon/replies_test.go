package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/units"
)

// A text that could not be dealt with to the end is sent again by the gateway: it
// becomes one record all the same.
func TestOneTextIsOneRecord(t *testing.T) {
	d, _, server, now := evening(t)
	ctx := context.Background()
	address, err := Address(ctx, d.Ledger, "in", "bush")
	if err != nil {
		t.Fatal(err)
	}
	do := func(statement string) {
		t.Helper()
		if _, err := d.Archive.DB().ExecContext(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	do("CREATE TRIGGER full BEFORE INSERT ON decision BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END")
	for try := range 4 {
		if try == 3 {
			do("DROP TRIGGER full")
		}
		*now = now.Add(7 * time.Second)
		answer, err := http.PostForm(server.URL+"/in/"+address, url.Values{"From": {"+18025550101"}, "Body": {"40 gal 2.1"}, "id": {"1"}})
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if want := map[bool]int{true: http.StatusNoContent, false: http.StatusServiceUnavailable}[try == 3]; answer.StatusCode != want {
			t.Errorf("%d, want %d", answer.StatusCode, want)
		}
	}
	visits, err := d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC)
	if err != nil || len(visits) != 1 {
		t.Errorf("%v %d records", err, len(visits))
	}
}

// "ok" from somebody who was told nothing is no fault: the gateway is not to call
// again.
func TestSeenWithNothingTold(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, _ := crewAndKeepers(t, now, nil)
	if err := d.heard(context.Background(), &d.settings.Sites[0], &d.settings.People[0], "ok", "1", now); err != nil {
		t.Error(err)
	}
}

// Who may not write records on the pages may not by text either: they get one answer
// in their words. What concerns them alone goes on.
func TestRoleIsAskedOfTexts(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for role, writes := range map[auth.Role]bool{auth.Nobody: false, auth.Viewer: false, auth.Crew: true, auth.Keeper: true} {
		for language, refusal := range map[string]string{"en": "Nothing was written down.", "fr": "Rien n'a été noté."} {
			d, box := crewAndKeepers(t, now, func(s *Settings) { s.People[0].Role, s.People[0].Reader.Language = string(role), language })
			p, site := &d.settings.People[0], &d.settings.Sites[0]
			at := now
			says := func(text string) string {
				t.Helper()
				box.got = nil
				at = at.Add(time.Minute)
				for range 2 { // a gateway may call twice
					if err := d.heard(ctx, site, p, text, text, at); err != nil {
						t.Fatal(err)
					}
				}
				d.deliver(ctx, at)
				return box.said()
			}
			for _, text := range []string{site.Groups[0].ID + " 20 L", "20 L 2.1", "not checked", "what a day"} {
				if said := says(text); strings.Count(said, refusal) != map[bool]int{false: 1}[writes] || len(box.got) != 1 {
					t.Errorf("%s, %s, %q: %s", role, language, text, said)
				}
			}
			visits, err := d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC)
			if err != nil || len(visits) != map[bool]int{true: 2}[writes] { // the same litres within minutes are one
				t.Errorf("%s, %s: %v %d records", role, language, err, len(visits))
			}
			says("stop")
			if stopped, err := d.Ledger.Stopped(ctx, p.ID); err != nil || !stopped {
				t.Errorf("%s, %s: STOP is not kept: %v", role, language, err)
			}
			says("start")
			if stopped, err := d.Ledger.Stopped(ctx, p.ID); err != nil || stopped {
				t.Errorf("%s, %s: START is not kept: %v", role, language, err)
			}
			if said := says("ok"); len(box.got) != 1 || strings.Contains(said, refusal) {
				t.Errorf("%s, %s: the answer to OK: %s", role, language, said)
			}
		}
	}
}

// A number that may be in thousands is asked back in the reader's language with both
// its readings, and written down as neither.
func TestThousandsAreAskedBack(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for language, want := range map[string][2]string{"en": {"Is that 1200 or 1.2?", "without a comma"},
		"fr": {"Est-ce 1200 ou 1,2?", "sans virgule"}} {
		d, box := crewAndKeepers(t, now, func(s *Settings) { s.People[0].Reader.Language = language })
		for i, text := range []string{"1,200 L", "1.200,5 L"} {
			if err := d.heard(ctx, &d.settings.Sites[0], &d.settings.People[0], text, text, now); err != nil {
				t.Fatal(err)
			}
			d.deliver(ctx, now)
			if said := box.said(); !strings.Contains(said, want[i]) {
				t.Errorf("%s, %q: %s, want %s", language, text, said, want[i])
			}
		}
		if visits, err := d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC); err != nil || len(visits) != 0 {
			t.Errorf("%s: %v %d records", language, err, len(visits))
		}
	}
}

// A gateway's number has one address, whatever the shape of its call-backs; who writes is
// found by the number.
func TestCallBacksOfAllShapes(t *testing.T) {
	d, _, server, now := evening(t)
	ctx := context.Background()
	address, err := Address(ctx, d.Ledger, "in", GatewayAddress)
	if err != nil {
		t.Fatal(err)
	}
	d.mu.Lock()
	d.settings.Shapes = []hooks.Shape{{From: []string{"who.nr"}, Text: []string{"what"}, ID: []string{"ref"}}}
	d.mu.Unlock()
	parts := "--x\r\nContent-Disposition: form-data; name=\"from\"\r\n\r\n+18025550101\r\n--x\r\nContent-Disposition: form-data; name=\"text\"\r\n\r\n19 gal\r\n--x--\r\n"
	shapes := []struct{ name, method, kind, body string }{
		{"form", "POST", "application/x-www-form-urlencoded", "From=%2B18025550101&Body=11+gal&MessageSid=a"},
		{"form with a bare plus", "POST", "application/x-www-form-urlencoded", "msisdn=+18025550101&text=12+gal&messageId=b"},
		{"flat JSON", "POST", "application/json", `{"from":"+18025550101","text":"13 gal","id":"c"}`},
		{"numeric sender", "POST", "application/json", `{"sender":18025550101,"message":"14 gal","id":5}`},
		{"nested JSON", "POST", "application/json; charset=utf-8",
			`{"data":{"event_type":"message.received","payload":{"id":"e","from":{"phone_number":"+18025550101"},"text":"15 gal"}}}`},
		{"a list", "POST", "application/json",
			`{"results":[{"messageId":"f","from":"18025550101","cleanText":"16 gal"}],"messageCount":1}`},
		{"a bare list", "POST", "text/plain", `[{"from":"18025550101","body":"17 gal","id":"g"}]`},
		{"deeply nested", "POST", "application/json",
			`{"entry":[{"changes":[{"value":{"messages":[{"from":"18025550101","id":"h","text":{"body":"18 gal"}}]}}]}]}`},
		{"parts", "POST", "multipart/form-data; boundary=x", parts},
		{"GET", "GET", "", "?from=%2B18025550101&text=20+gal&id=j"},
		{"a keeper's own", "POST", "application/json", `{"who":{"nr":"+1 (802) 555-0101"},"what":"21 gal","ref":"k"}`},
	}
	count := func() int {
		t.Helper()
		visits, err := d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return len(visits)
	}
	send := func(method, kind, body string) {
		t.Helper()
		*now = now.Add(3 * time.Hour)
		to, in := server.URL+"/in/"+address, strings.NewReader(body)
		if method == "GET" {
			to, in = to+body, strings.NewReader("")
		}
		r, err := http.NewRequestWithContext(ctx, method, to, in)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", kind)
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusNoContent {
			t.Errorf("answered %d", answer.StatusCode)
		}
	}
	for i, s := range shapes {
		send(s.method, s.kind, s.body)
		if got := count(); got != i+1 {
			t.Fatalf("%s: %d records, want %d", s.name, got, i+1)
		}
	}
	before := count()
	send("POST", "application/json", `{"from":"+18025559999","text":"30 gal"}`)
	send("POST", "application/json", `{"hello":"world"}`)
	send("POST", "application/json", `not JSON`)
	if got := count(); got != before {
		t.Errorf("a stranger, or nobody, wrote %d records", got-before)
	}
	answer, err := http.Get(server.URL + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	figures, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`thawline_texts_in_total{outcome="heard"} 11`, `thawline_texts_in_total{outcome="not_understood"} 2`,
		`thawline_texts_in_total{outcome="unknown_sender"} 1`} {
		if !strings.Contains(string(figures), want) {
			t.Errorf("no %s", want)
		}
	}
}

// A number of somebody with two bushes, and of two people: the bush that the text names,
// else nobody's, but for what is about the writer.
func TestNumberOfTwoBushes(t *testing.T) {
	people := []channel.Person{
		{ID: "ann", Sites: []string{"hill", "dale"}, Role: channel.Keeper, Ways: []channel.Way{{Channel: "t", To: "+18025550101"}}},
		{ID: "bob", Sites: []string{"dale"}, Role: channel.Crew, Ways: []channel.Way{{Channel: "t", To: "+18025550101"}}},
		{ID: "cat", Sites: []string{"far"}, Role: channel.Crew, Ways: []channel.Way{{Channel: "t", To: "+18025550102"}}},
	}
	d, _ := crewAndKeepers(t, time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC), nil)
	d.settings.Sites = []forecast.Site{{ID: "hill", Name: "Hill bush"}, {ID: "dale", Name: "Dale"}, {ID: "far", Name: "Far"}}
	for i := range people {
		people[i].Reader = message.Reader{Language: "en", Units: units.US}
	}
	d.byNumber = peopleByNumber(people)
	for _, test := range []struct{ from, text, want string }{
		{"+18025550101", "Hill bush 12 gal", "ann hill: 12 gal"},
		{"18025550101", "dale: empty", "ann dale: empty"},
		{"0018025550101", "12 gal", "ann asks of 2"},
		{"+1 802 555 0101", "stop", "ann hill: stop; bob dale: stop"},
		{"+18025550101", "far 12 gal", "ann asks of 2"},
		{"+18025550102", "12 gal", "cat far: 12 gal"},
		{"+18025550103", "12 gal", ""},
		{"", "12 gal", ""},
	} {
		to, rest := d.addressed(t.Context(), nil, test.from, test.text)
		var got []string
		for _, a := range to {
			if a.site == nil {
				got = append(got, fmt.Sprintf("%s asks of %d", a.person.ID, len(a.bushes)))
			} else {
				got = append(got, a.person.ID+" "+a.site.ID+": "+rest)
			}
		}
		if said := strings.Join(got, "; "); said != test.want {
			t.Errorf("%s from %s: %q, want %q", test.text, test.from, said, test.want)
		}
	}
}

// Who changes their mind within a minute, through a gateway that gives texts no ids, is
// where they said last; a text that comes twice counts once.
func TestLastWordCounts(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for _, apart := range []time.Duration{time.Second, 40 * time.Second, 20 * time.Minute} {
		for _, ids := range []bool{false, true} {
			d, box := crewAndKeepers(t, now, nil)
			p, site := &d.settings.People[0], &d.settings.Sites[0]
			at := now
			for i, text := range []string{"START", "STOP", "START", "STOP", "START"} {
				at = at.Add(apart)
				for range 2 { // a gateway may call twice
					id := ""
					if ids {
						id = strconv.Itoa(i)
					}
					if err := d.heard(ctx, site, p, text, id, at); err != nil {
						t.Fatal(err)
					}
				}
				d.deliver(ctx, at)
				if stopped, err := d.Ledger.Stopped(ctx, p.ID); err != nil || stopped != (text == "STOP") {
					t.Errorf("%s apart, ids %t, %d. %s: stopped %t, %v", apart, ids, i+1, text, stopped, err)
				}
			}
			if len(box.got) != 5 {
				t.Errorf("%s apart, ids %t: %d answers to five texts", apart, ids, len(box.got))
			}
		}
	}
}

// One who writes without end is told to wait; what others write through the same gateway
// is taken.
func TestPaceOfTextsIsEachSendersOwn(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, _ := crewAndKeepers(t, now, func(s *Settings) {
		s.People[0].Ways = []channel.Way{{Channel: "sms", To: "+18025550101"}}
		s.People[1].Ways = []channel.Way{{Channel: "sms", To: "+18025550102"}}
	})
	hear := func(from, id string, at time.Time) error {
		return d.Hear(ctx, &d.settings.Sites[0], from, "ok", id, at)
	}
	for i := range textsBurst + 1 {
		if err := hear("+18025550101", strconv.Itoa(i), now); errors.Is(err, hooks.ErrTooFast) != (i == textsBurst) {
			t.Fatalf("text %d: %v", i, err)
		}
	}
	if err := hear("+18025550102", "a", now); err != nil {
		t.Errorf("somebody else: %v", err)
	}
	if err := hear("+18025550101", "later", now.Add(textEvery)); err != nil {
		t.Errorf("a little later: %v", err)
	}
}

// Of a record with a day that lacks nothing but its group, the group is asked back: a keeper of two
// groups was told that "yesterday" was not understood.
func TestDayWithoutAGroupAsksForTheGroup(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 0, 0, 0, time.UTC)
	for _, two := range []bool{true, false} {
		d, box := crewAndKeepers(t, now, func(s *Settings) {
			if two {
				second := s.Sites[0].Groups[0]
				second.ID, second.Name = "north", "North slope"
				s.Sites[0].Groups = append(s.Sites[0].Groups, second)
			}
		})
		for i, text := range []string{"25 gal yesterday", "gathered 22 gal at 8 am", "15 gal sunday"} {
			box.got = nil
			at := now.Add(time.Duration(20*i) * time.Minute)
			if err := d.heard(t.Context(), &d.settings.Sites[0], &d.settings.People[0], text, text, at); err != nil {
				t.Fatal(err)
			}
			d.deliver(t.Context(), at)
			if said := box.said(); strings.Contains(said, "did not understand") || strings.Contains(said, "Which group was it?") != two {
				t.Errorf("two groups %v, %q: %s", two, text, said)
			}
		}
	}
}
