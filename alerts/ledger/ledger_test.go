package ledger_test

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

var evening = time.Date(2026, 3, 20, 22, 30, 0, 0, time.UTC)

// open is a ledger in a file of the test's own, which is closed when the test ends.
func open(t *testing.T) (*ledger.Ledger, *archive.Archive) {
	t.Helper()
	a, err := archive.Open(t.Context(), beside.Where(t, filepath.Join(t.TempDir(), "ledger.db")))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return ledger.New(a.DB()), a
}

func decided(kind alerts.Kind, key string) alerts.Decision {
	return alerts.Decision{Kind: kind, Site: "hill", Key: string(kind) + ":" + key, Until: evening.Add(6 * time.Hour),
		Why: []string{"chance of a run tomorrow 80 %"}}
}

// record writes a decision that must not have been made before.
func record(t *testing.T, l *ledger.Ledger, d alerts.Decision, now time.Time, to ...ledger.Recipient) {
	t.Helper()
	if fresh, err := l.Record(t.Context(), d, to, now); err != nil || !fresh {
		t.Fatalf("%s: %v %v", d.Key, fresh, err)
	}
}

func must[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func people(list []ledger.Delivery) (out []string) {
	for i := range list {
		out = append(out, list[i].Person)
	}
	return out
}

// Writes a decision twice, as two daemons would: the second time nothing is written, and
// whoever was told is not told again.
func TestADecisionIsRecordedOnce(t *testing.T) {
	l, _ := open(t)
	d := decided(alerts.Evening, "2026-03-20")
	if known, err := l.Known(t.Context(), "hill", d.Key); err != nil || known {
		t.Errorf("known before: %v %v", known, err)
	}
	record(t, l, d, evening, ledger.Recipient{Person: "robin", Words: "Run tomorrow"},
		ledger.Recipient{Person: "sam", Words: "Coule demain"})
	if fresh, err := l.Record(t.Context(), d, []ledger.Recipient{{Person: "wren", Words: "again"}},
		evening.Add(time.Minute)); err != nil || fresh {
		t.Errorf("a second time: %v %v", fresh, err)
	}
	if known, err := l.Known(t.Context(), "hill", d.Key); err != nil || !known {
		t.Errorf("not known after: %v %v", known, err)
	}
	if known, err := l.Known(t.Context(), "lake", d.Key); err != nil || known {
		t.Errorf("known at another site: %v %v", known, err)
	}
	due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10))
	if got := people(due); !slices.Equal(got, []string{"robin", "sam"}) {
		t.Fatalf("%v", got)
	}
	if v := due[1]; v.Words != "Coule demain" || v.Site != "hill" || v.Kind != alerts.Evening || v.State != ledger.Waiting ||
		!v.MadeAt.Equal(evening) || !v.Until.Equal(d.Until) {
		t.Errorf("%+v", v)
	}
	if one := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 1)); len(one) != 1 {
		t.Errorf("%d of at most one", len(one))
	}
}

// Records for people in their quiet hours: a message waits for their end, or is held where
// it would be of no more use by then.
func TestQuietHoursWaitOrHold(t *testing.T) {
	l, _ := open(t)
	record(t, l, decided(alerts.Evening, "a"), evening,
		ledger.Recipient{Person: "early", Words: "w", NotBefore: evening.Add(time.Hour)},
		ledger.Recipient{Person: "late", Words: "w", NotBefore: evening.Add(9 * time.Hour)})
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening, 10)); len(due) != 0 {
		t.Errorf("due in quiet hours: %v", people(due))
	}
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening.Add(10*time.Hour), 10)); !slices.Equal(people(due), []string{"early"}) {
		t.Errorf("%v", people(due))
	}
	states := map[string]ledger.State{}
	for _, v := range must[[]ledger.Delivery](t)(l.Recent(t.Context(), 10)) {
		states[v.Person] = v.State
	}
	if states["late"] != ledger.Held {
		t.Errorf("%v", states)
	}
}

