package source

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/weather/zone"

	"thawline/forecast/weather"
)

// Warner is a service that issues official warnings. Warnings are those in force or to
// come at a place; it fails with a *Fault where they are not known, and never takes
// that for none.
type Warner interface {
	Name() string
	Warnings(ctx context.Context, place weather.Place, now time.Time) ([]weather.Warning, error)
}

// warningsPart makes the name under which a service is asked for warnings: faults there
// must not keep it from being asked for the weather.
const warningsPart = " warnings"

// WarningsOf names what a service is called in counts of faults of its warnings.
func WarningsOf(service string) string { return service + warningsPart }

// Warnings returns the official warnings of a place. Where a service fails, what it said
// last stands until it expires, and the state is unknown.
func (c *Chain) Warnings(ctx context.Context, siteID string, place weather.Place, now time.Time) (weather.Warnings, []Attempt) {
	var got weather.Warnings
	var failed, outside []Attempt
	answered := 0
	for _, one := range c.Warners {
		if s := serviceOf(one.Name()); s == nil || !s.warnsFor(place) {
			continue
		}
		list, fault := c.askWarner(ctx, one, place, now)
		switch {
		case fault == nil:
			answered++
			got.List = append(got.List, list...)
		case fault.Kind == Outside:
			outside = append(outside, Attempt{one.Name(), fault})
		default:
			failed = append(failed, Attempt{one.Name(), fault})
		}
	}
	if answered == 0 { // it was to cover the place
		failed = append(failed, outside...)
	}
	switch {
	case len(failed) > 0:
		got.State = weather.WarningsUnknown
		last := c.lastWarnings(ctx, siteID)
		got.KnownAt = last.KnownAt
		for i := range last.List {
			if slices.ContainsFunc(failed, func(a Attempt) bool { return a.Source == last.List[i].Source }) {
				got.List = append(got.List, last.List[i])
			}
		}
	case answered > 0:
		got.State, got.KnownAt = weather.WarningsKnown, now
	default:
		got.State = weather.WarningsUnavailable
	}
	got = got.Current(now)
	if got.State == weather.WarningsKnown {
		c.storeWarnings(ctx, siteID, &got, now)
	}
	return got, failed
}

func (c *Chain) askWarner(ctx context.Context, one Warner, place weather.Place, now time.Time) (list []weather.Warning, fault *Fault) {
	share := c.Share
	fill(&share, 20*time.Second)
	ctx, cancel := context.WithTimeout(ctx, share)
	defer cancel()
	defer func() {
		if p := recover(); p != nil {
			fault = unreadable(WarningsOf(one.Name()), "thawline stumbled over the answer (%v); please report this", p)
		}
		if fault != nil && c.Log != nil {
			c.Log.Info("no official warnings", "service", one.Name(), "kind", fault.Kind, "fault", fault.Error())
		}
	}()
	list, err := one.Warnings(ctx, place, now)
	if err != nil && !errors.As(err, &fault) {
		fault = &Fault{Service: WarningsOf(one.Name()), Kind: Unreachable, Detail: err.Error(), Cause: err}
	}
	return list, fault
}

func (c *Chain) lastWarnings(ctx context.Context, siteID string) (last weather.Warnings) {
	if c.Keep == nil {
		return last
	}
	last, err := c.Keep.LoadWarnings(ctx, siteID)
	if err != nil && c.Log != nil {
		c.Log.Debug("no earlier warnings", "site", siteID, "error", err)
	}
	return last
}

func (c *Chain) storeWarnings(ctx context.Context, siteID string, got *weather.Warnings, now time.Time) {
	if c.Keep == nil {
		return
	}
	if err := c.Keep.StoreWarnings(ctx, siteID, got, now); err != nil && c.Log != nil {
		c.Log.Warn("the official warnings could not be kept for worse times", "site", siteID, "error", err)
	}
}

// Warns reports whether a service issues official warnings, for whatever place.
func Warns(name string) bool {
	s := serviceOf(name)
	return s != nil && s.warns != ""
}

// WarnersOf names the services that issue official warnings for a place.
func WarnersOf(place weather.Place) (names []string) {
	for _, s := range services {
		if s.warnsFor(place) {
			names = append(names, s.name)
		}
	}
	slices.Sort(names)
	return names
}

// nearDeg is how near a border both sides are asked: what they warn of crosses it.
const nearDeg = 0.1

// warnsFor reports whether the service warns for a place, or for one close by.
func (s *Service) warnsFor(place weather.Place) bool {
	if s.warns == "" {
		return false
	}
	for _, d := range [][2]float64{{0, 0}, {nearDeg, 0}, {-nearDeg, 0}, {0, nearDeg}, {0, -nearDeg}} {
		name := zone.At(place.LatitudeDeg+d[0], place.LongitudeDeg+d[1])
		if name != "" && slices.Contains(strings.Fields(s.warns), name) {
			return true
		}
	}
	return false
}

// near rounds a place to a kilometre or so: neighbours then share one question and its
// kept answer. Areas are held against the place itself.
func near(deg float64) string { return weather.Coordinate(math.Round(deg*100) / 100) }

// message is what all formats say of one message about an event.
type message struct {
	warning  weather.Warning
	replaces []string // ids of messages that are no longer valid
	over     bool     // called off
	test     bool
}

// settle takes from messages what is in force or to come: nothing that a later message
// replaced or called off, nothing for practice and nothing that is over.
func settle(messages []message, now time.Time) []weather.Warning {
	gone := map[string]bool{}
	for i := range messages {
		for _, id := range messages[i].replaces {
			gone[id] = true
		}
		if messages[i].over {
			gone[messages[i].warning.ID] = true
		}
	}
	var list []weather.Warning
	for i := range messages {
		w := &messages[i].warning
		if messages[i].test || gone[w.ID] || !w.To.After(now) {
			continue
		}
		gone[w.ID] = true // one that comes twice
		list = append(list, *w)
	}
	return list
}

// check says what a message lacks without which it can't be used.
func (m *message) check(service, where string) error {
	w := &m.warning
	switch {
	case m.over || m.test:
		return nil
	case w.ID == "":
		return unreadable(service, "%s has no id", where)
	case w.Event.In("en") == "":
		return unreadable(service, "%s has no event", where)
	case w.From.IsZero() || w.To.IsZero():
		return unreadable(service, "%s does not say from when until when it holds", where)
	case w.To.Before(w.From):
		return unreadable(service, "%s ends before it begins", where)
	}
	if w.Thread == "" {
		w.Thread = fmt.Sprintf("%s %s", w.Event.In("en"), w.From.UTC().Format(time.DateOnly))
	}
	return nil
}

// instant reads a moment; a missing one is zero.
func instant(service, where, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, unreadable(service, "%s is %.40q, no moment", where, text)
	}
	return t.UTC(), nil
}

// longestQuote is far more than any issuer writes in an event or a headline.
const longestQuote = 400

// quote is a text on one line.
func quote(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > longestQuote {
		text = string(r[:longestQuote])
	}
	return text
}

// quoted is a text in one or two languages.
func quoted(pairs ...string) weather.Quoted {
	q := weather.Quoted{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if said := quote(pairs[i+1]); said != "" {
			q[pairs[i]] = said
		}
	}
	return q
}

// page is an address that a reader may be led to, "" for any other.
func page(address string) string {
	if strings.HasPrefix(address, "https://") && !strings.ContainsAny(address, " \"'<>\\") && len(address) <= longestQuote {
		return address
	}
	return ""
}
