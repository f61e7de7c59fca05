package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/parallel"
	"thawline/forecast/rounds"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// Decision is what to do about a group.
type Decision string

// The decisions.
const (
	Gather  Decision = "gather"  // a round goes to it
	Leave   Decision = "leave"   // nothing is worth a round yet
	TipOut  Decision = "tip_out" // what hangs has gone bad
	NoWork  Decision = "none"    // nothing hangs and nothing is to come
	noRound          = ""        // why, where nobody goes
)

// Work is the one decision about gathering: what hangs, what to do about it, and who
// goes when. Whatever tells people about gathering quotes it.
type Work struct {
	Groups  []GroupWork `json:"groups"` // in the order of the site
	Rounds  []CrewRound `json:"rounds"` // by start
	ShortOf []ShortOf   `json:"short_of"`
	Off     []OffRound  `json:"off"`            // what people said they do and no longer can
	LossL   float64     `json:"loss_l"`         // expected with these rounds: run over, burst or spoilt
	Without float64     `json:"loss_without_l"` // and if nobody goes
	Dangers []Danger    `json:"dangers"`        // in which nobody is sent, by start
	Until   time.Time   `json:"until"`          // the site's next evening: what starts before it is due
	TripL   float64     `json:"trip_worth_l"`   // what a trip must save
	// Untapped is true while nobody has said that this season's taps are in: then nobody goes.
	Untapped bool `json:"untapped"`
}

// GroupWork is what hangs at one group and what to do about it. Litres are of the whole
// group.
type GroupWork struct {
	Group      string     `json:"group"`
	HeldL      Range      `json:"held_l"` // liquid now
	IceL       float64    `json:"ice_l"`
	CapacityL  *float64   `json:"capacity_l"`  // null where it is not known
	SinceVisit *time.Time `json:"since_visit"` // null where nobody has been there lately: worked out as empty now
	Pulled     bool       `json:"pulled"`      // its taps: nothing else is said of it, and the decision is "none"
	Untapped   bool       `json:"untapped"`    // nobody has said that its taps are in, but of others: as Pulled
	Decision   Decision   `json:"decision"`
	GoAt       *time.Time `json:"go_at"`    // start of the first round to it; null without
	Latest     *time.Time `json:"latest"`   // start at which the round still does as much
	Who        []string   `json:"who"`      // ids of people; empty where nobody has said when they are free
	VolumeL    *Range     `json:"volume_l"` // what the rounds that empty it next carry in; null without
	// OverflowProbability is the chance that containers run over before the round, and
	// within three days where there is none.
	OverflowProbability float64 `json:"overflow_probability"`
	LossAvoidedL        float64 `json:"loss_avoided_l"`
	Why                 string  `json:"why"` // "overflow", "age", "freeze" or "pinned"; "danger" where one moves it ahead or leaves none, else "" without a round
	// If nobody comes at all within three days: the middle of the moments at which it
	// starts to run over, null where it hardly does, how likely that is, and what is lost.
	AloneOverAt      *time.Time `json:"alone_over_at"`
	AloneProbability float64    `json:"alone_overflow_probability"`
	AloneLossL       float64    `json:"alone_loss_l"`
	// KeepsUntil is when what hangs now has gone bad, counted from when it ran: once past,
	// it stays past until somebody empties the containers. Null where hardly anything hangs.
	KeepsUntil *time.Time `json:"keeps_until"`
	// KeepsLonger is true where it keeps beyond the known weather: KeepsUntil is where that ends.
	KeepsLonger bool `json:"keeps_longer"`
	// AskLevel is true where a word of how full the containers are would decide.
	AskLevel bool `json:"ask_level"`
	// AskRound is true where nobody has written down a round, nor the day of the tapping, and
	// what hung since the settings' day of it would have gone bad: worked out as empty now.
	AskRound bool `json:"ask_round"`
	// NoRecord is true where nobody has written down a round of this season, nor the day of the
	// tapping: what hangs is worked out as if nobody had gathered since the settings' day of it.
	NoRecord bool `json:"no_record"`
}

