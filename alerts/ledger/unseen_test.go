package ledger_test

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/engine"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
)

// bells are the jobs that a ledger sets.
type bells struct{ set []engine.Job }

func (b *bells) EnqueueTx(_ context.Context, _ *sql.Tx, jobs ...engine.Job) error {
	b.set = append(b.set, jobs...)
	return nil
}
func (b *bells) Enqueue(_ context.Context, jobs ...engine.Job) error {
	b.set = append(b.set, jobs...)
	return nil
}

// What rings: an answer at once, everything else once what goes with it may have come,
// nothing for what is held, and one bell for what goes in one message. What was rung for is
// rung for again only if it is due and nobody has it in hand.
func TestWhatRings(t *testing.T) {
	l, _ := open(t)
	b := &bells{}
	l.Ring(b, func(person string) string { return "out " + person })
	robin := ledger.Recipient{Person: "robin", Words: "w"}
	record(t, l, decided(alerts.Reply, "a"), evening, robin)
	record(t, l, decided(alerts.Evening, "a"), evening, robin,
		ledger.Recipient{Person: "late", Words: "w", NotBefore: evening.Add(9 * time.Hour)})
	if len(b.set) != 2 {
		t.Fatalf("%d bells, want 2: %v", len(b.set), b.set)
	}
	if r, e := b.set[0], b.set[1]; !r.At.Equal(evening) || !e.At.Equal(evening.Add(ledger.JoinWithin)) || r.Queue != "out robin" ||
		r.Urgent || e.Urgent {
		t.Errorf("%+v %+v", r, e)
	}
	urgent := decided(alerts.Danger, "a")
	urgent.Urgent = true
	record(t, l, urgent, evening, robin)
	if len(b.set) != 3 || b.set[2].Key == b.set[1].Key || !b.set[2].Urgent {
		t.Errorf("what is urgent does not make what it goes with urgent: %v", b.set)
	}
	b.set = nil
	if n, err := l.RingAgain(t.Context(), evening.Add(-time.Minute), evening); n != 0 || err != nil || len(b.set) != 0 {
		t.Errorf("%d rung for before they are due: %v", n, err)
	}
	if n, err := l.RingAgain(t.Context(), evening, evening); n != 2 || err != nil || len(b.set) != 2 {
		t.Errorf("%d rung for again, want 2: %v", n, err)
	}
	if mine := claim(t, l, "one", evening, evening.Add(time.Minute)); len(mine) != 2 {
		t.Fatalf("%d claimed", len(mine))
	}
	if n, err := l.RingAgain(t.Context(), evening, evening); n != 0 || err != nil {
		t.Errorf("%d rung for that somebody has in hand: %v", n, err)
	}
}

// hurry are jobs that can be brought forward.
type hurry struct {
	bells
	kind   string
	within time.Duration
	times  int
}

func (h *hurry) Hasten(_ context.Context, kind string, _ time.Time, within time.Duration) error {
	h.kind, h.within = kind, within
	h.times++
	return nil
}

// What waits for company is brought forward once, by a driver that can do that; an answer waits
// for none, and a driver that cannot is let be.
func TestWhatWaitsForCompanyIsHastened(t *testing.T) {
	l, _ := open(t)
	h, robin := &hurry{}, ledger.Recipient{Person: "robin", Words: "w"}
	queue := func(string) string { return "out" }
	l.Ring(h, queue)
	record(t, l, decided(alerts.Reply, "a"), evening, robin)
	for n, want := range []int{0, 1, 1} {
		if err := l.Hasten(t.Context(), evening); err != nil || h.times != want {
			t.Errorf("hastened %d times, not %d: %v", h.times, want, err)
		}
		if n == 0 {
			record(t, l, decided(alerts.Evening, "a"), evening, robin)
		}
	}
	if h.kind != ledger.Deliver || h.within != ledger.JoinWithin {
		t.Errorf("%s within %s", h.kind, h.within)
	}
	l.Ring(&bells{}, queue)
	record(t, l, decided(alerts.Danger, "a"), evening, robin)
	if err := l.Hasten(t.Context(), evening); err != nil || h.times != 1 {
		t.Errorf("a driver that cannot: %v", err)
	}
}