// claim takes all that is due and that nobody else has in hand.
func claim(t *testing.T, l *ledger.Ledger, holder string, now, until time.Time) (out []ledger.Delivery) {
	t.Helper()
	for _, v := range must[[]ledger.Delivery](t)(l.Due(t.Context(), now, 100)) {
		taken, ok, err := l.Take(t.Context(), v.ID, holder, now, until)
		if err != nil && !errors.Is(err, ledger.ErrTaken) {
			t.Fatal(err)
		}
		if ok {
			out = append(out, taken)
		}
	}
	return out
}

// Lets two daemons claim from one ledger: what one has in hand the other leaves alone until
// the lease has run out; then the first can neither renew it nor note its attempt.
func TestWhatOneHasInHandOthersLeaveAlone(t *testing.T) {
	l, _ := open(t)
	record(t, l, decided(alerts.Evening, "a"), evening, ledger.Recipient{Person: "robin", Words: "w"})
	soon := evening.Add(2 * time.Minute)
	mine := claim(t, l, "one", evening, soon)
	if len(mine) != 1 {
		t.Fatalf("%v", mine)
	}
	if theirs := claim(t, l, "two", evening.Add(time.Minute), soon.Add(time.Minute)); len(theirs) != 0 {
		t.Errorf("taken from under the first: %v", theirs)
	}
	if again := claim(t, l, "one", evening.Add(time.Minute), soon); len(again) != 1 {
		t.Error("the first does not go on with its own after a restart")
	}
	if _, ok, err := l.Take(t.Context(), mine[0].ID, "two", evening.Add(time.Minute), soon); ok || !errors.Is(err, ledger.ErrTaken) {
		t.Errorf("the second takes what it has not: %v", err)
	}
	later := soon.Add(time.Minute)
	theirs := claim(t, l, "two", later, later.Add(time.Minute))
	if len(theirs) != 1 {
		t.Fatal("nobody takes over what was left")
	}
	if _, ok, err := l.Take(t.Context(), mine[0].ID, "one", later, later.Add(time.Minute)); ok || !errors.Is(err, ledger.ErrTaken) {
		t.Errorf("the first takes back what was taken over: %v", err)
	}
	v := mine[0]
	v.State = ledger.Sent
	if err := l.Attempted(t.Context(), "one", &v,
		ledger.Attempt{Number: 1, At: later, Channel: "text", Outcome: "accepted"}); !errors.Is(err, ledger.ErrTaken) {
		t.Errorf("the first notes an attempt: %v", err)
	}
	if tries := must[[]ledger.Attempt](t)(l.Attempts(t.Context(), v.ID)); len(tries) != 0 {
		t.Errorf("an attempt that was refused is kept: %v", tries)
	}
}

