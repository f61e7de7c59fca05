package archive

import (
	"context"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"thawline/forecast/weather/source"
)

// budgetsHold is what a budget promises: a day's sum in whole, a new one after
// midnight UTC, questions held apart, services by themselves.
func budgetsHold(t *testing.T, one, two source.Budgets) {
	t.Helper()
	take := func(b source.Budgets, service string, cost, perSecond, perDay float64, at time.Time) (time.Duration, bool) {
		wait, spent, err := b.TakeQuestion(t.Context(), service, cost, perSecond, perDay, at)
		if err != nil {
			t.Fatal(err)
		}
		return wait, spent
	}
	evening := time.Date(2026, 3, 20, 23, 30, 0, 0, time.UTC)
	for i := range 4 {
		if _, spent := take([]source.Budgets{one, two}[i%2], "a", 2.5, 0, 10, evening); spent {
			t.Errorf("question %d of a day for four was refused", i)
		}
	}
	if _, spent := take(one, "a", 2.5, 0, 10, evening); !spent {
		t.Error("a fifth question of a day for four went through")
	}
	if _, spent := take(one, "b", 2.5, 0, 10, evening); spent {
		t.Error("one service's budget is another's")
	}
	if _, spent := take(two, "a", 2.5, 0, 10, evening.Add(time.Hour)); spent {
		t.Error("the new day has nothing left")
	}
	if _, spent := take(two, "c", 50, 0, 10, evening); !spent {
		t.Error("a first question that costs more than a day has went through")
	}
	for i := range 5 {
		wait, _ := take([]source.Budgets{one, two}[i%2], "p", 1, 4, 0, evening)
		if want := time.Duration(i) * 250 * time.Millisecond; wait < want-time.Millisecond || wait > want+time.Millisecond {
			t.Errorf("question %d of four a second waits %s, want %s", i, wait, want)
		}
	}
	if wait, _ := take(one, "p", 1, 4, 0, evening.Add(time.Hour)); wait != 0 {
		t.Errorf("after an hour a question waits %s", wait)
	}
}

func TestBudgets(t *testing.T) {
	own := &source.OwnBudgets{}
	budgetsHold(t, own, own)
	path := filepath.Join(t.TempDir(), "b.db")
	budgetsHold(t, opened(t, path), opened(t, path))
}

// Of many daemons that ask at once as many get through as the day has.
func TestBudgetsAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	programs := []*Archive{opened(t, path), opened(t, path), opened(t, path)}
	var mu sync.Mutex
	through := 0
	var wg sync.WaitGroup
	for i := range 60 {
		wg.Go(func() {
			_, spent, err := programs[i%3].TakeQuestion(context.Background(), "a", 1, 0, 25, time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC))
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			defer mu.Unlock()
			if !spent {
				through++
			}
		})
	}
	wg.Wait()
	if through != 25 {
		t.Errorf("%d questions of a day for 25 went through", through)
	}
}

func TestBulletinsAreKeptForOthers(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "b.db"))
	at := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	if _, found, err := a.Bulletin(t.Context(), "cell"); found || err != nil {
		t.Errorf("found nothing: %v %v", found, err)
	}
	for i, body := range []string{"old", "new"} {
		if err := a.PutBulletin(t.Context(), "cell", at.Add(time.Duration(i)*time.Hour), []byte(body)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := a.BulletinsGot(t.Context(), at)
	packed, found, err2 := a.Bulletin(t.Context(), "cell")
	if err != nil || err2 != nil || !found || string(packed) != "new" || !got["cell"].Equal(at.Add(time.Hour)) {
		t.Errorf("%q %v %v %v", packed, got, err, err2)
	}
	if err := a.ForgetBulletins(t.Context(), at.Add(2*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, found, _ := a.Bulletin(t.Context(), "cell"); found {
		t.Error("an old one was not let go")
	}
}
