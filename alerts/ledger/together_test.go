package ledger_test

import (
	"slices"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
)

// together records what was decided at one moment.
func together(t *testing.T, l *ledger.Ledger, now time.Time, list ...ledger.Telling) {
	t.Helper()
	if _, err := l.RecordAll(t.Context(), list, now); err != nil {
		t.Fatal(err)
	}
}

// Records what one moment decides: one message to a person, carried by what is of use
// longest; another site's, an answer, and what another daemon has in hand stay by themselves.
// What waited already goes with what comes to it, under another key.
func TestWhatIsDecidedTogetherIsOneMessage(t *testing.T) {
	l, _ := open(t)
	to := []ledger.Recipient{{Person: "robin", Words: "w"}}
	long, lake, reply := decided(alerts.Overflow, "long"), decided(alerts.Evening, "lake"), decided(alerts.Reply, "r")
	long.Until, lake.Site = evening.Add(20*time.Hour), "lake"
	together(t, l, evening, ledger.Telling{Decision: decided(alerts.Evening, "a"), To: to}, ledger.Telling{Decision: long, To: to},
		ledger.Telling{Decision: lake, To: to}, ledger.Telling{Decision: reply, To: to})
	due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10))
	var got []string
	for _, v := range due {
		got = append(got, v.Site+" "+string(v.Kind))
	}
	slices.Sort(got)
	if want := []string{"hill overflow", "hill reply", "lake evening"}; !slices.Equal(got, want) {
		t.Fatalf("messages %v, want %v", got, want)
	}
	mine := claim(t, l, "one", evening, evening.Add(time.Minute))
	if len(mine) != 3 {
		t.Errorf("%d claimed", len(mine))
	}
	together(t, l, evening, ledger.Telling{Decision: decided(alerts.Danger, "b"), To: to}) // all are in hand
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10)); len(due) != 4 {
		t.Errorf("%d messages, want one more", len(due))
	}
	together(t, l, evening, ledger.Telling{Decision: decided(alerts.BoilBy, "c"), To: to},
		ledger.Telling{Decision: decided(alerts.Danger, "b"), To: to})
	boilBy := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10))[3]
	if with := must[[]ledger.Delivery](t)(l.CarriedBy(t.Context(), boilBy.ID)); boilBy.Kind != alerts.BoilBy || len(with) != 1 ||
		with[0].Kind != alerts.Danger {
		t.Errorf("%s carries %v", boilBy.Kind, with)
	}
}

// Decisions of one moment that are recorded one after the other have the key that they have
// recorded together: it says what a message tells, so that a channel which has taken the
// first does not take the second for said.
func TestKeyOfAMessageSaysWhatItTells(t *testing.T) {
	to := []ledger.Recipient{{Person: "robin", Words: "w"}}
	overflow, tomorrow, opens := decided(alerts.Overflow, "o"), decided(alerts.Evening, "a"), decided(alerts.SeasonOpens, "s")
	overflow.Urgent = true
	l, _ := open(t)
	b := &bells{}
	l.Ring(b, func(person string) string { return "out " + person })
	together(t, l, evening, ledger.Telling{Decision: overflow, To: to}, ledger.Telling{Decision: opens, To: to})
	alone := must[string](t)(l.MessageID(t.Context(), "hill", "robin", overflow.Key, opens.Key))
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10)); len(due) != 1 || due[0].ID != alone {
		t.Fatalf("%v, and the key is %s", due, alone)
	}
	together(t, l, evening, ledger.Telling{Decision: tomorrow, To: to})
	all := must[string](t)(l.MessageID(t.Context(), "hill", "robin", tomorrow.Key, opens.Key, overflow.Key))
	due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10))
	if len(due) != 1 || due[0].ID != all || all == alone {
		t.Fatalf("%v, and the key is %s", due, all)
	}
	if with := must[[]ledger.Delivery](t)(l.CarriedBy(t.Context(), all)); len(with) != 2 {
		t.Errorf("carries %v", with)
	}
	if last := b.set[len(b.set)-1]; last.Key != all || !last.Urgent {
		t.Errorf("rings for %+v", last)
	}
	if _, taken, err := l.Take(t.Context(), alone, "one", evening, evening.Add(time.Minute)); err != nil || taken {
		t.Errorf("what goes with another is sent by itself: %t %v", taken, err)
	}
}

// Sends a message that carries another: both have come as far, are seen at once, and show
// the attempt. What was left out of it then goes by itself.
func TestWhatIsCarriedComesAsFar(t *testing.T) {
	l, _ := open(t)
	to := []ledger.Recipient{{Person: "robin", Words: "w"}}
	together(t, l, evening, ledger.Telling{Decision: decided(alerts.Evening, "a"), To: to},
		ledger.Telling{Decision: decided(alerts.Danger, "b"), To: to}, ledger.Telling{Decision: decided(alerts.BoilBy, "c"), To: to})
	v := claim(t, l, "one", evening, evening.Add(time.Minute))[0]
	with := must[[]ledger.Delivery](t)(l.CarriedBy(t.Context(), v.ID))
	if len(with) != 2 {
		t.Fatalf("carries %v", with)
	}
	v.With, v.State, v.Attempts, v.SentAt = with[:1], ledger.Sent, 1, evening
	if err := l.Attempted(t.Context(), "one", &v,
		ledger.Attempt{Number: 1, At: evening, Channel: "text", Outcome: "accepted"}); err != nil {
		t.Fatal(err)
	}
	if tries := must[[]ledger.Attempt](t)(l.Attempts(t.Context(), with[0].ID)); len(tries) != 1 {
		t.Errorf("tries of what was carried: %v", tries)
	}
	left := claim(t, l, "two", evening.Add(time.Minute), evening.Add(2*time.Minute))
	if len(left) != 1 || left[0].ID != with[1].ID {
		t.Errorf("left: %v", left)
	}
	if err := l.Acknowledge(t.Context(), with[0].ID, evening.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	for _, one := range must[[]ledger.Delivery](t)(l.Recent(t.Context(), 10)) {
		if want := one.ID != with[1].ID; !one.AckedAt.IsZero() != want {
			t.Errorf("%s: seen at %s", one.Kind, one.AckedAt)
		}
	}
}
