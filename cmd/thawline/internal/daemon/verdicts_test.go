package daemon

import (
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast/records"
)

// warned is a daemon whose crew, bob, was warned on Friday afternoon that pails run over
// on Friday evening, and the Saturday after at half past six in the evening.
func warned(t *testing.T) (d *Daemon, box *recorder, saturday time.Time) {
	t.Helper()
	s := evenSettings("")
	s.Asker = &oracle{dead: func(time.Time) bool { return true }}
	box = &recorder{}
	s.Channels = map[string]channel.Channel{"text": box}
	s.Sites[0].Groups[0].Name = "South pails"
	s.People[1].Role, s.People[2].Role = "crew", "viewer"
	zone := s.Sites[0].Zone
	friday := time.Date(2026, 3, 20, 14, 0, 0, 0, zone)
	d = started(t, filepath.Join(t.TempDir(), "d.db"), s, friday)
	warn(t, d, "pails:x", friday, friday.Add(5*time.Hour), "bob")
	return d, box, time.Date(2026, 3, 21, 18, 30, 0, 0, zone)
}

// warn tells people of an overflow.
func warn(t *testing.T, d *Daemon, key string, now, due time.Time, people ...string) {
	t.Helper()
	var to []ledger.Recipient
	for _, p := range people {
		to = append(to, ledger.Recipient{Person: p, Words: "South pails will run over"})
	}
	decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:" + key, Until: due.Add(3 * time.Hour),
		Facts: alerts.Facts{Group: "South pails", GroupID: "pails", Chance: 0.6, At: due, Due: due}}
	if fresh, err := d.Ledger.Record(t.Context(), decision, to, now); err != nil || !fresh {
		t.Fatal(fresh, err)
	}
	d.deliver(t.Context(), now)
}

// questions are the texts that ask, alone or with others, each with its person.
func questions(box *recorder) (out []string) {
	box.mu.Lock()
	defer box.mu.Unlock()
	for _, m := range box.got {
		if m.Says(alerts.Question) {
			out = append(out, m.Person+": "+m.Text)
		}
	}
	return out
}

// In the evening after a warning's day the person who got it is asked once, in their
// language; their answer is kept and moves the threshold.
func TestTheEveningAfterAWarning(t *testing.T) {
	d, box, saturday := warned(t)
	through(d, saturday.Add(-20*time.Hour), saturday.Add(45*time.Minute))
	want := []string{"bob: Bush: no usable weather yet. Until there is I do not know when sap runs. Look at the sky and the thermometer.\nSouth pails: did any run over yesterday? Answer Y or N."}
	if got := questions(box); !slices.Equal(got, want) {
		t.Fatalf("got %q, want %q", got, want)
	}
	for _, m := range box.got {
		if m.Says(alerts.Question) && (!m.MadeAt.Equal(saturday) || m.Urgent) {
			t.Errorf("asked at %s, urgent %t", m.MadeAt, m.Urgent)
		}
	}
	before, _, err := d.Thresholds(t.Context(), "bush", saturday)
	if err != nil {
		t.Fatal(err)
	}
	for person, want := range map[string]bool{"ann": false, "bob": true} { // who was not asked has nothing to answer
		p := d.byID[person]
		w, err := d.Words(p.Reader)
		if err != nil {
			t.Fatal(err)
		}
		reply, answered, err := d.AnswerQuestion(t.Context(), p, w, false, saturday.Add(time.Hour))
		if err != nil || answered != want || answered && reply != "Noted: no. Thank you." {
			t.Errorf("%s: %q %t %v", person, reply, answered, err)
		}
	}
	list, err := d.Ledger.Verdicts(t.Context(), "bush", saturday.AddDate(0, 0, -2))
	if err != nil || len(list) != 1 || list[0].Answer != alerts.No || list[0].AnsweredBy != "bob" || list[0].Chance != 0.6 ||
		list[0].Warning != "overflow:pails:x" {
		t.Errorf("kept: %+v %v", list, err)
	}
	settings, tuned, err := d.Thresholds(t.Context(), "bush", saturday.Add(2*time.Hour))
	if err != nil || settings != before || tuned.OverflowProbability <= before.OverflowProbability {
		t.Errorf("from %.2f on, then %.2f: %v", before.OverflowProbability, tuned.OverflowProbability, err)
	}
	if _, other, err := d.Thresholds(t.Context(), "lake", saturday.Add(2*time.Hour)); err != nil || other != before {
		t.Errorf("another bush is warned from %.2f on: %v", other.OverflowProbability, err)
	}
}