// Claims a job's slot: nobody else works at it until the lease has run out or is forgotten.
func TestASlotIsWorkedAtByOne(t *testing.T) {
	l, _ := open(t)
	claim := func(holder string, now time.Time) bool {
		t.Helper()
		return must[bool](t)(l.ClaimJob(t.Context(), "hill", "evening", "2026-03-20", holder, now, now.Add(2*time.Minute)))
	}
	if !claim("one", evening) || claim("two", evening.Add(time.Minute)) || !claim("one", evening.Add(time.Minute)) {
		t.Error("not one holder")
	}
	if !claim("two", evening.Add(10*time.Minute)) {
		t.Error("a lease that has run out holds")
	}
	if err := l.ForgetLeases(t.Context(), "hill", evening.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if !claim("three", evening.Add(10*time.Minute)) {
		t.Error("a lease that was forgotten holds")
	}
	if done := must[bool](t)(l.Done(t.Context(), "hill", "evening", "2026-03-20")); done {
		t.Error("done before it was")
	}
	for range 2 { // noting it again changes nothing
		if err := l.MarkDone(t.Context(), "hill", "evening", "2026-03-20", evening); err != nil {
			t.Fatal(err)
		}
	}
	if done := must[bool](t)(l.Done(t.Context(), "hill", "evening", "2026-03-20")); !done {
		t.Error("forgotten at once")
	}
	if done := must[bool](t)(l.Done(t.Context(), "hill", "evening", "2026-03-21")); done {
		t.Error("another slot is done as well")
	}
}

// Tries a delivery twice and reads back how it went, by the delivery, by the decision, and
// by the start of an id; an id of nothing finds nothing.
func TestHowItWentIsReadBack(t *testing.T) {
	l, _ := open(t)
	d := decided(alerts.Evening, "a")
	record(t, l, d, evening, ledger.Recipient{Person: "robin", Words: "w"})
	v := claim(t, l, "one", evening, evening.Add(time.Hour))[0]
	if _, err := l.Newest(t.Context(), "robin"); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("newest before anything was sent: %v", err)
	}
	tries := []ledger.Attempt{{Number: 1, At: evening, Channel: "text", Outcome: "later", Said: "503"},
		{Number: 2, At: evening.Add(time.Minute), Channel: "text", Outcome: "accepted", Said: "queued"}}
	v.Attempts, v.NextAt = 1, evening.Add(time.Minute)
	if err := l.Attempted(t.Context(), "one", &v, tries[0]); err != nil {
		t.Fatal(err)
	}
	v.State, v.Attempts, v.SentAt = ledger.Sent, 2, evening.Add(time.Minute)
	if err := l.Attempted(t.Context(), "one", &v, tries[1]); err != nil {
		t.Fatal(err)
	}
	if got := must[[]ledger.Attempt](t)(l.Attempts(t.Context(), v.ID)); !cmp.Equal(got, tries) {
		t.Error(cmp.Diff(tries, got))
	}
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening.Add(time.Hour), 10)); len(due) != 0 {
		t.Error("what was sent is due")
	}
	newest, err := l.Newest(t.Context(), "robin")
	if err != nil || newest.ID != v.ID || !newest.SentAt.Equal(v.SentAt) || newest.Attempts != 2 {
		t.Errorf("%+v %v", newest, err)
	}
	for _, id := range []string{v.DecisionID, v.DecisionID[:30], v.ID} {
		got, at, deliveries, err := l.Decision(t.Context(), id)
		if err != nil || !at.Equal(evening) || got.Key != d.Key || !slices.Equal(got.Why, d.Why) || len(deliveries) != 1 {
			t.Errorf("%s: %+v %v %v %v", id, got, at, deliveries, err)
		}
	}
	if _, _, _, err := l.Decision(t.Context(), "zzz"); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("an id of nothing: %v", err)
	}
}

