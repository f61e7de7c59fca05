package daemon

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
)

// A record by hand of a group for a day comes before the gauge's.
func TestRecordsByHandComeBeforeGauges(t *testing.T) {
	ctx, zone := context.Background(), newYork(t)
	now := time.Date(2026, 3, 12, 0, 5, 0, 0, zone)
	s := evenSettings("")
	site := s.Sites[0].ID
	s.Tanks = []Tank{{Site: site, ID: "big", VolumeL: 600, Groups: []Share{{"south", 0.75}, {"brook", 0.25}}}}
	s.Sites[0].Groups = []forecast.Group{{ID: "south", Taps: 30, TankID: "big", TankL: 450},
		{ID: "brook", Taps: 10, TankID: "big", TankL: 150}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	for h := range 23 {
		at := now.Add(time.Duration(h) * time.Hour)
		if err := d.gaugeSaid(ctx, channel.Heard{Site: site, Tank: "big",
			Body: fmt.Appendf(nil, `{"ts":%d,"value":%d,"unit":"L"}`, at.Unix(), 100+10*h)}, at); err != nil {
			t.Fatal(err)
		}
	}
	byHand := records.Visit{Site: site, Group: "south", CollectedAt: now.Add(17 * time.Hour), VolumeL: 99, BrixPct: math.NaN()}
	if _, err := d.Archive.PutVisits(ctx, []records.Visit{byHand}, "robin", now); err != nil {
		t.Fatal(err)
	}
	d.Step(ctx, time.Date(2026, 3, 13, 0, 41, 0, 0, zone))
	stored, err := d.Archive.Visits(ctx, site, now, zone)
	if err != nil || len(stored) != 2 {
		t.Fatalf("%v %+v", err, stored)
	}
	for _, v := range stored {
		if v.Group == "south" && v.VolumeL != 99 || v.Group == "brook" && math.Abs(v.VolumeL-55) > 0.1 {
			t.Errorf("%+v", v)
		}
	}
}

// Waits between attempts on one way grow, to half an hour at most.
func TestWaitsGrow(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	s := evenSettings("")
	s.People, s.Channels = s.People[:1],
		map[string]channel.Channel{"text": &recorder{fail: func(channel.Message) error { return errors.New("down") }}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	ctx := context.Background()
	if err := d.record(ctx, &s.Sites[0],
		alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:1", Until: now.Add(6 * time.Hour)}, now,
		func(*message.Words) string { return "w" }); err != nil {
		t.Fatal(err)
	}
	for at := now; at.Before(now.Add(5 * time.Hour)); at = at.Add(10 * time.Second) {
		d.deliver(ctx, at)
	}
	list, err := d.Ledger.Recent(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	tries, err := d.Ledger.Attempts(ctx, list[0].ID)
	if err != nil || len(tries) < 8 {
		t.Fatalf("%v %d", err, len(tries))
	}
	last := time.Duration(0)
	for i := 1; i < len(tries); i++ {
		wait := tries[i].At.Sub(tries[i-1].At).Round(10 * time.Second)
		if wait > engine.LongestWait || i < 6 && wait < 3*last/2 {
			t.Errorf("attempt %d after %s, the one before it after %s", i+1, wait, last)
		}
		last = wait
	}
	if last < engine.LongestWait*4/5 {
		t.Errorf("the last wait is %s", last)
	}
}

// From twenty-one sites on hours are spread; up to twenty each has the usual ones.
func TestHoursAreSpreadFromSomeTwentySitesOn(t *testing.T) {
	for n, spreads := range map[int]bool{20: false, 21: true} {
		d := sharing(t, filepath.Join(t.TempDir(), "x.db"), "a", many(n, nil), eveningIn2026.Add(-12*time.Hour))
		minutes, shared := map[string]map[string]bool{}, false
		for _, j := range d.jobs {
			if minutes[j.name] == nil {
				minutes[j.name] = map[string]bool{}
			}
			minutes[j.name][j.next.Format("15:04")] = true
			shared = shared || j.name == "weather"
		}
		if shared != spreads || (len(minutes["morning"]) > 3) != spreads || (len(minutes["housekeeping"]) > 5) != spreads ||
			len(minutes["evening"]) != 1 {
			t.Errorf("%d sites: %v", n, minutes)
		}
	}
}

// Leases are let go after two days.
func TestHousekeepingForgetsLeases(t *testing.T) {
	d, _, _, now := evening(t)
	ctx := context.Background()
	count := func() (n int) {
		if err := d.Archive.DB().QueryRowContext(ctx, "SELECT COUNT(*) FROM job_lease").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count()
	for _, c := range []struct {
		after time.Duration
		want  bool
	}{{47 * time.Hour, true}, {49 * time.Hour, false}} {
		if err := d.housekeeping(ctx, &d.settings.Sites[0], *now, now.Add(c.after)); err != nil || (count() > 0) != c.want || before == 0 {
			t.Errorf("after %s %d leases of %d are there: %v", c.after, count(), before, err)
		}
	}
}
