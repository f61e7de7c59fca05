package source

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
)

// A service whose day is used up is not asked, the fault says so and when it is
// asked again, and its breaker does not open: tomorrow it is well. Answers that are
// kept cost nothing.
func TestASpentBudgetIsAFaultAndNoFailure(t *testing.T) {
	var asked atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		if strings.HasSuffix(r.URL.Path, "/stands") {
			w.Header().Set("Cache-Control", "max-age=600")
		}
		_, _ = w.Write([]byte("{}"))
	}))
	defer server.Close()
	client := newTestClient(t, func(o *Options) { o.Bounds = map[string]Bound{"here": {PerDay: 3}} })
	get := func(service, path string) error {
		_, err := client.Get(context.Background(), service, server.URL+path, nil)
		return err
	}
	for range 5 {
		if err := get("here ensemble", "/stands"); err != nil {
			t.Fatal(err)
		}
	}
	_, _ = get("here", "/a"), get("here", "/b")
	for range 6 {
		var f *Fault
		err := get("here", "/c")
		if !errors.As(err, &f) || f.Kind != Busy ||
			f.Error() != "here: today's 3 questions to it are used up; it is asked again after midnight UTC; ask less often, or raise per_day if its terms allow" {
			t.Fatal(err)
		}
	}
	if asked.Load() != 3 {
		t.Errorf("asked %d times, want 3", asked.Load())
	}
	if err := get("elsewhere", "/d"); err != nil {
		t.Errorf("a service without bounds: %v", err)
	}
}
