package daemon

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
)

// questioned counts the questions to services, and may hold them up or refuse them.
type questioned struct {
	Asker
	asked  atomic.Int64
	gate   chan struct{} // nil: at once
	refuse atomic.Bool
}

func (c *questioned) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	c.asked.Add(1)
	if c.refuse.Load() {
		return forecast.Inputs{}, errors.New("nobody answers")
	}
	a, err := c.Asker.Ask(ctx, site, now)
	if c.gate != nil {
		<-c.gate
	}
	return a, err
}

// ridge is a daemon that has looked at the demonstration's bush on the evening of a run.
func ridge(t *testing.T) (d *Daemon, asked *questioned, now time.Time) {
	t.Helper()
	site, truth := kettle(t)
	now = time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	asked = &questioned{Asker: &oracle{truth: truth, place: site.Place}}
	d = started(t, filepath.Join(t.TempDir(), "remake.db"), settings(site, asked, nil), now)
	d.Step(t.Context(), now)
	d.Remake(t.Context(), now) // how things stand
	if d.Outlook(t.Context(), "kettle") == nil {
		t.Fatal("no outlook")
	}
	return d, asked, now
}

func visited(t *testing.T, d *Daemon, at time.Time, litres float64) {
	t.Helper()
	v := records.Visit{Site: "kettle", Group: "ridge", CollectedAt: at, Taps: 60, VolumeL: litres, BrixPct: math.NaN()}
	if _, err := d.Archive.PutVisits(context.Background(), []records.Visit{v}, "robin", at); err != nil {
		t.Fatal(err)
	}
}

// A record makes the outlook again without a question to any service; the weather keeps
// its age, and what is the same again makes nothing.
func TestRecordsRemakeTheOutlook(t *testing.T) {
	d, asked, now := ridge(t)
	before, questions := d.Outlook(t.Context(), "kettle"), asked.asked.Load()
	at := now.Add(20 * time.Minute)
	visited(t, d, at, 150)
	if !d.Behind(t.Context(), "kettle") {
		t.Error("an outlook that knows nothing of the record is not behind")
	}
	began := time.Now()
	d.Remake(t.Context(), at)
	t.Logf("made again in %s", time.Since(began))
	o := d.Outlook(t.Context(), "kettle")
	if o == before || d.Behind(t.Context(), "kettle") || !o.IssuedAt.Equal(at) || !o.Source.IssuedAt.Equal(before.Source.IssuedAt) {
		t.Fatalf("made %s of weather of %s", o.IssuedAt, o.Source.IssuedAt)
	}
	if f := o.Work.Groups[0]; f.SinceVisit == nil || !f.SinceVisit.Equal(at) || f.HeldL.P50 > 30 {
		t.Errorf("%+v", f)
	}
	if asked.asked.Load() != questions {
		t.Error("services were asked")
	}
	visited(t, d, at, 150)
	d.Remake(t.Context(), at.Add(time.Minute))
	if d.Outlook(t.Context(), "kettle") != o {
		t.Error("the same record again made another outlook")
	}
}

// A hundred entries of a list make one outlook, or a few, and the last of them counts.
func TestManyRecordsRemakeFewOutlooks(t *testing.T) {
	d, _, now := ridge(t)
	made := 0
	var wait sync.WaitGroup
	ctx, stop := context.WithCancel(t.Context())
	wait.Go(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-d.Archive.Written():
				made++
				d.Remake(ctx, now.Add(time.Hour))
			}
		}
	})
	var list []records.Visit
	for i := range 100 {
		list = append(list, records.Visit{Site: "kettle", Group: "ridge", CollectedAt: now.Add(-time.Duration(i) * 12 * time.Hour),
			Taps: 60, VolumeL: 60, BrixPct: math.NaN()})
	}
	if _, err := d.Archive.PutVisits(t.Context(), list, "robin", now); err != nil {
		t.Fatal(err)
	}
	visited(t, d, now.Add(30*time.Minute), 10)
	o := d.Outlook(t.Context(), "kettle")
	stop()
	wait.Wait()
	if f := o.Work.Groups[0]; f.SinceVisit == nil || !f.SinceVisit.Equal(now.Add(30*time.Minute)) {
		t.Errorf("%+v", f)
	}
	if made > 3 {
		t.Errorf("made %d times", made)
	}
}

