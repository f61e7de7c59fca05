package daemon

import (
	"context"
	"net/http"
	"net/url"
	"testing"
	"time"
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
