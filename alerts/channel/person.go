package channel

import (
	"slices"
	"time"

	"thawline/alerts/message"
)

// Person is someone who is told, and how.
type Person struct {
	ID, Name    string         // what people call them; "" for the id
	Role        string         // Keeper, Crew or Viewer
	Sites       []string       // ids of the sites that concern the person, nil for all
	Reader      message.Reader // what they read
	Quiet       Quiet
	BreaksQuiet bool      // urgent messages may come in quiet hours
	EachBush    bool      // messages of each bush, however many there are
	PausedUntil time.Time // no messages before; zero for no pause
	Ways        []Way     // the preferred first
}

// Roles: who decides, who gathers and boils, who looks on.
const (
	Keeper = "keeper"
	Crew   = "crew"
	Viewer = "viewer"
)

// Way is one channel and what it needs to find the person.
type Way struct {
	Channel string // its id
	To      string // "" where the settings do not say
}

// Leads reports whether the person can be found by it.
func (w Way) Leads() bool { return w.To != "" }

// Reachable reports whether any way leads to the person.
func (p *Person) Reachable() bool { return slices.ContainsFunc(p.Ways, Way.Leads) }

// Concerns reports whether a site concerns the person.
func (p *Person) Concerns(site string) bool { return p.Sites == nil || slices.Contains(p.Sites, site) }

// Handful is of how many bushes a person is told one by one; whoever has more gets one
// message an evening about all of them.
const Handful = 5

// Summed reports whether a person is told of all their bushes together, where there are so
// many in all.
func (p *Person) Summed(bushes int) bool {
	if p.Sites != nil {
		bushes = len(p.Sites)
	}
	return bushes > Handful && !p.EachBush
}

// Quiet is a part of each local day without messages, as times since midnight. It runs
// over midnight where To is before From; equal times mean none.
type Quiet struct{ From, To time.Duration }

// End is when the quiet hours that a local moment lies in are over; zero if it
// lies in none.
func (q Quiet) End(at time.Time) time.Time {
	if q.From == q.To {
		return time.Time{}
	}
	y, m, day := at.Date()
	clock := func(d time.Duration, shift int) time.Time {
		return time.Date(y, m, day+shift, int(d.Hours()), int(d.Minutes())%60, 0, 0, at.Location())
	}
	start, end := clock(q.From, 0), clock(q.To, 0)
	if q.From < q.To {
		if !at.Before(start) && at.Before(end) {
			return end
		}
		return time.Time{}
	}
	switch {
	case at.Before(end):
		return end
	case !at.Before(start):
		return clock(q.To, 1)
	}
	return time.Time{}
}