// Spoilt reports whether what hangs has gone bad at a moment.
func (g *GroupWork) Spoilt(now time.Time) bool {
	return g.KeepsUntil != nil && !g.KeepsLonger && !g.KeepsUntil.After(now)
}

// CrewRound is one helper, or two together, with some of the groups.
type CrewRound struct {
	Start   time.Time    `json:"start"`
	End     time.Time    `json:"end"`
	Who     []string     `json:"who"` // ids of people
	Groups  []RoundGroup `json:"groups"`
	Trips   int          `json:"trips"`
	Minutes int          `json:"minutes"`
	Pinned  bool         `json:"pinned"`
}

// SapL is what a round is expected to carry in.
func (r *CrewRound) SapL() float64 {
	sum := 0.0
	for _, g := range r.Groups {
		sum += g.VolumeL
	}
	return sum
}

// TipsOut reports whether all that there is on a round has gone bad.
func (r *CrewRound) TipsOut() bool {
	return len(r.Groups) > 0 && !slices.ContainsFunc(r.Groups, func(g RoundGroup) bool { return !g.TipOut })
}

// ShortOf says that on a day the accepted risk can't be kept, and for want of what.
type ShortOf struct {
	What      string  `json:"what"` // "hands", "carrying", "daylight", "pan" or "tank"
	On        string  `json:"on"`   // local date
	NeededL   float64 `json:"needed_l"`
	PossibleL float64 `json:"possible_l"`
}

// Group is the work at a group; an empty one for an unknown id.
func (w *Work) Group(id string) GroupWork {
	for i := range w.Groups {
		if w.Groups[i].Group == id {
			return w.Groups[i]
		}
	}
	return GroupWork{}
}

// Due lists the groups that somebody goes to before the next evening, the soonest first.
func (w *Work) Due() []GroupWork {
	var due []GroupWork
	for _, g := range w.Groups {
		if g.Decision == Gather && g.GoAt.Before(w.Until) {
			due = append(due, g)
		}
	}
	slices.SortStableFunc(due, func(a, b GroupWork) int { return a.GoAt.Compare(*b.GoAt) })
	return due
}

// Next lists the groups that somebody goes to next, the soonest first: those that are due,
// else those of the first day on which somebody goes; none where nobody does.
func (w *Work) Next() (groups []GroupWork, due bool) {
	if groups = w.Due(); len(groups) > 0 {
		return groups, true
	}
	for _, g := range w.Groups {
		if g.Decision == Gather {
			groups = append(groups, g)
		}
	}
	slices.SortStableFunc(groups, func(a, b GroupWork) int { return a.GoAt.Compare(*b.GoAt) })
	for i := range groups {
		if groups[i].GoAt.Format(time.DateOnly) != groups[0].GoAt.Format(time.DateOnly) {
			return groups[:i], false
		}
	}
	return groups, false
}

// Coming lists the rounds of which Next speaks, with what they carry in together: all that
// start before the next evening, else all of the first day on which somebody goes, but for
// those that only tip out. A group may be gone to twice.
func (w *Work) Coming() (rounds []CrewRound, carriedL Range) {
	groups, due := w.Next()
	if len(groups) == 0 {
		return nil, Range{}
	}
	for _, r := range w.Rounds {
		if due && !r.Start.Before(w.Until) || !due && r.Start.Format(time.DateOnly) != groups[0].GoAt.Format(time.DateOnly) || r.TipsOut() {
			continue
		}
		rounds = append(rounds, r)
		for _, g := range r.Groups {
			carriedL = Range{carriedL.P10 + g.LowL, carriedL.P50 + g.VolumeL, carriedL.P90 + g.HighL}
		}
	}
	return rounds, carriedL
}

// Begun reports whether the hour of the next rounds has come: a plan made now has later ones.
func (w *Work) Begun(now time.Time) bool {
	groups, _ := w.Next()
	return len(groups) > 0 && groups[0].GoAt.Before(now)
}

// OneHour reports whether rounds start at the same moment.
func OneHour(rounds []CrewRound) bool {
	return !slices.ContainsFunc(rounds, func(r CrewRound) bool { return !r.Start.Equal(rounds[0].Start) })
}