// An answer of a service that was asked before a record, and came after it, does not put
// an outlook from before it in its place.
func TestASlowLookKeepsTheRecord(t *testing.T) {
	d, asked, now := ridge(t)
	asked.gate = make(chan struct{})
	looked := make(chan struct{})
	slow := now.Add(6 * time.Hour)
	go func() {
		defer close(looked)
		d.Step(context.Background(), slow)
	}()
	for asked.asked.Load() < 2 {
		time.Sleep(time.Millisecond)
	}
	at := slow.Add(time.Minute)
	visited(t, d, at, 150)
	d.Remake(t.Context(), at)
	close(asked.gate)
	<-looked
	o := d.Outlook(t.Context(), "kettle")
	if f := o.Work.Groups[0]; f.SinceVisit == nil || !f.SinceVisit.Equal(at) {
		t.Errorf("made %s: %+v", o.IssuedAt, f)
	}
	if !o.Source.IssuedAt.Equal(slow) {
		t.Errorf("weather of %s", o.Source.IssuedAt)
	}
}

// Where it can't be made again the pages can say so, nobody is asked over and over, and
// the next weather brings it.
func TestWhatCantBeRemadeIsSaid(t *testing.T) {
	d, asked, now := ridge(t)
	d.remakes.answers = nil // as after a restart, where there are many
	asked.refuse.Store(true)
	visited(t, d, now.Add(time.Minute), 150)
	questions := asked.asked.Load()
	for range 3 {
		d.Remake(t.Context(), now.Add(time.Minute))
	}
	if n := asked.asked.Load() - questions; n != 1 {
		t.Errorf("asked %d times", n)
	}
	if d.Outlook(t.Context(), "kettle") == nil || !d.Behind(t.Context(), "kettle") {
		t.Error("it is not said that the record is missing")
	}
	asked.refuse.Store(false)
	d.Step(t.Context(), now.Add(7*time.Hour))
	if d.Behind(t.Context(), "kettle") || !d.Outlook(t.Context(), "kettle").Work.Groups[0].SinceVisit.Equal(now.Add(time.Minute)) {
		t.Errorf("the next weather did not bring it: behind %v, %+v", d.Behind(t.Context(), "kettle"),
			d.Outlook(t.Context(), "kettle").Work)
	}
}

// Who asks for the next round after the hour of the one that was planned is not told of that one: the
// plan is made again for the question.
func TestQuestionAfterTheRoundsHour(t *testing.T) {
	d, _, now := ridge(t)
	robin := &d.settings.People[0]
	planned, _ := d.Outlook(t.Context(), "kettle").Work.Next()
	if len(planned) == 0 {
		t.Fatal("nobody is to go anywhere")
	}
	before := planned[0].GoAt.Add(-time.Minute)
	if err := d.heard(t.Context(), &d.settings.Sites[0], robin, "next?", "1", before); err != nil {
		t.Fatal(err)
	}
	if o := d.Outlook(t.Context(), "kettle"); !o.IssuedAt.Equal(now) {
		t.Errorf("made again at %s, before the round's hour", o.IssuedAt)
	}
	after := planned[0].GoAt.Add(3 * time.Hour)
	if err := d.heard(t.Context(), &d.settings.Sites[0], robin, "next?", "2", after); err != nil {
		t.Fatal(err)
	}
	if o := d.Outlook(t.Context(), "kettle"); !o.IssuedAt.Equal(after) || o.Work.Begun(after) {
		t.Errorf("at %s: made at %s, next %+v", after, o.IssuedAt, o.Work.Groups)
	}
}
