package daemon

import (
	"context"
	"testing"
	"time"

	"thawline/forecast"
)

// Outlooks that panic give their core back: more of them than there are cores do
// not keep the others waiting for ever.
func TestPanicsGiveCoresBack(t *testing.T) {
	s := evenSettings("")
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	answer, err := s.Asker.Ask(context.Background(), &s.Sites[0], now)
	if err != nil {
		t.Fatal(err)
	}
	whole := forecast.Inputs{Site: s.Sites[0], Bulletin: answer.Bulletin, Now: now}
	broken := whole
	broken.Site.Zone = nil
	done := make(chan error)
	go func() {
		for range cap(cores) + 1 {
			func() {
				defer func() {
					if recover() == nil {
						t.Error("no panic")
					}
				}()
				_, _ = reckon(broken)
			}()
		}
		_, err := reckon(whole)
		done <- err
	}()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("no core is left")
	}
}
