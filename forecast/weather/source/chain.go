package source

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// Attempt is a service that gave nothing that can be used.
type Attempt struct {
	Source string
	Fault  *Fault
}

// Outcome is the bulletin that was got, and how.
type Outcome struct {
	Bulletin weather.Bulletin
	Attempts []Attempt     // that failed, in order
	Kept     bool          // no service gave one: it is the last good one
	Age      time.Duration // since it was issued
}

// Chain asks services in order until one gives a bulletin that can be used.
type Chain struct {
	Forecasters []Forecaster
	Others      []Forecaster  // that are asked only where a station names them
	Warners     []Warner      // that are asked for official warnings, each where it issues them
	Keep        *Keep         // where the last good bulletin is kept; nil for nowhere
	Share       time.Duration // the longest that one service may take, 20 s
	Log         *slog.Logger
}

const (
	futureLeeway = 15 * time.Minute
	oldestIssue  = 36 * time.Hour
	oldestKept   = 10 * 24 * time.Hour
	fewestKnown  = 20 // hours of the next day
	enoughPast   = 48 // hours
	keptPatience = 5 * time.Second
)

// Ask returns the first usable bulletin for a site, else the last good one; where
// there is none either, the outcome has the attempts alone. A
// service that hangs, fails, panics or talks nonsense costs its share of time
// and no more.
func (c *Chain) Ask(ctx context.Context, siteID string, r Request) (Outcome, error) {
	if len(r.Stations) > 0 {
		return c.askSeveral(ctx, siteID, r)
	}
	if len(c.Forecasters) == 0 {
		return Outcome{}, errors.New("no weather service is set: name at least one in weather.sources")
	}
	log := c.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	var o Outcome
	var odd *weather.Bulletin // the first that only the last good one speaks against
	for i, f := range c.Forecasters {
		b, fault := c.askOne(ctx, f, r)
		if errors.Is(ctx.Err(), context.DeadlineExceeded) { // the last good one is at hand
			o.Attempts = append(o.Attempts,
				Attempt{f.Name(), &Fault{Service: f.Name(), Kind: Unreachable, Detail: "no answer in time",
					Remedy: "check the internet connection"}})
			kept, cancel := context.WithTimeout(context.WithoutCancel(ctx), keptPatience)
			defer cancel()
			return c.lastGood(kept, siteID, r, o)
		}
		if ctx.Err() != nil {
			return Outcome{}, fmt.Errorf("weather for %s: %w", inWords(siteID), ctx.Err())
		}
		if fault == nil {
			var jumped bool
			if fault, jumped = c.doubt(ctx, siteID, &b, &r); jumped && odd != nil && !apart(odd, &b, r.Now) {
				fault = nil // two services agree: it is the last good one that was wrong
			} else if jumped && odd == nil {
				odd = &b
			}
		}
		if fault != nil {
			log.Info("no forecast", "service", f.Name(), "kind", fault.Kind, "fault", fault.Error())
			o.Attempts = append(o.Attempts, Attempt{f.Name(), fault})
			continue
		}
		c.addPast(ctx, i, o.Attempts, &b, r)
		c.store(ctx, siteID, &b, r.Now)
		o.Bulletin, o.Age = b, max(r.Now.Sub(b.IssuedAt), 0)
		return o, nil
	}
	return c.lastGood(ctx, siteID, r, o)
}

// store keeps a bulletin for worse times.
func (c *Chain) store(ctx context.Context, siteID string, b *weather.Bulletin, now time.Time) {
	if c.Keep == nil {
		return
	}
	if err := c.Keep.Store(ctx, siteID, b, now); err != nil && c.Log != nil {
		c.Log.Warn("the forecast could not be kept for worse times", "site", siteID, "error", err)
	}
}

func (c *Chain) lastGood(ctx context.Context, siteID string, r Request, o Outcome) (Outcome, error) {
	var lines []string
	for _, a := range o.Attempts {
		lines = append(lines, a.Fault.Error())
	}
	if c.Keep != nil {
		b, _, err := c.Keep.Load(ctx, siteID)
		switch age := r.Now.Sub(b.IssuedAt); {
		case err != nil:
			lines = append(lines, err.Error())
		case age > oldestKept || b.Course.Index(r.Now)+6 >= b.Course.Hours():
			lines = append(lines, fmt.Sprintf("the last good forecast, of %s, is too old", b.IssuedAt.Format("2006-01-02 15:04 UTC")))
		default:
			o.Bulletin, o.Kept, o.Age = b, true, max(age, 0)
			return o, nil
		}
	}
	return o, fmt.Errorf("no weather for %s: no service gave a forecast that can be used:\n  %s\ncheck the internet connection and weather.sources, or ask again later",
		inWords(siteID), strings.Join(lines, "\n  "))
}

