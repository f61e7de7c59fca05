package forecast

import (
	"time"

	"thawline/forecast/weather"
)

// Watch is what official services were asked for a place, and who did not say.
type Watch struct {
	weather.Warnings
	Faults []PassedOver // services that did not say, and why
}

// Official are the official warnings for a site, in their issuers' words. Where the state
// is unknown the list holds the last good ones that are not over, and there may be others.
type Official struct {
	State   weather.WarningState `json:"state"`
	KnownAt *time.Time           `json:"known_at"` // when they were last known as a whole; null if never
	List    []weather.Warning    `json:"list"`     // in force or to come, by start
	Faults  []PassedOver         `json:"faults,omitempty"`
}

func officialOf(in *Inputs) Official {
	now := in.Watch.Current(in.Now)
	o := Official{State: now.State, KnownAt: local(now.KnownAt, in.Site.Zone), List: now.List, Faults: in.Watch.Faults}
	for i := range o.List {
		w := &o.List[i]
		w.From, w.To, w.Sent = w.From.In(in.Site.Zone), w.To.In(in.Site.Zone), w.Sent.In(in.Site.Zone)
	}
	return o
}

// Warning is a warning of the list, false for an id that it does not have.
func (o *Official) Warning(id string) (weather.Warning, bool) {
	for i := range o.List {
		if o.List[i].ID == id {
			return o.List[i], true
		}
	}
	return weather.Warning{}, false
}
