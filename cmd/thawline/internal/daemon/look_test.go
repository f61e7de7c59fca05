package daemon

import (
	"context"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
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
		for range runtime.GOMAXPROCS(0) + 1 {
			func() {
				defer func() {
					if recover() == nil {
						t.Error("no panic")
					}
				}()
				_, _ = reckon(t.Context(), broken)
			}()
		}
		_, err := reckon(t.Context(), whole)
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

// broker is a channel for machines that counts the messages there were before it
// was given an outlook.
type broker struct {
	recorder
	decided func() int
	before  []int
}

func (b *broker) Publish(context.Context, string, string, map[string][]byte) error {
	b.before = append(b.before, b.decided())
	return nil
}

// What people are to be told is decided before machines are given the outlook: a
// broker that swallows packets does not keep them waiting.
func TestPeopleBeforeMachines(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	s := evenSettings("")
	b := &broker{}
	s.Channels = map[string]channel.Channel{"text": b}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	b.decided = func() int {
		list, err := d.Ledger.Recent(context.Background(), 100)
		if err != nil {
			t.Error(err)
		}
		n := 0
		for _, v := range list {
			if v.Kind == alerts.Evening {
				n++
			}
		}
		return n
	}
	if err := d.evening(context.Background(), &d.settings.Sites[0], now, now); err != nil {
		t.Fatal(err)
	}
	if len(b.before) != 1 || b.before[0] != len(s.People) {
		t.Errorf("%v", b.before)
	}
}
