package daemon

import (
	"context"
	"net/http"
	"strings"
	"testing"
)

// A browser subscribes behind its person's own address; strangers and addresses
// that are no push service are turned away.
func TestSubscribing(t *testing.T) {
	d, _, server, _ := evening(t)
	ctx := context.Background()
	person := d.settings.People[0].ID
	address, err := Address(ctx, d.Ledger, "push", person)
	if err != nil {
		t.Fatal(err)
	}
	if status, _ := get(t, server.URL+"/p/worker.js"); status != 200 {
		t.Errorf("worker: %d", status)
	}
	subscription := func(endpoint string) string {
		return `{"endpoint":"` + endpoint + `","keys":{"p256dh":"BNcR","auth":"tBHI"}}`
	}
	for _, c := range []struct {
		at, body string
		want     int
	}{
		{strings.Repeat("0", 32), subscription("https://push.example.org/x"), http.StatusNotFound},
		{address, subscription("http://push.example.org/x"), http.StatusBadRequest},
		{address, subscription("https://127.0.0.1/x"), http.StatusBadRequest},
		{address, subscription("https://[::1]/x"), http.StatusBadRequest},
		{address, subscription("https://[fe80::1]/x"), http.StatusBadRequest},
		{address, subscription("https://0x7f000001/x"), http.StatusBadRequest},
		{address, subscription("https://127.1/x"), http.StatusBadRequest},
		{address, subscription("https://localhost/x"), http.StatusBadRequest},
		{address, subscription("https://push.example.org:22/x"), http.StatusBadRequest},
		{address, `{"endpoint":"https://push.example.org/x"}`, http.StatusBadRequest},
		{address, subscription("https://push.example.org/" + strings.Repeat("x", 4096)), http.StatusBadRequest},
		{address, subscription("https://push.example.org/x"), http.StatusNoContent},
		{address, subscription("https://push.example.org/x"), http.StatusNoContent}, // again: one
	} {
		answer, err := http.Post(server.URL+"/p/"+c.at, "application/json", strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != c.want {
			t.Errorf("%.60s: %d", c.body, answer.StatusCode)
		}
	}
	if kept, err := d.Ledger.Subscriptions(ctx, person); err != nil || len(kept) != 1 {
		t.Errorf("%v %v", kept, err)
	}
}