// When nothing is asked: hours late, by a machine that slept until then; after a visit in
// time; of people who pause or stopped, look on only, or sleep until tomorrow; and twice.
func TestWhenNothingIsAsked(t *testing.T) {
	for name, c := range map[string]struct {
		change func(d *Daemon, saturday time.Time)
		wakes  time.Duration // after the evening hour
		want   int
	}{
		"a machine that wakes late":     {wakes: 3*time.Hour + 50*time.Minute, want: 1},
		"a machine that wakes too late": {wakes: 4*time.Hour + time.Minute},
		"a visit in time": {change: func(d *Daemon, saturday time.Time) {
			visit(t, d, saturday.Add(-25*time.Hour), "")
		}},
		"a visit that found them full": {change: func(d *Daemon, saturday time.Time) {
			visit(t, d, saturday.Add(-time.Hour), "full")
		}},
		"a visit too late":   {change: func(d *Daemon, saturday time.Time) { visit(t, d, saturday.Add(-time.Hour), "") }, want: 1},
		"somebody who waits": {change: func(d *Daemon, saturday time.Time) { d.byID["bob"].PausedUntil = saturday.AddDate(0, 0, 3) }},
		"somebody who looks on": {change: func(d *Daemon, _ time.Time) {
			d.byID["bob"].Role = channel.Viewer
		}},
		"somebody who sleeps by then": {change: func(d *Daemon, _ time.Time) {
			d.byID["bob"].Quiet = channel.Quiet{From: 18 * time.Hour, To: 6 * time.Hour}
		}},
		"somebody who said stop": {change: func(d *Daemon, saturday time.Time) {
			if err := d.Ledger.SetStopped(t.Context(), "bob", true, saturday.Add(-time.Hour)); err != nil {
				t.Fatal(err)
			}
		}},
		"the season's end, told that evening": {change: func(d *Daemon, saturday time.Time) { tellEnd(t, d, saturday.Add(-time.Minute)) }},
		"the season's end, told on Friday":    {change: func(d *Daemon, saturday time.Time) { tellEnd(t, d, saturday.Add(-24*time.Hour)) }},
		"the end of another season":           {change: func(d *Daemon, saturday time.Time) { tellEnd(t, d, saturday.AddDate(-1, 0, 0)) }, want: 1},
		"another who was told too": {change: func(d *Daemon, saturday time.Time) {
			warn(t, d, "pails:y", saturday.Add(-27*time.Hour), saturday.Add(-23*time.Hour), "ann")
		}, want: 1},
	} {
		t.Run(name, func(t *testing.T) {
			d, box, saturday := warned(t)
			if c.change != nil {
				c.change(d, saturday)
			}
			wakes := saturday.Add(c.wakes)
			for range 3 {
				d.Step(t.Context(), wakes)
			}
			if got := questions(box); len(got) != c.want {
				t.Errorf("asked: %q", got)
			}
		})
	}
}

// A visit that finds them full answers by itself.
func TestAFullPailAnswers(t *testing.T) {
	d, _, saturday := warned(t)
	visit(t, d, saturday.Add(-time.Hour), "full")
	d.Step(t.Context(), saturday)
	list, err := d.Ledger.Verdicts(t.Context(), "bush", saturday.AddDate(0, 0, -2))
	if err != nil || len(list) != 1 || list[0].Answer != alerts.Yes || list[0].AnsweredBy != alerts.ByRecord || !list[0].AskedAt.IsZero() {
		t.Errorf("kept: %+v %v", list, err)
	}
}