// Unnamed is the id of a bush that no settings name.
const Unnamed = "here"

// inWords is a site by what it is kept under, its id and its place, as people say it.
func inWords(siteID string) string {
	id, place, placed := strings.Cut(siteID, "@")
	if !placed {
		return siteID
	}
	place = strings.ReplaceAll(place, ",", ", ")
	if id == Unnamed || id == "bush" { // as init calls the only one
		return "the bush at " + place
	}
	return "the bush " + id + " at " + place
}

// askOne asks one service within its share of time.
func (c *Chain) askOne(ctx context.Context, f Forecaster, r Request) (b weather.Bulletin, fault *Fault) {
	share := c.Share
	fill(&share, 20*time.Second)
	ctx, cancel := context.WithTimeout(ctx, share)
	defer cancel()
	defer func() {
		if p := recover(); p != nil {
			fault = unreadable(f.Name(), "thawline stumbled over the answer (%v); please report this", p)
		}
	}()
	b, err := f.Forecast(ctx, r)
	switch {
	case err == nil:
		return b, nil
	case errors.As(err, &fault):
		if errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return b, &Fault{Service: f.Name(), Kind: Unreachable, Cause: err, Detail: "no answer within " + share.String(),
				Remedy: "check the internet connection"}
		}
		return b, fault
	}
	return b, &Fault{Service: f.Name(), Kind: Unreachable, Detail: err.Error(), Cause: err}
}

// judge tells why a readable bulletin can't be used, nil if it can.
func judge(b *weather.Bulletin, now time.Time) *Fault {
	outdated := func(format string, args ...any) *Fault {
		return &Fault{Service: b.Source, Kind: Outdated, Detail: fmt.Sprintf(format, args...)}
	}
	if ahead := b.IssuedAt.Sub(now); ahead > futureLeeway {
		f := outdated("its forecast was issued %.1f h in the future", ahead.Hours())
		f.Remedy = "check this computer's clock"
		return f
	}
	if age := now.Sub(b.IssuedAt); age > oldestIssue {
		return outdated("its forecast is %.0f h old", age.Hours())
	}
	if i := b.Course.Index(now); i < -3 || i+fewestKnown >= b.Course.Hours() {
		return outdated("its forecast covers %s to %s, not the coming day",
			b.Course.Start().Format("2006-01-02 15:04"), b.Course.End().Format("2006-01-02 15:04 UTC"))
	}
	filled := b.Course.Slice(0, b.Course.Hours())
	filled.FillGaps()
	known := 0
	for i := filled.Index(now) + 1; i <= filled.Index(now)+24; i++ {
		if !math.IsNaN(filled.At(weather.TemperatureC, i)) {
			known++
		}
	}
	if known < fewestKnown {
		return unreadable(b.Source, "the temperature is known for %d of the next 24 hours", known)
	}
	return absurd(b)
}

func absurd(b *weather.Bulletin) *Fault {
	if v, i, found := b.Course.Absurd(); found {
		return unreadable(b.Source, "%s is %g at %s", v, b.Course.At(v, i), b.Course.Time(i).Format("2006-01-02 15:04 UTC"))
	}
	return nil
}

// addPast asks the other services for past weather where the bulletin has
// hardly any: a forecast alone can't say whether the trees are frozen. Services
// that were out of reach a moment ago are not tried again.
func (c *Chain) addPast(ctx context.Context, winner int, failed []Attempt, b *weather.Bulletin, r Request) {
	known := 0
	for i := max(b.Course.Index(r.Now)-r.PastDays*24, 0); i <= b.Course.Index(r.Now); i++ {
		if !math.IsNaN(b.Course.At(weather.TemperatureC, i)) {
			known++
		}
	}
	if known >= min(enoughPast, r.PastDays*24) {
		return
	}
	share := c.Share
	fill(&share, 20*time.Second)
	for i, f := range c.Forecasters {
		h, ok := f.(Historian)
		if !ok || i == winner || slices.ContainsFunc(failed, func(a Attempt) bool {
			return a.Source == f.Name() && (a.Fault.Kind == Unreachable || a.Fault.Kind == Busy)
		}) {
			continue
		}
		ctx, cancel := context.WithTimeout(ctx, share)
		past, credits, err := h.History(ctx, r.Place, r.Now.AddDate(0, 0, -r.PastDays), r.Now)
		cancel()
		if err != nil {
			b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.NoPast, Why: err.Error()})
			continue
		}
		if past.Has(weather.TemperatureC) {
			b.Course = past.Overlay(&b.Course)
			b.Credits = append(b.Credits, credits...)
			b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.PastFrom, Name: h.Name()})
			return
		}
	}
}