// AsksLevel reports whether a word of how full the containers of some group are would decide.
func (w *Work) AsksLevel() bool {
	return slices.ContainsFunc(w.Groups, func(g GroupWork) bool { return g.AskLevel })
}

// ToTipOut lists the ids of the groups whose sap has gone bad: it is tipped out, never
// boiled.
func (w *Work) ToTipOut() []string {
	var groups []string
	for i := range w.Groups {
		if w.Groups[i].Decision == TipOut {
			groups = append(groups, w.Groups[i].Group)
		}
	}
	return groups
}

const (
	aloneHours    = 72
	planHours     = 120
	everyDraw     = 4    // of the draws are enough for a plan
	minutesPerTap = 1.0  // walking, tipping and carrying, for one person (common practice)
	tankMinutes   = 15   // to pump out a tank (common practice)
	lowSunDeg     = -2.0 // light enough to see ice and holes, within civil twilight (-6)
	spoiltAt      = 1.0
	usualFrom     = 8 * time.Hour
	usualTo       = 18 * time.Hour
	littleL       = 0.1 // a tap: less does not count as hanging
)

// workOf decides what to do about each group. Of sap that nobody has written a word about it
// does not say that it has gone bad: somebody may have gathered it.
func workOf(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields, stock *shelf) Work {
	w := workBy(in, e, flow, c, y, stock)
	var ask []int
	for g := range w.Groups {
		if y.unseen[g] && w.Groups[g].Decision == TipOut {
			ask = append(ask, g)
		}
	}
	if len(ask) > 0 {
		w = workBy(in, e, flow, c, y.emptied(ask), stock)
	}
	for g := range w.Groups {
		if overdue(in, y, &w, g) && !slices.Contains(ask, g) {
			ask = append(ask, g)
		}
	}
	for _, g := range ask {
		w.Groups[g].AskRound = true
	}
	return w
}

// overdue reports whether nobody has written a word of a group that was tapped this winter, so long
// after its first sap that what hangs is anybody's guess.
func overdue(in *Inputs, y *yields, w *Work, g int) bool {
	tapped := in.Site.Groups[g].Tapped
	return y.unseen[g] && w.Groups[g].SinceVisit == nil && !w.Groups[g].Pulled && tapped.Before(in.Now) &&
		!tapped.Before(season.WinterStart(in.Now, in.Site.Zone))
}

// short says what is short on a day by the middle of what may come, as that day's rounds do; the
// plan counts by the mean.
func (w *Work) short(s *rounds.Shortage, on string) ShortOf {
	carried := 0.0
	for i := range w.Rounds {
		if r := &w.Rounds[i]; r.Start.Format(time.DateOnly) == on {
			for _, g := range r.Groups {
				carried += g.VolumeL
			}
		}
	}
	share := 1.0
	if carried > 0 && s.PossibleL > 0 {
		share = carried / s.PossibleL
	}
	return ShortOf{string(s.What), on, round(s.NeededL*share, 0), round(s.PossibleL*share, 0)}
}

