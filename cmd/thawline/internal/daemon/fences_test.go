package daemon

import (
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/message"
)

// A daemon that starts again lets go of what it had in hand: another one that comes to it
// first need not wait for the lease, and nobody is let go of whose daemon did not start.
func TestAStartLetsGoOfWhatWasInHand(t *testing.T) {
	where := filepath.Join(t.TempDir(), "d.db")
	now := eveningIn2026
	s := evenSettings("http://127.0.0.1:1")
	d := sharing(t, where, "a", s, now)
	decision := alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:2026-03-20", Until: now.Add(time.Hour)}
	if err := d.record(t.Context(), &s.Sites[0], decision, now, func(*message.Words) string { return "Sap will run." }); err != nil {
		t.Fatal(err)
	}
	due, err := d.Ledger.Due(t.Context(), now, 10)
	if err != nil || len(due) != 3 {
		t.Fatalf("%v: %d deliveries", err, len(due))
	}
	takes := func(i int, holder string) bool {
		_, taken, _ := d.Ledger.Take(t.Context(), due[i].ID, holder, now, now.Add(lease))
		return taken
	}
	for i, holder := range []string{"a", "b", "a"} {
		if !takes(i, holder) {
			t.Fatalf("%s takes nothing", holder)
		}
	}
	if ours, err := d.Ledger.ClaimJob(t.Context(), "bush", "evening", "2026-03-20", "a", now, now.Add(jobLease)); err != nil || !ours {
		t.Fatal(ours, err)
	}
	if takes(0, "c") {
		t.Fatal("taken out of another's hand")
	}
	sharing(t, where, "a", s, now)
	if !takes(0, "c") || !takes(2, "c") {
		t.Error("what it had in hand waits for the lease")
	}
	if takes(1, "c") {
		t.Error("taken out of the hand of one that did not start")
	}
	if ours, err := d.Ledger.ClaimJob(t.Context(), "bush", "evening", "2026-03-20", "c", now, now.Add(jobLease)); err != nil || !ours {
		t.Error("its evening waits for the lease", err)
	}
}
