package forecast

import (
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// DangerKind is what makes it dangerous to be in the bush.
type DangerKind string

// The kinds of danger. Darkness is not among them: rounds are made in daylight.
const (
	DangerWarning      DangerKind = "warning" // an official warning of what is severe or extreme
	DangerFreezingRain DangerKind = "freezing_rain"
	DangerWind         DangerKind = "wind" // gusts above the keeper's bound: limbs fall
	DangerCold         DangerKind = "cold" // wind chill below the keeper's bound
)

// whyDanger is why nobody goes, or goes earlier than without it.
const whyDanger = "danger"

// Danger is a time in which no round is planned. A round that is pinned stands.
type Danger struct {
	From    time.Time  `json:"from"`
	To      time.Time  `json:"to"`
	What    DangerKind `json:"what"`
	Warning string     `json:"warning,omitempty"` // id of the official one
	Moves   bool       `json:"moves_rounds"`      // a round would lie in it otherwise
	LossL   float64    `json:"loss_l"`            // more sap is expected to be lost than if one could go then
}

const (
	// gustOfWind makes a gust of a mean wind, where services give no gusts (common practice
	// for open ground inland).
	gustOfWind = 1.6
	// usualGustMS is 60 km/h, from which limbs and trees come down (common practice).
	usualGustMS = 60 / 3.6
	// usualChillC is where skin freezes in 10 to 30 minutes (Environment Canada's table of
	// the wind chill, from memory).
	usualChillC = -28
	// Rain that freezes where it falls: more than a trace of it in damp air a little below
	// zero (common practice). Where the snow grows meanwhile it is snow.
	icingMM, icingFromC, icingDampK, snowGrowsM = 0.2, -5.0, 2.0, 0.0005
)

// dangersOf lists what makes the coming hours of a plan dangerous, by start.
func dangersOf(in *Inputs, e *weather.Ensemble) []Danger {
	official := officialOf(in)
	start := e.Futures[0].Start()
	hours := min(planHours, e.Futures[0].Hours())
	end := start.Add(time.Duration(hours) * time.Hour)
	all := []Danger{}
	for i := range official.List {
		if w := &official.List[i]; w.Severe() && w.From.Before(end) && w.To.After(in.Now) {
			all = append(all, Danger{From: w.From, To: w.To, What: DangerWarning, Warning: w.ID})
		}
	}
	gust, chill := in.Site.Gathering.GustMS, in.Site.Gathering.ChillC
	if gust == 0 {
		gust = usualGustMS
	}
	if chill == 0 {
		chill = usualChillC
	}
	for _, one := range []struct {
		kind DangerKind
		is   func(s *weather.Series, h int) bool
	}{
		{DangerWind, func(s *weather.Series, h int) bool { return gustOfWind*s.At(weather.WindSpeedMS, h) > gust }},
		{DangerCold, func(s *weather.Series, h int) bool {
			const mostOfWind = 25 // K that wind takes off at the most, up to a storm
			air := s.At(weather.TemperatureC, h)
			return air < chill+mostOfWind && FeelsLikeC(air, s.At(weather.WindSpeedMS, h)) < chill
		}},
		{DangerFreezingRain, icing},
	} {
		for h := range hours {
			if !mostSay(e.Futures, h, one.is) {
				continue
			}
			at := start.Add(time.Duration(h) * time.Hour).In(in.Site.Zone)
			if k := len(all) - 1; k >= 0 && all[k].What == one.kind && all[k].To.Equal(at) {
				all[k].To = at.Add(time.Hour)
				continue
			}
			all = append(all, Danger{From: at, To: at.Add(time.Hour), What: one.kind})
		}
	}
	slices.SortFunc(all, func(a, b Danger) int {
		if c := a.From.Compare(b.From); c != 0 {
			return c
		}
		return strings.Compare(string(a.What)+a.Warning, string(b.What)+b.Warning)
	})
	return all
}

// icing reports whether rain freezes where it falls in an hour.
func icing(s *weather.Series, h int) bool {
	air := s.At(weather.TemperatureC, h)
	if !(s.At(weather.PrecipitationMM, h) >= icingMM) || !(air > icingFromC && air <= 0) || air-s.At(weather.DewPointC, h) > icingDampK {
		return false
	}
	grows := s.At(weather.SnowDepthM, h+1) - s.At(weather.SnowDepthM, h)
	if math.IsNaN(grows) {
		grows = s.At(weather.SnowDepthM, h) - s.At(weather.SnowDepthM, h-1)
	}
	return !(grows > snowGrowsM)
}

// mostSay reports whether more than half of the members say so of an hour.
func mostSay(members []weather.Series, h int, is func(s *weather.Series, h int) bool) bool {
	yes, left := 0, len(members)
	for m := range members {
		left--
		if is(&members[m], h) {
			yes++
		}
		if 2*yes > len(members) {
			return true
		}
		if 2*(yes+left) <= len(members) {
			return false
		}
	}
	return false
}

// mostEpisodes is how many dangers are weighed one by one: a plan for each.
const mostEpisodes = 3

// planAround plans rounds outside of dangers, and says what each costs: the loss with it
// and those before it, less that with those before it alone. free is the plan as if there
// were no danger.
func planAround(req rounds.PlanRequest, dangers []Danger) (plan, free rounds.Plan) {
	plan = rounds.PlanRounds(req)
	free = plan
	own := req.Forbidden
	var spans []rounds.Span
	weighed := 0
	for k := range dangers {
		dangers[k].Moves = slices.ContainsFunc(free.Rounds, func(r rounds.Round) bool {
			return !r.Pinned && r.Start.Before(dangers[k].To) && r.End.After(dangers[k].From)
		})
	}
	for k := range dangers {
		d := &dangers[k]
		spans = append(spans, rounds.Span{From: d.From, To: d.To})
		if !stopsAny(&req, d) {
			continue
		}
		weighed++
		if last := weighed == mostEpisodes; last {
			for _, after := range dangers[k+1:] {
				spans = append(spans, rounds.Span{From: after.From, To: after.To})
			}
		}
		before := plan.LossL
		req.Forbidden = slices.Concat(own, spans)
		plan = rounds.PlanRounds(req)
		d.LossL = round(max(plan.LossL-before, 0), 1)
		if weighed == mostEpisodes {
			break
		}
	}
	return plan, free
}

// stopsAny reports whether anybody could go in a danger otherwise.
func stopsAny(req *rounds.PlanRequest, d *Danger) bool {
	meets := func(spans []rounds.Span, from, to time.Time, then func(from, to time.Time) bool) bool {
		for _, s := range spans {
			a, b := s.From, s.To
			if a.Before(from) {
				a = from
			}
			if b.After(to) {
				b = to
			}
			if a.Before(b) && then(a, b) {
				return true
			}
		}
		return false
	}
	from := d.From
	if from.Before(req.Now) {
		from = req.Now
	}
	return meets(req.Daylight, from, d.To, func(a, b time.Time) bool {
		for i := range req.Helpers {
			if meets(req.Helpers[i].Free, a, b, func(time.Time, time.Time) bool { return true }) {
				return true
			}
		}
		return false
	})
}

// heedDangers says of each group whether danger moves its round ahead or leaves none, and
// until when a round before a danger can start.
func (w *Work) heedDangers(site *Site, free []rounds.Round) {
	for i := range w.Groups {
		g := &w.Groups[i]
		var otherwise *time.Time
		for k := range free {
			if slices.ContainsFunc(free[k].Groups, func(l rounds.GroupLoad) bool { return l.Group == g.Group && !l.TipOut }) {
				otherwise = &free[k].Start
				break
			}
		}
		switch {
		case otherwise == nil || g.Decision == TipOut || g.Why == string(rounds.WhyPinned):
		case g.GoAt == nil && w.dangerAt(*otherwise, otherwise.Add(time.Minute)) != nil:
			g.Why = whyDanger
		case g.GoAt != nil && g.GoAt.Before(*otherwise):
			g.Why = whyDanger
		}
		if g.GoAt == nil || g.Latest == nil || g.Why == string(rounds.WhyPinned) {
			continue
		}
		for k := range w.Rounds {
			r := &w.Rounds[k]
			if r.Start.Equal(*g.GoAt) && slices.ContainsFunc(r.Groups, func(l RoundGroup) bool { return l.Group == g.Group }) {
				w.startBeforeDangers(site, g, r)
			}
		}
	}
}

// startBeforeDangers has the round of a group start so early, by daylight, that it is over
// before a danger begins.
func (w *Work) startBeforeDangers(site *Site, g *GroupWork, r *CrewRound) {
	for d := range w.Dangers {
		by := w.Dangers[d].From.Add(r.Start.Sub(r.End))
		for by.After(r.Start) && sunAbove(site, by) <= 0 {
			by = by.Add(-5 * time.Minute)
		}
		if !w.Dangers[d].From.Before(r.End) && g.Latest.After(by) {
			by = later(by, r.Start)
			g.Latest = &by
		}
	}
}

// dangerAt is a danger in a stretch of time, nil where there is none.
func (w *Work) dangerAt(from, to time.Time) *Danger {
	for i := range w.Dangers {
		if d := &w.Dangers[i]; d.From.Before(to) && d.To.After(from) {
			return d
		}
	}
	return nil
}

// DangerOf is the danger that a round leads into, which only one that somebody has
// promised does; nil for none.
func (w *Work) DangerOf(r *CrewRound) *Danger { return w.dangerAt(r.Start, r.End) }