// workBy is workOf, by what is taken to hang now.
func workBy(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields, stock *shelf) Work {
	dangers := dangersOf(in, e)
	if len(in.Site.Groups) == 0 { // all taps are pulled
		return Work{Dangers: dangers, Groups: []GroupWork{}, Rounds: []CrewRound{}, ShortOf: []ShortOf{}, Until: nextEvening(in)}
	}
	alone := aloneOf(in, e, flow, c, y)
	said := promisesOf(in)
	req := planRequest(in, e, loadsOf(in, e, flow, c, y, planHours, everyDraw), said, stock)
	req.Daylight = daylight(&in.Site, req.Start, planHours)
	plan, free := planAround(req, dangers)
	if told := toldOf(in, said, dangers); len(told) > 0 {
		// What people were told in the evening stands, unless another plan saves more than a trip is worth.
		kept, keptDangers := req, slices.Clone(dangers)
		kept.Pins = slices.Clone(req.Pins)
		for i := range told {
			kept.Pins = append(kept.Pins, told[i].pin(&in.Site, req.Start))
		}
		if asTold, without := planAround(kept, keptDangers); asTold.LossL <= plan.LossL+req.Costs.Trip() {
			plan, free, dangers, said = asTold, without, keptDangers, slices.Concat(said, told)
		}
	}
	w := Work{Dangers: dangers, Groups: []GroupWork{}, Rounds: []CrewRound{}, ShortOf: []ShortOf{}, Until: nextEvening(in),
		TripL: req.Costs.Trip(),
		LossL: round(plan.LossL, 1), Without: round(plan.LossWithoutL, 1)}
	for i := range plan.Rounds {
		r := &plan.Rounds[i]
		one := CrewRound{Start: r.Start.In(in.Site.Zone), End: r.End.In(in.Site.Zone), Who: append([]string{}, r.Who...),
			Trips: r.Trips, Minutes: r.Minutes, Pinned: r.Pinned, Groups: []RoundGroup{}}
		for _, g := range r.Groups {
			load := RoundGroup{Group: g.Group, Share: round(g.Share, 3), TipOut: g.TipOut, AgeUsed: round(g.AgeUsed, 3)}
			if !g.TipOut {
				load.VolumeL, load.LowL, load.HighL = round(g.MidL, 1), round(g.LowL, 1), round(g.HighL, 1) // as the group's own line says
			}
			one.Groups = append(one.Groups, load)
		}
		if n := r.Pin - len(in.Site.Gathering.Pinned); n > 0 {
			said[n-1].restore(&one, in.Site.Zone)
		}
		w.Rounds = append(w.Rounds, one)
	}
	for _, s := range plan.ShortOf {
		w.ShortOf = append(w.ShortOf, w.short(&s, s.On.In(in.Site.Zone).Format(time.DateOnly)))
	}
	for g := range in.Site.Groups {
		one := &alone[g].GroupWork
		one.NoRecord = y.unseen[g]
		decide(one, in, &plan, w.Rounds, alone[g].idle)
		w.Groups = append(w.Groups, *one)
	}
	w.heedDangers(&in.Site, free.Rounds)
	return w
}

// alone is a group to which nobody goes: what hangs there and becomes of it, and whether
// hardly anything does.
type alone struct {
	GroupWork
	idle bool
}

// aloneOf looks at each group by itself. What flows in is needed no longer than that.
func aloneOf(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) []alone {
	out := make([]alone, len(in.Site.Groups))
	space := make([][]float64, parallel.Workers(len(out)))
	parallel.Each(len(out), func(worker, g int) {
		l := loadOf(in, e, &flow[g], c, y, g, aloneHours, 1, &space[worker])
		out[g].GroupWork = standing(in, e, flow, y, g, &l)
		out[g].idle = idle(&out[g].GroupWork, &l)
	})
	return out
}

// standing is what hangs at a group, and what becomes of it if nobody comes.
func standing(in *Inputs, e *weather.Ensemble, flow []groupFlow, y *yields, g int, l *rounds.Load) GroupWork {
	group, now := &in.Site.Groups[g], y.now[g]
	liquid, ice := make([]float64, len(l.HeldL)), make([]float64, len(l.HeldL))
	for d, perTap := range l.HeldL {
		held := l.Held(perTap)
		ice[d] = min(l.IceL[d]*float64(l.Taps), held)
		liquid[d] = held - ice[d]
	}
	hangs, risk := quantiles(liquid), l.Overflows()
	one := GroupWork{Group: group.ID, IceL: round(quantiles(ice).P50, 2), SinceVisit: local(now.Since, in.Site.Zone), Who: []string{},
		HeldL:       Range{round(hangs.P10, 2), round(hangs.P50, 2), round(hangs.P90, 2)},
		AloneOverAt: local(risk.ExpectedAt, in.Site.Zone), AloneProbability: round(risk.Probability, 3), AloneLossL: round(risk.LossL, 1)}
	one.KeepsUntil, one.KeepsLonger = boilBy(in, e, l, ranFrom(flow[g].past, now.EmptiedAt))
	if full := group.CapacityL(); full > 0 {
		one.CapacityL = &full
	}
	return one
}

