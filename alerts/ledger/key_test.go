package ledger

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/engine"
	"thawline/forecast/archive"
)

// Who asks for the key of addresses the first time waits for whoever writes to the
// database; what that transaction goes on to write must not wait for the key in turn: on
// SQLite all messages of a first evening once stood still for ten seconds.
func TestFirstKeyStopsNoTransaction(t *testing.T) {
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "l.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	l := New(a.DB())
	jobs, err := engine.OpenLocal(t.Context(), engine.Options{DB: a.DB(), Limit: func(string) int { return 0 }})
	if err != nil {
		t.Fatal(err)
	}
	l.Ring(jobs, func(string) string { return "out text" })
	tx, err := a.DB().BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	asked := make(chan error, 1)
	go func() {
		_, err := l.Key(context.Background())
		asked <- err
	}()
	time.Sleep(50 * time.Millisecond) // for the key to wait for the transaction
	rung := make(chan error, 1)
	go func() {
		rung <- l.ring(context.Background(), tx, Delivery{ID: "one", Person: "robin", Kind: alerts.Evening})
	}()
	select {
	case err := <-rung:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the transaction waits for the key, which waits for the transaction")
	}
	if err := tx.Commit(); err != nil {
		t.Error(err)
	}
	if err := <-asked; err != nil {
		t.Error(err)
	}
}
