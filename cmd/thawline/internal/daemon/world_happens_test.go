package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// happening is what a bush goes through in an evening beside its weather: what it puts into
// the outlooks, and the kind that people must hear of, which nobody hears of elsewhere.
type happening struct {
	kind   alerts.Kind
	put    func(o *forecast.Outlook, on func(day, hour int) time.Time)
	told   *alerts.Decision // days before
	before time.Duration
	noRun  bool // nothing is told of tomorrow's run
}

// the moments of these worlds: the evening is that of 9 March.
func worldTime(zone *time.Location) func(day, hour int) time.Time {
	return func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, zone) }
}

func pailsOf(o *forecast.Outlook) *forecast.GroupWork {
	full := 750.0
	o.Work.Groups = []forecast.GroupWork{{Group: "pails", CapacityL: &full}}
	return &o.Work.Groups[0]
}

func heldL(l float64) forecast.Range { return forecast.Range{P10: l, P50: l, P90: l} }

func classHere(programme forecast.Programme) func(o *forecast.Outlook, on func(day, hour int) time.Time) {
	return func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		p := forecast.ClassPlan{ID: "one", From: on(12, 9), To: on(12, 12), Programme: programme, Boils: "sap", SapL: 40, SyrupL: 2}
		if programme == forecast.CalledOff {
			p.Boils, p.Danger = "", &forecast.Danger{From: on(12, 8), To: on(12, 11), What: forecast.DangerWind}
		}
		o.Classes = []forecast.ClassPlan{p}
	}
}

func bigIn(k int) func(o *forecast.Outlook, on func(day, hour int) time.Time) {
	return func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		// So many days from the evening, whichever day's outlook it is.
		date := on(9+k, 0).Format(time.DateOnly)
		o.Source.SeesDays = 4
		for i := range o.Days {
			if o.Days[i].Date == date {
				o.Days[i].BigProbability, o.Days[i].BigOrNextProbability = 0.9, 0.9
			}
		}
	}
}

// happenings are all that there are; a world draws one for each bush, or none.
var happenings = []happening{
	{kind: alerts.LookingAhead, put: bigIn(4)},
	{kind: alerts.GetReady, put: bigIn(2)},
	{kind: alerts.Overflow, put: func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		over := on(10, 15)
		g := pailsOf(o)
		g.AloneProbability, g.AloneOverAt, g.AloneLossL = 0.9, &over, 100
	}},
	{kind: alerts.HardFreeze, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		pailsOf(o).HeldL = heldL(700)
		for i := range o.Days {
			o.Days[i].TemperatureC.Min = -12
		}
	}},
	{kind: alerts.BoilBy, put: func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		keeps := on(10, 9)
		g := pailsOf(o)
		g.HeldL, g.KeepsUntil = heldL(100), &keeps
	}},
	{kind: alerts.Danger, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Cautions = []forecast.Caution{forecast.CautionWind}
	}},
	{kind: alerts.OfficialWarning, put: func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		o.Warnings.List = []weather.Warning{{ID: "urn:2", Thread: "urn:1", Event: weather.Quoted{"en": "Ice Storm Warning"},
			Issuer: weather.Quoted{"en": "NWS"}, Severity: weather.Severe, From: on(10, 6), To: on(11, 6)}}
		o.Work.Dangers = []forecast.Danger{{From: on(10, 6), To: on(11, 6), What: forecast.DangerWarning, Warning: "urn:2", Moves: true}}
	}},
	{kind: alerts.EndNear, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) { o.Season.End.P50 = "2026-03-16" }},
	{kind: alerts.TasteIt, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Season.Taste = &forecast.Taste{OffBy: []forecast.OffBy{{Date: "2026-03-09", Chance: 0.5}}, Source: forecast.CommonPractice}
	}, told: &alerts.Decision{Kind: alerts.EndNear, Key: "end_near:2026"}, before: 8 * 24 * time.Hour},
	{kind: alerts.EndHere, noRun: true, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Season.Stage, o.Season.End.P50 = season.Over, "2026-03-08"
	}},
	{kind: alerts.Closed, noRun: true, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Season.Stage, o.Season.Closed = season.Closed, &forecast.Closed{On: "2026-03-09", Visits: 3, SapL: 300}
	}},
	{kind: alerts.DrySugar, put: func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		o.Sugar = []boil.SugarSpan{{Date: "2026-03-10", From: on(10, 13), To: on(10, 17), Chance: 0.9, HumidityPct: 40, Grade: boil.Dry}}
	}},
	{kind: alerts.Learners, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Teaching = []forecast.TeachingDay{{Date: "2026-03-12", Score: 90}}
	}},
	{kind: alerts.ClassVisit, put: classHere(forecast.FromStock)},
	{kind: alerts.ClassOff, put: classHere(forecast.CalledOff)},
	{kind: alerts.NoForecast, noRun: true, put: func(o *forecast.Outlook, _ func(day, hour int) time.Time) {
		o.Days = o.Days[:1] // the services do not reach tomorrow any more
	}, told: &alerts.Decision{Kind: alerts.StaleFeed, Key: "stale_feed:2026-03-08"}, before: 24 * time.Hour},
	{kind: alerts.QuietWeek, put: func(o *forecast.Outlook, on func(day, hour int) time.Time) {
		for i := range o.Days {
			o.Days[i].RunProbability = 0.1
		}
	}, told: &alerts.Decision{Kind: alerts.ItWorks, Key: "it_works:first"}, before: 24 * time.Hour},
}

