package daemon

import (
	"context"
	"time"

	"thawline/alerts/engine"
)

// Pacing is how a channel is sent to.
type Pacing struct {
	Senders int // messages on their way at a time, by one daemon
	Rate    engine.Rate
}

// usualSenders are those of a channel of which nothing is said.
const usualSenders = 8

// longestPause is how long a channel is left alone at a time, whatever it asks for: then
// one message asks how it stands.
const longestPause = 5 * time.Minute

// pauseSeen is how soon a pause that another daemon made is seen, where a channel has no
// rate to be kept.
const pauseSeen = time.Second

func (d *Daemon) pacing(id string) Pacing {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := d.settings.Paces[id]
	if p.Senders <= 0 {
		p.Senders = usualSenders
	}
	return p
}

// awaitPace waits for a message's place in the pace of its channel. Where that is far off,
// it takes none and says how long the message is held.
func (d *Daemon) awaitPace(ctx context.Context, id string, now time.Time) (held time.Duration, err error) {
	if d.Pace == nil {
		return 0, nil
	}
	rate := d.pacing(id).Rate
	if rate.PerSecond <= 0 {
		if last, looked := d.paceSeen.Load(id); !d.Archive.Shared() || looked && now.Sub(last.(time.Time)).Abs() < pauseSeen {
			return 0, nil // a pause is known here
		}
		d.paceSeen.Store(id, now)
	}
	wait, taken, err := d.Pace.Reserve(ctx, id, rate, longestHold, now)
	switch {
	case err != nil:
		return 0, err
	case !taken:
		d.paused.Store(id, now.Add(wait-longestHold/2))
		return wait, nil
	case wait <= 0:
		return 0, nil
	}
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case <-time.After(wait):
		return 0, nil
	}
}

// restChannel leaves a channel alone that asks for it, by all daemons.
func (d *Daemon) restChannel(ctx context.Context, id string, wait time.Duration, now time.Time) {
	if wait <= 0 || d.Pace == nil {
		return
	}
	until := now.Add(min(wait, longestPause))
	d.paused.Store(id, until)
	if err := d.Pace.Pause(ctx, id, until); err != nil {
		d.Log.Warn("other daemons do not know that a channel wants to be left alone", "channel", id, "error", err)
	}
}