// decide chooses what to do about a group by the rounds of the plan that go to it.
// said are the same rounds as people see them.
func decide(one *GroupWork, in *Inputs, plan *rounds.Plan, said []CrewRound, idle bool) {
	one.OverflowProbability, one.Decision = one.AloneProbability, Leave
	var total Range
	share := 0.0
	for i := range plan.Rounds {
		r := &plan.Rounds[i]
		k := slices.IndexFunc(r.Groups, func(g rounds.GroupLoad) bool { return g.Group == one.Group })
		if k < 0 || share > 0.999 {
			continue
		}
		load := &r.Groups[k]
		if one.GoAt == nil {
			one.GoAt, one.Latest = local(said[i].Start, in.Site.Zone), local(load.Latest, in.Site.Zone)
			one.Decision, one.Why, one.OverflowProbability = Gather, string(load.Why), round(load.RunsOver, 3)
			if load.TipOut {
				one.Decision, one.Why = TipOut, string(rounds.WhyAge)
			}
		}
		share += load.Share
		total = Range{total.P10 + load.LowL, total.P50 + load.MidL, total.P90 + load.HighL}
		one.LossAvoidedL = round(one.LossAvoidedL+load.SavesL, 1)
		for _, who := range said[i].Who {
			if !slices.Contains(one.Who, who) {
				one.Who = append(one.Who, who)
			}
		}
	}
	if one.GoAt != nil {
		one.VolumeL = &Range{round(total.P10, 2), round(total.P50, 2), round(total.P90, 2)}
	}
	switch {
	case one.Spoilt(in.Now):
		one.Decision = TipOut
	case one.GoAt == nil && idle:
		one.Decision = NoWork
	}
	one.AskLevel = (one.Decision == Leave || one.Decision == Gather && !one.GoAt.Before(nextEvening(in))) && in.asks(one)
}

// idle reports whether nothing hangs at a group and nothing is to come in three days.
func idle(one *GroupWork, l *rounds.Load) bool {
	taps := float64(l.Taps)
	if one.HeldL.P90+one.IceL > littleL*taps {
		return false
	}
	after := make([]float64, len(l.FlowL))
	for d, flow := range l.FlowL {
		for _, q := range flow {
			after[d] += q
		}
	}
	return quantiles(after).P90 < littleL
}

// leastNotice is what people need to hear of a round and to set out (common practice).
const leastNotice = 30 * time.Minute

// planRequest asks for a plan of the coming days, but for their daylight.
func planRequest(in *Inputs, e *weather.Ensemble, loads []rounds.Load, said []promise, stock *shelf) rounds.PlanRequest {
	site := &in.Site
	start := e.Futures[0].Start()
	req := rounds.PlanRequest{Start: start, Now: in.Now.Add(leastNotice),
		Costs:        rounds.RoundCosts{CarryL: site.Gathering.TankL, TripWorthL: site.Gathering.TripWorthL, MaxAge: spoiltAt},
		AcceptedRisk: site.Gathering.AcceptedRisk}
	for g := range loads {
		req.Groups = append(req.Groups, rounds.TapGroup{ID: site.Groups[g].ID, Load: loads[g],
			Minutes: site.minutes(&site.Groups[g])})
	}
	for m := range e.Futures {
		req.AirC = append(req.AirC, e.Futures[m].Col(weather.TemperatureC))
	}
	for _, s := range site.Gathering.Forbidden {
		req.Forbidden = append(req.Forbidden, rounds.Span(s))
	}
	for _, at := range site.Gathering.Pinned {
		req.Pins = append(req.Pins, rounds.Pin{Start: at})
	}
	for i := range said {
		req.Pins = append(req.Pins, said[i].pin(site, start))
	}
	req.Helpers = helpersOf(site, start)
	in.keepAway(req.Helpers)
	req.Store = rounds.Store{CapacityL: site.Boiling.StoreL, HeldL: stock.good(in.Now), BoiledL: newFire(in).byHour(start, planHours)}
	return req
}