// happen draws what happens at each bush, and puts what was told of it before into the
// ledger.
func (w *world) happen(zone *time.Location) {
	w.happens, w.on = map[string]*happening{}, worldTime(zone)
	for _, site := range []string{"bush", "lake"} {
		if !w.chance(0.6, "happens", site) {
			continue
		}
		h := &happenings[w.among(len(happenings), "which", site)]
		w.happens[site] = h
		if h.told == nil {
			continue
		}
		d := *h.told
		d.Site, d.Until, d.Facts.Date = site, w.now, "2026-03-10"
		if _, err := w.archiveLedger().Record(context.Background(), d, nil, w.on(9, 18).Add(30*time.Minute-h.before)); err != nil {
			w.t.Fatal(err)
		}
	}
}

// befall puts what happens at a bush into one of its outlooks, which nobody else has.
func (w *world) befall(o *forecast.Outlook) {
	h := w.happens[o.Site]
	if h == nil {
		return
	}
	o.Days = slices.Clone(o.Days)
	for len(o.Days) < 10 { // the forecast sees a week
		last, err := time.Parse(time.DateOnly, o.Days[len(o.Days)-1].Date)
		if err != nil {
			w.t.Fatal(err)
		}
		o.Days = append(o.Days, forecast.Day{Date: last.AddDate(0, 0, 1).Format(time.DateOnly)})
	}
	for i := range o.Days {
		o.Days[i].BigProbability, o.Days[i].BigOrNextProbability = 0, 0
	}
	o.Season.Tapped, o.Season.WorthTapping, o.Season.Stage, o.Season.End.P50 = true, false, season.Opened, "2026-04-20"
	o.Season.Taste, o.Work.Groups = nil, nil
	o.Work.Rounds, o.Work.Dangers, o.Cautions, o.Sugar, o.Teaching, o.Warnings.List = nil, nil, nil, nil, nil, nil
	h.put(o, w.on)
}

// always are the kinds that do not need a happening: those of the weather and the machine.
var always = []alerts.Kind{alerts.Evening, alerts.Change, alerts.StaleFeed, alerts.SeasonOpens, alerts.ItWorks, alerts.Reply,
	alerts.Escalation, alerts.QuietWeek}

// checkHappenings looks whether people heard of what happened at their bush, and of nothing
// that did not.
func (w *world) checkHappenings(ctx context.Context, evening time.Time) {
	for i := range w.accepted {
		m := &w.accepted[i]
		for _, k := range m.Kinds {
			if h := w.happens[m.Site]; !slices.Contains(always, k) && (h == nil || h.kind != k) {
				w.fault("false: %s was told %s of %s at %s, where nothing of the kind happens", m.Person, k, m.Site, m.at.Format("15:04"))
			}
		}
	}
	for site, h := range w.happens {
		if !w.looked(site, evening) {
			continue
		}
		_, _, known, err := w.archiveLedger().Memory(ctx).Last(site, h.kind, "")
		if err != nil {
			w.fault("%v", err)
		}
		if !known {
			w.fault("not told: %s happens at %s, and nothing was decided", h.kind, site)
			continue
		}
		for _, p := range worldPeople() {
			if !p.Concerns(site) || !h.kind.HeardBy(p.Role) || w.everSilent(p.ID) || !w.dumb.IsZero() || w.heardOf(p, site, h.kind) ||
				h.kind.Urgent() && p.Role == "keeper" && (w.crewHeard(site, h.kind) || w.heardOf(p, site, alerts.Escalation)) {
				continue
			}
			w.fault("lost: %s was not told %s of %s", p.ID, h.kind, site)
		}
	}
}

func (w *world) heardOf(p channel.Person, site string, k alerts.Kind) bool {
	return slices.ContainsFunc(w.accepted, func(m accepted) bool { return m.Person == p.ID && m.Site == site && m.Says(k) })
}

// crewHeard reports whether somebody of the crew, who goes, was told of a kind.
func (w *world) crewHeard(site string, k alerts.Kind) bool {
	return slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.Role == "crew" && w.heardOf(p, site, k) })
}

// looked reports whether an evening's outlook was made of a bush from weather that was new.
func (w *world) looked(site string, evening time.Time) bool {
	for _, k := range []alerts.Kind{alerts.NoForecast, alerts.StaleFeed} {
		_, made, known, err := w.archiveLedger().Memory(context.Background()).Last(site, k, "")
		if err != nil || known && made.After(evening.Add(-12*time.Hour)) && w.happens[site].kind != k {
			return false
		}
	}
	done, err := w.archiveLedger().Done(context.Background(), site, "evening", evening.Format(time.DateOnly))
	return err == nil && done
}