// Taking says what is to be known before anything is sent: who wants none, and what is not
// due, was sent or goes with another is not taken and nobody's fault.
func TestTakingSaysWhatForbidsSending(t *testing.T) {
	l, _ := open(t)
	to := []ledger.Recipient{{Person: "robin", Words: "w"}}
	together(t, l, evening, ledger.Telling{Decision: decided(alerts.Evening, "a"), To: to},
		ledger.Telling{Decision: decided(alerts.BoilBy, "c"), To: to})
	until := evening.Add(time.Minute)
	list := must[[]ledger.Delivery](t)(l.Recent(t.Context(), 10))
	whole := list[slices.IndexFunc(list, func(v ledger.Delivery) bool { return v.GoesWith == "" })]
	part := list[slices.IndexFunc(list, func(v ledger.Delivery) bool { return v.GoesWith != "" })]
	if v, taken, err := l.Take(t.Context(), part.ID, "one", evening, until); taken || err != nil || v.GoesWith != whole.ID {
		t.Errorf("a part by itself: taken %t, %v", taken, err)
	}
	if _, taken, err := l.Take(t.Context(), whole.ID, "one", evening.Add(-time.Second), until); taken || err != nil {
		t.Errorf("before it is due: taken %t, %v", taken, err)
	}
	v, taken, err := l.Take(t.Context(), whole.ID, "one", evening, until)
	if !taken || err != nil || v.Silenced || len(v.Carried) != 1 || v.Urgent {
		t.Fatalf("taken %t, silenced %t, with %d: %v", taken, v.Silenced, len(v.Carried), err)
	}
	for i, c := range []struct {
		wish   func() error
		silent bool
	}{
		{func() error { return l.SetPaused(t.Context(), "robin", evening.Add(time.Hour)) }, true},
		{func() error { return l.SetPaused(t.Context(), "robin", evening) }, false},
		{func() error { return l.SetStopped(t.Context(), "sam", true, evening) }, false},
		{func() error { return l.SetStopped(t.Context(), "robin", true, evening) }, true},
		{func() error { return l.SetStopped(t.Context(), "robin", false, evening) }, false},
	} {
		if err := c.wish(); err != nil {
			t.Fatal(err)
		}
		if v, taken, err := l.Take(t.Context(), whole.ID, "one", evening, until); !taken || err != nil || v.Silenced != c.silent {
			t.Errorf("wish %d: taken %t, silenced %t: %v", i, taken, v.Silenced, err)
		}
	}
	v.State, v.SentAt = ledger.Sent, evening
	if err := l.Attempted(t.Context(), "one", &v,
		ledger.Attempt{Number: 1, At: evening, Channel: "text", Outcome: "accepted"}); err != nil {
		t.Fatal(err)
	}
	if v, taken, err := l.Take(t.Context(), whole.ID, "one", until, until); taken || err != nil || v.State != ledger.Sent {
		t.Errorf("sent before: taken %t, %s, %v", taken, v.State, err)
	}
}

