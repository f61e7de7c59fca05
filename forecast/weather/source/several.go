package source

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"thawline/forecast/weather"
)

// askSeveral asks all stations of a request at once and mixes what they say. One that
// is out of reach, or lies far from the others, is left out.
func (c *Chain) askSeveral(ctx context.Context, siteID string, r Request) (Outcome, error) {
	outcomes, faults := make([]Outcome, len(r.Stations)), make([]error, len(r.Stations))
	var asked sync.WaitGroup
	for i := range r.Stations {
		asked.Go(func() {
			outcomes[i], faults[i] = c.askStation(ctx, siteID, &r.Stations[i], r)
		})
	}
	asked.Wait()
	if errors.Is(ctx.Err(), context.Canceled) {
		return Outcome{}, ctx.Err()
	}
	var o Outcome
	var fresh, kept []heard
	for i := range outcomes {
		name := r.Stations[i].Name
		for _, a := range outcomes[i].Attempts {
			fault := *a.Fault
			fault.Detail = name + ": " + fault.Detail
			o.Attempts = append(o.Attempts, Attempt{a.Source, &fault})
		}
		if faults[i] != nil {
			continue
		}
		switch h := (heard{name, outcomes[i].Bulletin.At(r.Place)}); {
		case outcomes[i].Kept:
			kept = append(kept, h)
		default:
			fresh = append(fresh, h)
		}
	}
	from := fresh
	if len(fresh) == 0 {
		from, o.Kept = kept, true
	}
	if len(from) == 0 {
		return c.lastGood(context.WithoutCancel(ctx), siteID, r, o)
	}
	var before *weather.Bulletin
	if c.Keep != nil {
		if b, _, err := c.Keep.Load(ctx, siteID); err == nil && r.Now.Sub(b.IssuedAt) < oldestIssue {
			before = &b
		}
	}
	from = c.agreeing(from, before, &r, &o)
	record := c.trackRecord(ctx, siteID, from, &r, !o.Kept)
	from, remarks := record.choose(from)
	o.Bulletin = mixed(from, remarks)
	if before != nil {
		o.Bulletin.Remember(before)
	}
	if !o.Kept {
		c.store(ctx, siteID, &o.Bulletin, r.Now)
	}
	o.Age = max(r.Now.Sub(o.Bulletin.IssuedAt), 0)
	return o, nil
}

// heard is what one station said.
type heard struct {
	name     string
	bulletin weather.Bulletin
}

// mixed is the mean of what stations said, with whose it is.
func mixed(from []heard, remarks []weather.Remark) weather.Bulletin {
	var bulletins []weather.Bulletin
	var names []string
	for i := range from {
		bulletins, names = append(bulletins, from[i].bulletin), append(names, from[i].name)
	}
	b := weather.Mix(bulletins)
	b.Errors = &weather.UsualErrors
	b.Remarks = slices.Concat([]weather.Remark{{Kind: weather.MixedFrom, Name: strings.Join(names, weather.MixedNames)}}, remarks,
		b.Remarks)
	return b
}

// askStation asks for one station's weather as for a bush of its own.
func (c *Chain) askStation(ctx context.Context, siteID string, s *weather.Station, r Request) (Outcome, error) {
	alone := *c
	if s.Service != "" {
		alone.Forecasters = slices.DeleteFunc(slices.Concat(c.Forecasters, c.Others),
			func(f Forecaster) bool { return f.Name() != s.Service })
	}
	r.Stations = nil
	if !math.IsNaN(s.Place.LatitudeDeg) {
		r.Place, r.Beside = s.Place, nil
	}
	return alone.Ask(ctx, siteID+" "+s.Name, r)
}

// agreeing leaves out stations that lie far from the others and from what was mixed
// before; of two that disagree, where nothing was, the first is believed. It comes
// before the mean, which would hide it.
func (c *Chain) agreeing(from []heard, before *weather.Bulletin, r *Request, o *Outcome) []heard {
	for {
		against := make([]int, len(from))
		for i := range from {
			if before != nil && strange(&from[i].bulletin, before, r.Now) != 0 {
				against[i]++
			}
			for j := range from {
				if i != j && strange(&from[i].bulletin, &from[j].bulletin, r.Now) != 0 {
					against[i]++
				}
			}
		}
		worst := len(from) - 1
		for i := worst; i >= 0; i-- {
			if against[i] > against[worst] {
				worst = i
			}
		}
		if against[worst] == 0 || len(from) == 1 {
			return from
		}
		beside := before
		for j := range from {
			if j != worst && (beside == nil || strange(&from[worst].bulletin, beside, r.Now) == 0) {
				beside = &from[j].bulletin
			}
		}
		b := &from[worst].bulletin
		fault := unreadable(b.Source, "%s: its temperatures lie %+.0f K from those of the other stations: another unit, or another place", from[worst].name, strange(b, beside, r.Now))
		if c.Log != nil {
			c.Log.Info("a station is left out", "station", from[worst].name, "fault", fault.Error())
		}
		o.Attempts = append(o.Attempts, Attempt{b.Source, fault})
		from = slices.Delete(from, worst, worst+1)
	}
}

// strange is how far a bulletin lies from another at the middle, 0 where both may be true.
func strange(a, b *weather.Bulletin, now time.Time) float64 {
	d := differences(a, b, now)
	if len(d) < fewestSame {
		return 0
	}
	if middle := weather.Median(d); math.Abs(middle) > jumpK {
		return middle
	}
	return 0
}