// helpersOf are the people of a site with their hours in the coming days; somebody
// without a name from eight to six where nobody has said.
func helpersOf(site *Site, start time.Time) []rounds.Helper {
	free := site.Gathering.Free
	if len(free) == 0 {
		for day := time.Sunday; day <= time.Saturday; day++ {
			free = append(free, Free{Weekday: day, From: usualFrom, To: usualTo})
		}
	}
	var helpers []rounds.Helper
	first := start.In(site.Zone)
	for _, f := range free {
		k := slices.IndexFunc(helpers, func(h rounds.Helper) bool { return h.ID == f.Who })
		if k < 0 {
			k = len(helpers)
			helpers = append(helpers, rounds.Helper{ID: f.Who})
		}
		for day := range planHours/24 + 1 {
			midnight := time.Date(first.Year(), first.Month(), first.Day()+day, 0, 0, 0, 0, site.Zone)
			if midnight.Weekday() == f.Weekday {
				helpers[k].Free = append(helpers[k].Free, rounds.Span{From: onClock(midnight, f.From), To: onClock(midnight, f.To)})
			}
		}
	}
	for k := range helpers {
		slices.SortFunc(helpers[k].Free, func(a, b rounds.Span) int { return a.From.Compare(b.From) })
	}
	return helpers
}

// onClock is when the clocks of a day show a time, which is not so long after midnight on
// the day that they change.
func onClock(midnight time.Time, clock time.Duration) time.Time {
	return time.Date(midnight.Year(), midnight.Month(), midnight.Day(), 0, int(clock.Minutes()), 0, 0, midnight.Location())
}

// daylight lists the spans of the coming hours that are light enough to go, to five
// minutes.
func daylight(site *Site, start time.Time, hours int) []rounds.Span {
	const (
		step   = 5 * time.Minute
		climbs = 1.3 // degrees at most by which the sun climbs or sinks in a step
	)
	var spans []rounds.Span
	was := false
	steps := int(time.Duration(hours) * time.Hour / step)
	for i := 0; i <= steps; i++ {
		at := start.Add(time.Duration(i) * step)
		above := sunAbove(site, at)
		is := above > 0
		alike := min(int(math.Abs(above)/climbs), steps-i) // steps on which nothing changes
		last := at.Add(time.Duration(alike) * step)
		switch {
		case is && !was && alike == 0:
			spans = append(spans, rounds.Span{From: at, To: at.Add(step)})
		case is && !was:
			spans = append(spans, rounds.Span{From: at, To: last})
		case is:
			spans[len(spans)-1].To = last
		}
		i += alike
		was = is
	}
	return spans
}

// sunAbove is how far above the height at which it is light enough to go the sun stands,
// in degrees.
func sunAbove(site *Site, at time.Time) float64 {
	return weather.SunAt(at, site.Place.LatitudeDeg, site.Place.LongitudeDeg).ElevationDeg - lowSunDeg
}

// minutes is how long a group takes one person: tap by tap, or one tank.
func (s *Site) minutes(g *Group) float64 {
	if g.TankL > 0 {
		return tankMinutes
	}
	each := s.Gathering.MinutesPerTap
	if each == 0 {
		each = minutesPerTap
	}
	return math.Round(each * float64(g.Taps))
}

// usualEvening is when the evening text goes out where settings do not say.
const usualEvening = 18*time.Hour + 30*time.Minute

// nextEvening is the site's next evening slot, later than now by more than a little: at
// the slot itself it is tomorrow's.
func nextEvening(in *Inputs) time.Time {
	clock := in.EveningAt
	if clock == 0 {
		clock = usualEvening
	}
	const little = time.Hour // the evening's own text may be made early
	here := in.Now.In(in.Site.Zone)
	next := onClock(time.Date(here.Year(), here.Month(), here.Day(), 0, 0, 0, 0, in.Site.Zone), clock)
	if !next.After(in.Now.Add(little)) {
		next = onClock(time.Date(here.Year(), here.Month(), here.Day()+1, 0, 0, 0, 0, in.Site.Zone), clock)
	}
	return next
}