// A slot that is done is not begun, one in another's hand neither, and what a daemon had in
// hand when it ended is free for the next.
func TestBeginning(t *testing.T) {
	l, _ := open(t)
	begin := func(holder string) string {
		taken, done, err := l.Begin(t.Context(), "hill", "evening", "s", holder, evening, evening.Add(time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprint(taken, done)
	}
	if got := begin("one") + begin("two") + begin("one"); got != "true falsefalse falsetrue false" {
		t.Error(got)
	}
	if err := l.LetGo(t.Context(), "two"); err != nil || begin("two") != "false false" {
		t.Errorf("another lets go of it: %v", err)
	}
	record(t, l, decided(alerts.Evening, "a"), evening, ledger.Recipient{Person: "robin", Words: "w"})
	claim(t, l, "one", evening, evening.Add(time.Hour))
	if err := l.LetGo(t.Context(), "one"); err != nil || begin("two") != "true false" ||
		len(claim(t, l, "two", evening, evening.Add(time.Hour))) != 1 {
		t.Errorf("what the first had in hand is not free: %v", err)
	}
	if err := l.MarkDone(t.Context(), "hill", "evening", "s", evening); err != nil || begin("two") != "false true" ||
		begin("one") != "false true" {
		t.Errorf("begun again: %v", err)
	}
}

// The past is one site's: the newest decision of each kind by how its key begins, however
// many there are since, who is silent of those who were asked for, and nothing of others.
func TestPastIsOfASite(t *testing.T) {
	l, _ := open(t)
	for i := range 16 {
		d := decided(alerts.Evening, fmt.Sprintf("2026-03-%02d", i+1))
		d.Facts.Chance = float64(i)
		record(t, l, d, evening.AddDate(0, 0, i-16))
	}
	far := decided(alerts.Evening, "2026-04-01")
	far.Site = "lake"
	record(t, l, far, evening)
	if err := l.SetStopped(t.Context(), "robin", true, evening); err != nil {
		t.Fatal(err)
	}
	for person, until := range map[string]time.Time{"wren": evening.Add(time.Hour), "sam": evening} {
		if err := l.SetPaused(t.Context(), person, until); err != nil {
			t.Fatal(err)
		}
	}
	p, err := l.Past(t.Context(), ledger.Asking{Site: "hill", People: []string{"robin", "sam", "wren"}, Now: evening})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		begins string
		chance float64
		told   bool
	}{{"", 15, true}, {"2026-03-16", 15, true}, {"2026-03-14", 13, true}, {"2026-03-11", 10, true}, {"2026-03-02", 1, true},
		{"2026-04", 0, false}} {
		d, at, told, err := p.Last("hill", alerts.Evening, c.begins)
		if err != nil || told != c.told || d.Facts.Chance != c.chance || told && !at.Equal(evening.AddDate(0, 0, int(c.chance)-16)) {
			t.Errorf("%q: %t %g at %s, want %t %g: %v", c.begins, told, d.Facts.Chance, at, c.told, c.chance, err)
		}
	}
	if _, _, told, err := p.Last("hill", alerts.Danger, ""); told || err != nil {
		t.Errorf("a kind that was never told: %t %v", told, err)
	}
	for _, c := range []struct {
		person          string
		silenced, known bool
	}{{"robin", true, true}, {"wren", true, true}, {"sam", false, true}, {"lee", false, false}} {
		if silenced, known := p.Silenced(c.person); silenced != c.silenced || known != c.known {
			t.Errorf("%s: silenced %t, known %t", c.person, silenced, known)
		}
	}
	silent, err := l.Silent(t.Context(), evening)
	if err != nil || len(silent) != 2 || silent["robin"] || !silent["wren"] {
		t.Errorf("%v %v", silent, err)
	}
	if p, err := l.Past(t.Context(), ledger.Asking{Site: "hill", Now: evening}); err != nil {
		t.Error(err)
	} else if silenced, known := p.Silenced("robin"); silenced || known {
		t.Error("known of somebody who was not asked for")
	}
}

// Who was not told is listed, and who is told in time is not.
func TestUntoldAndQueues(t *testing.T) {
	l, _ := open(t)
	record(t, l, decided(alerts.Evening, "a"), evening, ledger.Recipient{Person: "robin", Words: "w"},
		ledger.Recipient{Person: "late", Words: "w", NotBefore: evening.Add(9 * time.Hour)})
	for _, c := range []struct {
		since, now time.Time
		want       int
	}{{evening.Add(-time.Hour), evening.Add(time.Minute), 1}, {evening.Add(-time.Hour), evening.Add(16 * time.Minute), 2},
		{evening, evening.Add(16 * time.Minute), 0}} {
		list, all, err := l.Untold(t.Context(), c.since, c.now, 10)
		if err != nil || len(list) != c.want || all != c.want {
			t.Errorf("at %s: %d of %d, want %d: %v", c.now, len(list), all, c.want, err)
		}
	}
	if list, all, err := l.Untold(t.Context(), evening.Add(-time.Hour), evening.Add(16*time.Minute), 1); err != nil || len(list) != 1 ||
		all != 2 || list[0].Site != "hill" || !list[0].MadeAt.Equal(evening) {
		t.Errorf("%d of %d: %v", len(list), all, err)
	}
	if queues, err := l.Queues(t.Context(), evening); err != nil || len(queues) != 0 {
		t.Errorf("%v %v", queues, err)
	}
	record(t, l, decided(alerts.GetReady, "b"), evening.Add(time.Minute), ledger.Recipient{Person: "robin", Words: "w"})
	list, all, err := l.Untold(t.Context(), evening.Add(-time.Hour), evening.Add(20*time.Minute), 10)
	if err != nil || len(list) != 2 || all != 2 || list[0].Person != "robin" || list[0].Kind != string(alerts.GetReady) || list[0].More != 1 ||
		list[1].More != 0 {
		t.Errorf("one person twice: %+v of %d: %v", list, all, err)
	}
}

// Any change of an entry is one, and what is over is not called off.
func TestEntriesThatChange(t *testing.T) {
	start := evening.AddDate(0, 0, 1)
	was := feed.Entry{UID: "run", Start: start, End: start.Add(time.Hour), Summary: "60 %", Text: "pails"}
	for name, change := range map[string]func(e *feed.Entry){
		"nothing": func(*feed.Entry) {}, "start": func(e *feed.Entry) { e.Start = start.Add(time.Minute) },
		"end":     func(e *feed.Entry) { e.End = start.Add(2 * time.Hour) },
		"summary": func(e *feed.Entry) { e.Summary = "70 %" }, "text": func(e *feed.Entry) { e.Text = "" },
	} {
		is := was
		change(&is)
		changed, err := ledger.EntriesChanged("hill", map[string]feed.Entry{"run": was}, []feed.Entry{is}, evening)
		if err != nil || (len(changed) > 0) != (name != "nothing") {
			t.Errorf("%s: %d changes: %v", name, len(changed), err)
		}
	}
	for _, c := range []struct {
		now  time.Time
		off  bool
		want int
	}{{evening, false, 1}, {start, false, 0}, {start.Add(time.Minute), false, 0}, {evening, true, 0}} {
		had := was
		had.CalledOff = c.off
		if changed, err := ledger.EntriesChanged("hill", map[string]feed.Entry{"run": had}, nil, c.now); err != nil ||
			len(changed) != c.want {
			t.Errorf("at %s: %d are called off, want %d: %v", c.now, len(changed), c.want, err)
		}
	}
}

// Of several that were sent, the last counts as the newest, never an answer or another's.
func TestNewestIsOnesOwn(t *testing.T) {
	l, _ := open(t)
	robin, sam := ledger.Recipient{Person: "robin", Words: "w"}, ledger.Recipient{Person: "sam", Words: "w"}
	record(t, l, decided(alerts.Evening, "a"), evening, robin)
	record(t, l, decided(alerts.Reply, "b"), evening.Add(time.Second), robin)
	record(t, l, decided(alerts.Danger, "c"), evening.Add(2*time.Second), sam)
	if key, err := l.NewestReply(t.Context(), "robin"); err != nil || key != "reply:b" {
		t.Errorf("%q %v", key, err)
	}
	if key, err := l.NewestReply(t.Context(), "sam"); err != nil || key != "" {
		t.Errorf("%q %v", key, err)
	}
	at := evening.Add(time.Minute)
	for _, v := range claim(t, l, "one", at, at.Add(time.Minute)) {
		at = at.Add(time.Second)
		v.State, v.SentAt = ledger.Sent, at
		if err := l.Attempted(t.Context(), "one", &v, ledger.Attempt{Number: 1, At: at, Channel: "text", Outcome: "accepted"}); err != nil {
			t.Fatal(err)
		}
	}
	if v, err := l.Newest(t.Context(), "robin"); err != nil || v.Kind != alerts.Evening || v.Person != "robin" {
		t.Errorf("%s to %s: %v", v.Kind, v.Person, err)
	}
}
