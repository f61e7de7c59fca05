package alerts

import (
	"fmt"
	"slices"
	"time"
)

// again is how long what does not change is not told again: a week of evenings, whatever
// clocks do and however late one was.
const again = 7*24*time.Hour - 3*time.Hour

// NoWeather is what is known of a bush of which no outlook can be made.
type NoWeather struct {
	Site   string
	Zone   *time.Location
	Spring Spring
	Since  time.Time // when the last weather was issued, zero for never
	Why    string
}

// DecideWithoutWeather is what there is to tell in an evening without an outlook. Where
// the memory fails nothing is decided.
func DecideWithoutWeather(n *NoWeather, m Memory, now time.Time) ([]Decision, error) {
	r := rules{site: n.Site, spring: n.Spring, memory: m, at: Moment{Now: now, Evening: true}, zone: n.Zone}
	f, keepers := Facts{What: "ever"}, Facts{What: "ever"}
	if !n.Since.IsZero() {
		keepers = Facts{Date: n.Since.In(n.Zone).Format(time.DateOnly), AgeHours: now.Sub(n.Since).Hours()}
		f = keepers
		f.What = "at_all"
	}
	r.noForecast(f, keepers, n.Why)
	if r.err != nil {
		return nil, r.err
	}
	return r.out, nil
}

// noForecast tells in an evening that nobody knows what comes: once, and again every week
// while it lasts. Those who look after the machine hear of it first: if they have set it
// right by the next evening nobody else does.
func (r *rules) noForecast(f, keepers Facts, why string) {
	first := !r.toldWithin(StaleFeed, again+48*time.Hour) || r.toldToday(StaleFeed)
	withKeepers := r.weatherStopped(keepers, why)
	if first || r.toldWithin(NoForecast, 48*time.Hour) || r.toldWithin(NoForecast, again) && !withKeepers {
		return
	}
	r.tell(Decision{Kind: NoForecast, Key: r.today(), Until: r.at.Now.Add(6 * time.Hour), Facts: f, Why: []string{why}})
}

// weatherStopped tells those who look after the machine, once and then every week. It
// reports whether it does now.
func (r *rules) weatherStopped(f Facts, why ...string) bool {
	if r.toldWithin(StaleFeed, again) || slices.ContainsFunc(r.out, func(d Decision) bool { return d.Kind == StaleFeed }) {
		return false
	}
	r.tell(Decision{Kind: StaleFeed, Key: r.today(), Until: r.at.Now.AddDate(0, 0, 2), Facts: f, Why: why})
	return true
}

// stale tells that the weather is old.
func (r *rules) stale() {
	age := time.Duration(r.o.Source.AgeHours * float64(time.Hour))
	if age < r.t.StaleAfter {
		return
	}
	why := []string{fmt.Sprintf("the newest forecast is %.0f hours old, at least %.0f", age.Hours(), r.t.StaleAfter.Hours())}
	for _, p := range r.o.Source.PassedOver {
		why = append(why, p.String())
	}
	r.weatherStopped(r.ageOfWeather(), why...)
}

// ageOfWeather is since when there has been no newer weather.
func (r *rules) ageOfWeather() Facts {
	return Facts{Date: r.o.Source.IssuedAt.In(r.zone).Format(time.DateOnly), AgeHours: r.o.Source.AgeHours}
}