// Whoever writes down rounds day by day, or that taps drip, has said whether sap ran: nobody is
// asked, and the day counts. Where nothing tells of it somebody is.
func TestRoundsTellWhetherItRan(t *testing.T) {
	for name, c := range map[string]struct {
		change func(d *Daemon, friday time.Time)
		want   alerts.Answer // Unanswered where somebody is asked
	}{
		"a round each evening": {func(d *Daemon, friday time.Time) {
			visit(t, d, friday.AddDate(0, 0, -1), "")
			visit(t, d, friday, "")
		}, alerts.Yes},
		"a look in the afternoon": {func(d *Daemon, friday time.Time) {
			look := records.Observation{Site: "bush", Group: "pails", Kind: records.NotDripping, At: friday.Add(-2 * time.Hour),
				Day: friday.Format(time.DateOnly), By: "bob"}
			if _, err := d.Archive.PutObservations(t.Context(), []records.Observation{look}, "", friday); err != nil {
				t.Fatal(err)
			}
		}, alerts.No},
		"a round after three days": {func(d *Daemon, friday time.Time) {
			visit(t, d, friday.AddDate(0, 0, -3), "")
			visit(t, d, friday, "")
		}, alerts.Unanswered},
	} {
		d, box, saturday := warned(t)
		friday := saturday.AddDate(0, 0, -1)
		c.change(d, friday)
		decision := alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:2026-03-19", Until: friday,
			Facts: alerts.Facts{Date: "2026-03-20", Chance: 0.9, Announced: true}}
		if _, err := d.Ledger.Record(t.Context(), decision, []ledger.Recipient{{Person: "bob", Words: "Sap will run"}},
			friday.AddDate(0, 0, -1)); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), friday.AddDate(0, 0, -1))
		d.Step(t.Context(), saturday)
		list, err := d.Ledger.Verdicts(t.Context(), "bush", saturday.AddDate(0, 0, -3))
		if err != nil {
			t.Fatal(err)
		}
		var ran []alerts.Verdict
		for _, v := range list {
			if v.Kind == alerts.Evening && v.AskedAt.IsZero() {
				ran = append(ran, v)
			}
		}
		asked := strings.Contains(strings.Join(questions(box), "\n"), "Did sap run")
		if c.want == alerts.Unanswered {
			if len(ran) != 0 {
				t.Errorf("%s: %+v", name, ran)
			}
		} else if asked || len(ran) != 1 || ran[0].Answer != c.want || ran[0].AnsweredBy != alerts.ByRecord {
			t.Errorf("%s: asked %t, kept %+v", name, asked, list)
		}
	}
}

// tellEnd tells bob that the season is over.
func tellEnd(t *testing.T, d *Daemon, at time.Time) {
	t.Helper()
	decision := alerts.Decision{Kind: alerts.EndHere, Site: "bush", Key: "end_here:" + at.Format("2006"), Until: at.Add(time.Hour)}
	if fresh, err := d.Ledger.Record(t.Context(), decision, []ledger.Recipient{{Person: "bob", Words: "over"}}, at); err != nil || !fresh {
		t.Fatal(fresh, err)
	}
}

// visit writes down a round.
func visit(t *testing.T, d *Daemon, at time.Time, note string) {
	t.Helper()
	if _, err := d.Archive.PutVisits(t.Context(),
		[]records.Visit{{Site: "bush", Group: "pails", Taps: 50, CollectedAt: at, VolumeL: 300, BrixPct: math.NaN(), Note: note}},
		"test", at); err != nil {
		t.Fatal(err)
	}
}

// A yes or no is no answer two days later, after another message, or once the answer is
// an hour old; before that it may be put right.
func TestWhatAnswersNothing(t *testing.T) {
	say := func(d *Daemon, yes bool, at time.Time) bool {
		t.Helper()
		p := d.byID["bob"]
		w, err := d.Words(p.Reader)
		if err != nil {
			t.Fatal(err)
		}
		_, answered, err := d.AnswerQuestion(t.Context(), p, w, yes, at)
		if err != nil {
			t.Fatal(err)
		}
		return answered
	}
	d, _, saturday := warned(t)
	if say(d, true, saturday.Add(-time.Hour)) {
		t.Error("answered before it was asked: it was meant for the warning")
	}
	d.Step(t.Context(), saturday)
	if say(d, true, saturday.Add(49*time.Hour)) {
		t.Error("answered two days later")
	}
	if !say(d, true, saturday.Add(time.Hour)) || !say(d, false, saturday.Add(90*time.Minute)) || say(d, true, saturday.Add(3*time.Hour)) {
		t.Error("an answer may be put right for an hour, and no longer")
	}
	list, err := d.Ledger.Verdicts(t.Context(), "bush", saturday.AddDate(0, 0, -2))
	if err != nil || len(list) != 1 || list[0].Answer != alerts.No {
		t.Errorf("kept: %+v %v", list, err)
	}
	d, _, saturday = warned(t)
	d.Step(t.Context(), saturday)
	warn(t, d, "pails:y", saturday.Add(time.Hour), saturday.Add(10*time.Hour), "bob")
	if say(d, true, saturday.Add(2*time.Hour)) {
		t.Error("a yes to a later warning answered the question")
	}
	if _, err := d.Ledger.Asked(t.Context(), "", "ann", saturday.AddDate(0, 0, -1)); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("ann was asked: %v", err)
	}
}

// In French, and of a tank.
func TestQuestionsInFrench(t *testing.T) {
	d, box, saturday := warned(t)
	d.byID["bob"].Reader.Language = "fr"
	d.sites["bush"].Groups[0].ContainerL = 0
	d.Step(t.Context(), saturday)
	got := questions(box)
	if len(got) != 1 || !strings.HasPrefix(got[0], "bob: Bush. South pails : le bassin a-t-il débordé hier? Répondez O ou N.") {
		t.Errorf("got %q", got)
	}
}
