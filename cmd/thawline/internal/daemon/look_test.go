package daemon

import (
	"context"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
	"thawline/forecast/records"
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

// askedCounted counts how often weather is asked for, and may call what it got old.
type askedCounted struct {
	Asker
	asked int
	kept  bool
}

func (c *askedCounted) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	c.asked++
	in, err := c.Asker.Ask(ctx, site, now)
	in.Kept = c.kept
	return in, err
}

// writesOnce is a channel for machines that writes down a visit when it is first given an outlook.
type writesOnce struct {
	recorder
	write func()
}

func (w *writesOnce) Publish(context.Context, string, string, map[string][]byte) error {
	w.write()
	w.write = func() {}
	return nil
}

// A start in the evening looks once: the look that every start takes is the evening's too.
// It is not where a record came in between, which the evening has to know of, or where no
// service had anything new, who may answer by now.
func TestStartInTheEveningLooksOnce(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	for _, c := range []struct {
		name        string
		kept, wrote bool
		asked, made int
	}{{"once", false, false, 1, 1}, {"after a record", false, true, 2, 2}, {"old weather", true, false, 2, 2}} {
		t.Run(c.name, func(t *testing.T) {
			s := evenSettings("")
			asker := &askedCounted{Asker: s.Asker, kept: c.kept}
			w := &writesOnce{}
			s.Asker, s.Channels = asker, map[string]channel.Channel{"text": w}
			d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
			site := &d.settings.Sites[0]
			w.write = func() {
				if !c.wrote {
					return
				}
				visit := records.Visit{Site: site.ID, Group: site.Groups[0].ID, CollectedAt: now.Add(-time.Hour), VolumeL: 40, Taps: 50}
				if _, err := d.Archive.PutVisits(context.Background(), []records.Visit{visit}, "robin", now); err != nil {
					t.Error(err)
				}
			}
			d.Step(context.Background(), now)
			if asker.asked != c.asked || d.Made() != uint64(c.made) {
				t.Errorf("asked %d times, made %d outlooks; want %d and %d", asker.asked, d.Made(), c.asked, c.made)
			}
			if d.Behind(context.Background(), site.ID) {
				t.Error("the outlook does not know of the record")
			}
			kept, err := d.Archive.Evenings(context.Background(), site.ID, "2026-03-09")
			if err != nil || len(kept) != 1 {
				t.Errorf("%d evenings are kept (%v)", len(kept), err)
			}
			told, err := d.Ledger.Recent(context.Background(), 100)
			told = slices.DeleteFunc(told, func(v ledger.Delivery) bool { return v.Kind != alerts.Evening })
			if err != nil || len(told) != len(s.People) {
				t.Errorf("%d people told of the evening (%v)", len(told), err)
			}
		})
	}
}