// Sends an urgent message to two people: it is unanswered until one of them has seen it, and
// asking again changes nothing of when that was.
func TestUrgentMessagesWantAnAnswer(t *testing.T) {
	l, _ := open(t)
	urgent := decided(alerts.Danger, "a")
	urgent.Urgent = true
	record(t, l, urgent, evening, ledger.Recipient{Person: "robin", Words: "w"}, ledger.Recipient{Person: "sam", Words: "w"})
	record(t, l, decided(alerts.Evening, "a"), evening, ledger.Recipient{Person: "robin", Words: "w"})
	for _, v := range claim(t, l, "one", evening, evening.Add(time.Hour)) {
		v.State, v.SentAt = ledger.Sent, evening
		if v.Person == "sam" {
			v.State = ledger.Failed
		}
		v.With = v.Carried
		if err := l.Attempted(t.Context(), "one", &v, ledger.Attempt{Number: 1, At: evening}); err != nil {
			t.Fatal(err)
		}
	}
	after := evening.Add(30 * time.Minute)
	unanswered := must[[]ledger.Delivery](t)(l.Unanswered(t.Context(), after, after))
	slices.SortFunc(unanswered, func(a, b ledger.Delivery) int { return strings.Compare(a.Person, b.Person) })
	if !slices.Equal(people(unanswered), []string{"robin", "sam"}) || unanswered[0].Kind != alerts.Danger {
		t.Fatalf("%v", unanswered)
	}
	if list := must[[]ledger.Delivery](t)(l.Unanswered(t.Context(), after, urgent.Until.Add(time.Hour))); len(list) != 0 {
		t.Error("asks about what is of no more use")
	}
	for i := range 2 {
		if err := l.Acknowledge(t.Context(), unanswered[0].ID, after.Add(time.Duration(i)*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if list := must[[]ledger.Delivery](t)(l.Unanswered(t.Context(), after, after)); len(list) != 0 {
		t.Errorf("asks on: %v", people(list))
	}
	_, _, both, err := l.Decision(t.Context(), unanswered[0].DecisionID)
	if err != nil || !both[0].AckedAt.Equal(after) || !both[1].AckedAt.IsZero() {
		t.Errorf("%+v %v", both, err)
	}
	if err := l.Acknowledge(t.Context(), "none", after); !errors.Is(err, ledger.ErrNone) {
		t.Errorf("seen, what is not there: %v", err)
	}
}

// What nobody can be told is written down as failed without a try: no job rings for it, it wants an
// answer at once while it is of use, and it is no message that did not arrive.
func TestBeyondReach(t *testing.T) {
	l, _ := open(t)
	urgent := decided(alerts.Danger, "a")
	urgent.Urgent = true
	record(t, l, urgent, evening, ledger.Recipient{Person: "robin", Words: "w", Beyond: true, NotBefore: evening.Add(time.Hour)},
		ledger.Recipient{Words: "w", Beyond: true})
	if due := must[[]ledger.Delivery](t)(l.Due(t.Context(), evening.AddDate(0, 0, 1), 10)); len(due) != 0 {
		t.Errorf("is to be sent: %v", people(due))
	}
	open := must[[]ledger.Delivery](t)(l.Unescalated(t.Context(), evening, evening))
	if len(open) != 2 || !open[0].Beyond() || !open[1].Beyond() {
		t.Errorf("%v", open)
	}
	if list, all, err := l.Untold(t.Context(), evening.Add(-time.Hour), evening.Add(time.Hour), 10); err != nil || len(list) != 0 || all != 0 {
		t.Errorf("%v of %d: %v", list, all, err)
	}
	if queues, err := l.Queues(t.Context(), evening); err != nil || len(queues) != 0 {
		t.Errorf("%v %v", queues, err)
	}
	passed := decided(alerts.Escalation, "")
	passed.Key = ledger.EscalationOf(open[0].DecisionID)
	record(t, l, passed, evening)
	if list := must[[]ledger.Delivery](t)(l.Unescalated(t.Context(), evening, evening)); len(list) != 0 {
		t.Errorf("passed on, and listed: %v", people(list))
	}
	if list := must[[]ledger.Delivery](t)(l.Unanswered(t.Context(), evening, evening)); len(list) != 2 {
		t.Errorf("passed on is not answered: %v", people(list))
	}
	for id, found := range map[string]bool{open[0].DecisionID: true, open[0].ID: true, open[0].ID[:8]: true, uuid.NewString(): false} {
		if _, _, _, err := l.Decision(t.Context(), id); found != (err == nil) || !found && !errors.Is(err, ledger.ErrNone) {
			t.Errorf("%s: %v", id, err)
		}
	}
}

// Writes decisions of two sites and lists them: each list has its own sites and kinds, the
// newest first, and what is asked of nothing is empty.
func TestListsAreOfTheirSitesAndKinds(t *testing.T) {
	l, _ := open(t)
	to := ledger.Recipient{Person: "robin", Words: "w"}
	record(t, l, decided(alerts.Evening, "1"), evening, to)
	record(t, l, decided(alerts.Evening, "2"), evening.Add(time.Hour), to)
	record(t, l, decided(alerts.Danger, "3"), evening.Add(2*time.Hour), to)
	lake := decided(alerts.Evening, "4")
	lake.Site = "lake"
	record(t, l, lake, evening.Add(3*time.Hour), to)
	made := func(list []ledger.Delivery, err error) (out []int) {
		t.Helper()
		for _, v := range must[[]ledger.Delivery](t)(list, err) {
			out = append(out, int(v.MadeAt.Sub(evening).Hours()))
		}
		return out
	}
	for name, c := range map[string]struct{ got, want []int }{
		"all":              {made(l.Recent(t.Context(), 10)), []int{3, 2, 1, 0}},
		"two":              {made(l.Recent(t.Context(), 2)), []int{3, 2}},
		"of a site":        {made(l.RecentOf(t.Context(), []string{"hill"}, 10)), []int{2, 1, 0}},
		"of both":          {made(l.RecentOf(t.Context(), []string{"hill", "lake"}, 3)), []int{3, 2, 1}},
		"of no site":       {made(l.RecentOf(t.Context(), nil, 10)), nil},
		"told":             {made(l.Told(t.Context(), "hill", []alerts.Kind{alerts.Evening, alerts.Danger}, 2)), []int{2, 1}},
		"evenings told":    {made(l.Told(t.Context(), "hill", []alerts.Kind{alerts.Evening}, 9)), []int{1, 0}},
		"told of no kinds": {made(l.Told(t.Context(), "hill", nil, 9)), nil},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s: %v, not %v", name, c.got, c.want)
		}
	}
}

// Asks the rules' memory: the newest decision of a kind whose key begins so, and none of
// another kind or site. A row that cannot be read any more is taken for none, and no error:
// else the site would be silent for good.
func TestMemoryIsOfTheNewest(t *testing.T) {
	l, a := open(t)
	record(t, l, decided(alerts.Evening, "ridge:1"), evening)
	record(t, l, decided(alerts.Evening, "ridge:2"), evening.Add(time.Hour))
	record(t, l, decided(alerts.Evening, "lane:1"), evening.Add(2*time.Hour))
	m := l.Memory(t.Context())
	if d, at, found, err := m.Last("hill", alerts.Evening, "ridge:"); err != nil || !found || d.Key != "evening:ridge:2" ||
		!at.Equal(evening.Add(time.Hour)) {
		t.Errorf("%+v %v %v %v", d, at, found, err)
	}
	for _, none := range []struct {
		site string
		kind alerts.Kind
	}{{"lake", alerts.Evening}, {"hill", alerts.Danger}} {
		if _, _, found, err := m.Last(none.site, none.kind, ""); err != nil || found {
			t.Errorf("%v: %v %v", none, found, err)
		}
	}
	if _, err := a.DB().ExecContext(t.Context(), `UPDATE decision SET document = '{' WHERE name = 'evening:lane:1'`); err != nil {
		t.Fatal(err)
	}
	if _, _, found, err := m.Last("hill", alerts.Evening, "lane:"); err != nil || found {
		t.Errorf("a spoilt row: %v %v", found, err)
	}
	recent := must[[]ledger.Delivery](t)(l.Recent(t.Context(), 10))
	if len(recent) != 0 {
		t.Errorf("nobody was told, and yet: %v", recent)
	}
}

// Forgets what is old: decisions, attempts, entries and slots of a site go, what waits to be
// sent stays, and so does what is newer or of another site.
func TestForgettingLeavesWhatWaits(t *testing.T) {
	l, _ := open(t)
	old := evening.AddDate(-1, 0, 0)
	to := ledger.Recipient{Person: "robin", Words: "w"}
	record(t, l, decided(alerts.Evening, "sent"), old, to)
	v := claim(t, l, "one", old, old.Add(time.Hour))[0]
	v.State, v.SentAt = ledger.Sent, old
	if err := l.Attempted(t.Context(), "one", &v, ledger.Attempt{Number: 1, At: old}); err != nil {
		t.Fatal(err)
	}
	record(t, l, decided(alerts.Evening, "waits"), old, to)
	record(t, l, decided(alerts.Evening, "new"), evening, to)
	lake := decided(alerts.Evening, "lake")
	lake.Site = "lake"
	record(t, l, lake, old)
	if err := l.MarkDone(t.Context(), "hill", "evening", "old", old); err != nil {
		t.Fatal(err)
	}
	if err := l.PutEntries(t.Context(), "hill", []feed.Entry{{UID: "run", Start: old, End: old.Add(time.Hour)}}, old); err != nil {
		t.Fatal(err)
	}
	if err := l.Forget(t.Context(), "hill", evening.AddDate(0, -1, 0)); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]bool{"sent": false, "waits": true, "new": true} {
		if known := must[bool](t)(l.Known(t.Context(), "hill", "evening:"+key)); known != want {
			t.Errorf("%s: %v", key, known)
		}
	}
	if known := must[bool](t)(l.Known(t.Context(), "lake", lake.Key)); !known {
		t.Error("another site's is gone")
	}
	if tries := must[[]ledger.Attempt](t)(l.Attempts(t.Context(), v.ID)); len(tries) != 0 {
		t.Error("attempts stay")
	}
	if done := must[bool](t)(l.Done(t.Context(), "hill", "evening", "old")); done {
		t.Error("a slot stays")
	}
	if list := must[[]feed.Entry](t)(l.Entries(t.Context(), "hill", old)); len(list) != 0 {
		t.Error("entries stay")
	}
}

// Opens the ledger twice on one database: keys and addresses are the same for both, a person
// who wants no messages is known to both, and so are browsers until they are dropped.
func TestSecretsAndWishesStayWithTheDatabase(t *testing.T) {
	l, a := open(t)
	other := ledger.New(a.DB())
	key, again, theirs := must[[]byte](t)(l.Key(t.Context())), must[[]byte](t)(l.Key(t.Context())), must[[]byte](t)(other.Key(t.Context()))
	if len(key) != 32 || !slices.Equal(key, again) || !slices.Equal(key, theirs) {
		t.Errorf("%x %x %x", key, again, theirs)
	}
	private, public, err := l.PushKeys(t.Context())
	private2, public2, err2 := other.PushKeys(t.Context())
	if err != nil || err2 != nil || private == "" || public == "" || private != private2 || public != public2 {
		t.Errorf("push keys differ: %v %v", err, err2)
	}
	for _, stopped := range []bool{true, true, false} {
		if err := l.SetStopped(t.Context(), "robin", stopped, evening); err != nil {
			t.Fatal(err)
		}
		if got := must[bool](t)(other.Stopped(t.Context(), "robin")); got != stopped {
			t.Errorf("stopped: %v, not %v", got, stopped)
		}
	}
	for _, pause := range []struct {
		until    time.Time
		silenced bool
	}{{evening.Add(time.Hour), true}, {evening.AddDate(0, 0, 5), true}, {evening, false}, {evening.Add(time.Hour), true},
		{time.Time{}, false}} {
		if err := l.SetPaused(t.Context(), "robin", pause.until); err != nil {
			t.Fatal(err)
		}
		if got := must[bool](t)(other.Silenced(t.Context(), "robin", evening)); got != pause.silenced {
			t.Errorf("silenced until %s: %v", pause.until, got)
		}
		if must[bool](t)(other.Silenced(t.Context(), "sam", evening)) || must[bool](t)(other.Stopped(t.Context(), "robin")) {
			t.Error("a pause is one person's, and no stop")
		}
	}
	if err := l.SetStopped(t.Context(), "robin", true, evening); err != nil ||
		!must[bool](t)(other.Silenced(t.Context(), "robin", evening.AddDate(1, 0, 0))) {
		t.Errorf("a stop passes: %v", err)
	}
	if err := errors.Join(l.AddSubscription(t.Context(), "robin", "https://a.example", "one", evening),
		l.AddSubscription(t.Context(), "robin", "https://b.example", "two", evening.Add(time.Minute)),
		l.AddSubscription(t.Context(), "robin", "https://a.example", "one anew", evening.Add(time.Hour))); err != nil {
		t.Fatal(err)
	}
	if got := must[[]string](t)(other.Subscriptions(t.Context(), "robin")); !slices.Equal(got, []string{"one anew", "two"}) {
		t.Errorf("%q", got)
	}
	if err := l.DropSubscription(t.Context(), "https://a.example"); err != nil {
		t.Fatal(err)
	}
	if got := must[[]string](t)(l.Subscriptions(t.Context(), "robin")); !slices.Equal(got, []string{"two"}) {
		t.Errorf("%q", got)
	}
	if got := must[[]string](t)(l.Subscriptions(t.Context(), "sam")); len(got) != 0 {
		t.Errorf("%q", got)
	}
}

// Takes the database away: every question and every note fails and says whose it was, and
// none passes for "nothing there".
func TestWithoutADatabaseEverythingFails(t *testing.T) {
	l, a := open(t)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	ctx := t.Context()
	for name, do := range map[string]func() error{
		"Record":      func() error { _, err := l.Record(ctx, decided(alerts.Evening, "a"), nil, evening); return err },
		"Decision":    func() error { _, _, _, err := l.Decision(ctx, "a"); return err },
		"Acknowledge": func() error { return l.Acknowledge(ctx, "a", evening) },
		"Unanswered":  func() error { _, err := l.Unanswered(ctx, evening, evening); return err },
		"Known":       func() error { _, err := l.Known(ctx, "hill", "a"); return err },
		"Last":        func() error { _, _, _, err := l.Memory(ctx).Last("hill", alerts.Evening, ""); return err },
		"Done":        func() error { _, err := l.Done(ctx, "hill", "evening", "a"); return err },
		"MarkDone":    func() error { return l.MarkDone(ctx, "hill", "evening", "a", evening) },
		"Forget":      func() error { return l.Forget(ctx, "hill", evening) },
		"Take":        func() error { _, _, err := l.Take(ctx, "a", "one", evening, evening); return err },
		"RingAgain":   func() error { _, err := l.RingAgain(ctx, evening, evening); return err },
		"ClaimJob": func() error {
			_, err := l.ClaimJob(ctx, "hill", "evening", "a", "one", evening, evening)
			return err
		},
		"ForgetLeases": func() error { return l.ForgetLeases(ctx, "hill", evening) },
		"Due":          func() error { _, err := l.Due(ctx, evening, 1); return err },
		"RecentOf":     func() error { _, err := l.RecentOf(ctx, []string{"hill"}, 1); return err },
		"Told":         func() error { _, err := l.Told(ctx, "hill", []alerts.Kind{alerts.Evening}, 1); return err },
		"Attempted":    func() error { return l.Attempted(ctx, "one", &ledger.Delivery{}, ledger.Attempt{}) },
		"Attempts":     func() error { _, err := l.Attempts(ctx, "a"); return err },
		"Newest":       func() error { _, err := l.Newest(ctx, "robin"); return err },
		"SetStopped":   func() error { return l.SetStopped(ctx, "robin", true, evening) },
		"Stopped":      func() error { _, err := l.Stopped(ctx, "robin"); return err },
		"SetPaused":    func() error { return l.SetPaused(ctx, "robin", evening) },
		"Silenced":     func() error { _, err := l.Silenced(ctx, "robin", evening); return err },
		"Key":          func() error { _, err := l.Key(ctx); return err },
		"PutEntries":   func() error { return l.PutEntries(ctx, "hill", nil, evening) },
		"Entries":      func() error { _, err := l.Entries(ctx, "hill", evening); return err },
		"AddSubscription": func() error {
			return l.AddSubscription(ctx, "robin", "https://a.example", "one", evening)
		},
		"Subscriptions":    func() error { _, err := l.Subscriptions(ctx, "robin"); return err },
		"DropSubscription": func() error { return l.DropSubscription(ctx, "https://a.example") },
		"PushKeys":         func() error { _, _, err := l.PushKeys(ctx); return err },
	} {
		if err := do(); err == nil || errors.Is(err, ledger.ErrNone) || !strings.Contains(err.Error(), "ledger") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
