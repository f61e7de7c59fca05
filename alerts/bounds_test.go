package alerts

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// bound is the least step between what is told and what is not: told is changed into an
// outlook in which the kind is told, silent into one in which it is not.
type bound struct {
	what         string
	kind         string // as kinds writes it
	at           Moment
	memory       past
	base         func(o *forecast.Outlook)
	told, silent func(o *forecast.Outlook, at *Moment, m *past)
}

func clock(day, hour, minute int) time.Time {
	return time.Date(2026, 3, day, hour, minute, 0, 0, zone)
}

// nothing changes nothing.
func nothing(*forecast.Outlook, *Moment, *past) {}

// now is another moment.
func now(t time.Time) func(*forecast.Outlook, *Moment, *past) {
	return func(_ *forecast.Outlook, at *Moment, _ *past) { at.Now = t }
}

// group changes the one group that hangs.
func group(change func(g *forecast.GroupWork)) func(*forecast.Outlook, *Moment, *past) {
	return inOutlook(func(o *forecast.Outlook) { change(&o.Work.Groups[0]) })
}

// day changes a day, 0 being the twentieth.
func day(k int, change func(d *forecast.Day)) func(*forecast.Outlook, *Moment, *past) {
	return inOutlook(func(o *forecast.Outlook) { change(&o.Days[k]) })
}

func on(t time.Time) *time.Time { return &t }

func bounds() []bound {
	evening, noon, morning := Moment{Now: dusk, Evening: true}, Moment{Now: clock(20, 12, 30)}, Moment{Now: clock(21, 7, 0)}
	announced := past{}.and(Evening, "2026-03-20", Facts{Date: "2026-03-21", Chance: 0.8, VolumeL: 10, Window: clock(21, 14, 0)},
		dusk.Add(-time.Minute))
	runsOver := func(o *forecast.Outlook) {
		hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: on(clock(21, 15, 0))})
	}
	freezes := func(o *forecast.Outlook) {
		o.Days[1].TemperatureC.Min = -8
		hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
	}
	goesBad := func(o *forecast.Outlook) {
		hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(100), KeepsUntil: on(clock(21, 8, 0))})
	}
	runs := func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, 10 }
	afterAll := func(o *forecast.Outlook) {
		o.Days[0].RunProbability, o.Days[0].Window = 0.9, &forecast.Window{Start: clock(20, 4, 0), End: clock(20, 20, 0)}
	}
	worked := func(ago time.Duration) func(*forecast.Outlook, *Moment, *past) { // somebody gathered so long ago
		return func(o *forecast.Outlook, at *Moment, _ *past) {
			o.Work.Groups = []forecast.GroupWork{{Group: "pails", SinceVisit: on(at.Now.Add(-ago))}}
		}
	}
	closedIn := func(from, to time.Duration) func(*forecast.Outlook, *Moment, *past) { // a danger, from now
		return func(o *forecast.Outlook, at *Moment, _ *past) {
			o.Work.Dangers = []forecast.Danger{{From: at.Now.Add(from), To: at.Now.Add(to), What: forecast.DangerWind}}
		}
	}
	sentTo := func(group string, at time.Time) func(*forecast.Outlook, *Moment, *past) { // by the last evening text
		return func(_ *forecast.Outlook, _ *Moment, m *past) {
			*m = m.and(Evening, "2026-03-19", Facts{Date: "2026-03-20", Rounds: []NamedRound{{group, at}}}, clock(19, 18, 30))
		}
	}
	severe := func(o *forecast.Outlook) { stormOver(dusk)(o) }
	starts := func(lead time.Duration) func(*forecast.Outlook, *Moment, *past) {
		return func(o *forecast.Outlook, at *Moment, _ *past) { o.Warnings.List[0].From = at.Now.Add(lead) }
	}
	rounds := func(change func(r *forecast.CrewRound)) func(*forecast.Outlook, *Moment, *past) {
		return inOutlook(func(o *forecast.Outlook) {
			o.Work.Dangers[0].Moves = false
			r := forecast.CrewRound{Start: dusk.Add(-time.Hour), End: dusk.Add(time.Minute), Pinned: true}
			change(&r)
			o.Work.Rounds = []forecast.CrewRound{r}
		})
	}
	const hour, minute = time.Hour, time.Minute
	return []bound{
		{"runs over within thirty hours", "overflow", noon, nil, runsOver,
			group(func(g *forecast.GroupWork) { g.AloneOverAt = on(noon.Now.Add(30 * hour)) }),
			group(func(g *forecast.GroupWork) { g.AloneOverAt = on(noon.Now.Add(30*hour + minute)) })},
		{"it has run over", "overflow", noon, nil, runsOver,
			group(func(g *forecast.GroupWork) { g.AloneOverAt = on(noon.Now) }),
			group(func(g *forecast.GroupWork) { g.AloneOverAt = on(noon.Now.Add(-minute)) })},
		{"what runs over is to be tipped out", "overflow", noon, nil, runsOver, nothing,
			group(func(g *forecast.GroupWork) { g.Decision = forecast.TipOut })},
		{"nobody knows when it runs over", "overflow", noon, nil, runsOver, nothing,
			group(func(g *forecast.GroupWork) { g.AloneOverAt = nil })},
		{"somebody was sent there within two hours", "overflow", noon, nil, runsOver,
			sentTo("pails", noon.Now.Add(-2*hour)), sentTo("pails", noon.Now.Add(-2*hour+minute))},
		{"somebody was sent to another group", "overflow", noon, nil, runsOver, sentTo("lane", noon.Now), sentTo("pails", noon.Now)},
		{"a frost of eight degrees", "hard_freeze", noon, nil, freezes, nothing,
			day(1, func(d *forecast.Day) { d.TemperatureC.Min = -7.9 })},
		{"a frost in three days", "hard_freeze", noon, nil, freezes, nothing, inOutlook(func(o *forecast.Outlook) {
			o.Days[1].TemperatureC.Min, o.Days[2].TemperatureC.Min = 0, -20
		})},
		{"seven tenths full", "hard_freeze", noon, nil, freezes,
			group(func(g *forecast.GroupWork) { g.HeldL = litres(0.7 * 375) }), group(func(g *forecast.GroupWork) { g.HeldL = litres(262) })},
		{"ice in the pails counts", "hard_freeze", noon, nil, freezes,
			group(func(g *forecast.GroupWork) { g.HeldL, g.IceL = litres(100), 200 }),
			group(func(g *forecast.GroupWork) { g.HeldL, g.IceL = litres(200), 0 })},
		{"nobody knows what the pails hold", "hard_freeze", noon, nil, freezes, nothing,
			group(func(g *forecast.GroupWork) { g.CapacityL = nil })},
		{"what freezes is to be tipped out", "hard_freeze", noon, nil, freezes, nothing,
			group(func(g *forecast.GroupWork) { g.Decision = forecast.TipOut })},
		{"somebody was sent there before the frost", "hard_freeze", noon, nil, freezes, sentTo("lane", noon.Now), sentTo("pails", noon.Now)},
		{"danger keeps people in now", "hard_freeze", noon, nil, freezes, closedIn(-2*hour, 0), closedIn(-2*hour, minute)},
		{"danger keeps people in soon", "hard_freeze", noon, nil, freezes, closedIn(2*hour, 9*hour), closedIn(2*hour-minute, 9*hour)},
		{"the frost was in the hour before", "hard_freeze", Moment{Now: clock(20, 12, 0)}, nil, func(o *forecast.Outlook) {
			freezes(o)
			o.Days[0].TemperatureC.Min, o.Days[1].TemperatureC.Min = -12, 0
			o.Hours = hoursFrom(clock(20, 0, 0), 11, 0, 0) // made an hour ago
		}, inOutlook(func(o *forecast.Outlook) { o.Hours.TemperatureC.P50[12] = -12 }),
			inOutlook(func(o *forecast.Outlook) { o.Hours.TemperatureC.P50[11] = -12 })},
		{"the frost is tomorrow's, not today's", "hard_freeze", Moment{Now: clock(20, 12, 0)}, nil, func(o *forecast.Outlook) {
			freezes(o)
			o.Days[0].TemperatureC.Min, o.Days[1].TemperatureC.Min = -12, 0
			o.Hours = hoursFrom(clock(20, 0, 0), 12, 0, 0)
		}, inOutlook(func(o *forecast.Outlook) { o.Hours.TemperatureC.P50[23] = -12 }),
			inOutlook(func(o *forecast.Outlook) { o.Hours.TemperatureC.P50[24] = -12 })},
		{"goes bad within a day", "boil_by", noon, nil, goesBad,
			group(func(g *forecast.GroupWork) { g.KeepsUntil = on(noon.Now.Add(24 * hour)) }),
			group(func(g *forecast.GroupWork) { g.KeepsUntil = on(noon.Now.Add(24*hour + minute)) })},
		{"twenty litres", "boil_by", noon, nil, goesBad,
			group(func(g *forecast.GroupWork) { g.HeldL = litres(20) }), group(func(g *forecast.GroupWork) { g.HeldL = litres(19.9) })},
		{"ice counts as sap", "boil_by", noon, nil, goesBad,
			group(func(g *forecast.GroupWork) { g.HeldL, g.IceL = litres(10), 10 }),
			group(func(g *forecast.GroupWork) { g.HeldL, g.IceL = litres(10), 0 })},
		{"nobody can be there before it is bad", "boil_by", evening, nil, func(o *forecast.Outlook) {
			goesBad(o)
			o.Work.Groups[0].Decision, o.Work.Groups[0].KeepsUntil = forecast.TipOut, on(clock(20, 23, 0))
		}, inOutlook(func(o *forecast.Outlook) { o.Work.Until = dusk.Add(12 * hour) }),
			inOutlook(func(o *forecast.Outlook) { o.Work.Until = dusk.Add(12*hour + minute) })},
		{"a round that comes as it goes bad", "boil_by", evening, nil, func(o *forecast.Outlook) {
			goesBad(o)
			g := &o.Work.Groups[0]
			g.Decision, g.GoAt, g.Latest, g.VolumeL = forecast.Gather, on(clock(21, 8, 0)), on(clock(21, 8, 0)), &forecast.Range{}
			o.Work.Until = clock(21, 18, 0)
		}, nothing, group(func(g *forecast.GroupWork) { g.GoAt = on(clock(21, 7, 59)) })},
		{"danger keeps people from gathering", "boil_by", evening, nil, goesBad, closedIn(-2*hour, 0), closedIn(-2*hour, minute)},
		{"a run of which half was sure, by night", "change/called_off", Moment{Now: clock(20, 23, 0)}, nil, func(o *forecast.Outlook) {},
			before(Evening, "2026-03-20", Facts{Date: "2026-03-21", Chance: 0.55}, 5*hour),
			before(Evening, "2026-03-20", Facts{Date: "2026-03-21", Chance: 0.54}, 5*hour)},
		{"news before people are up", "change/more", morning, announced, func(o *forecast.Outlook) {
			runs(o)
			o.Days[1].VolumeL.P50 = 100
		}, now(clock(21, 5, 0)), now(clock(21, 4, 59))},
		{"half a litre a tap", "change/more", morning, announced, runs,
			day(1, func(d *forecast.Day) { d.VolumeL.P50 = 35 }), day(1, func(d *forecast.Day) { d.VolumeL.P50 = 34.9 })},
		{"twice as much", "change/more", morning, past{}.and(Evening, "2026-03-20", Facts{Date: "2026-03-21", Chance: 0.8, VolumeL: 100},
			dusk), runs, day(1, func(d *forecast.Day) { d.VolumeL.P50 = 200 }), day(1, func(d *forecast.Day) { d.VolumeL.P50 = 199 })},
		{"eight hours before the day ends", "change/called_off", morning, announced, func(o *forecast.Outlook) {},
			now(clock(21, 16, 0)), now(clock(21, 16, 1))},
		{"four hours earlier", "change/earlier", morning, announced, runs,
			day(1, func(d *forecast.Day) { d.Window = &forecast.Window{Start: clock(21, 10, 0), End: clock(21, 18, 0)} }),
			day(1, func(d *forecast.Day) { d.Window = &forecast.Window{Start: clock(21, 10, 1), End: clock(21, 18, 0)} })},
		{"it already runs", "change/earlier", morning, announced, runs,
			day(1, func(d *forecast.Day) { d.Window = &forecast.Window{Start: clock(21, 7, 1), End: clock(21, 18, 0)} }),
			day(1, func(d *forecast.Day) { d.Window = &forecast.Window{Start: clock(21, 7, 0), End: clock(21, 18, 0)} })},
		{"a run that was called off before", "change/called_off", morning, announced, func(o *forecast.Outlook) {},
			before(Change, "2026-03-20:more", Facts{}, 24*hour), before(Change, "2026-03-21:more", Facts{}, 24*hour)},
		{"after all, from five on", "change/after_all", noon, nil, afterAll, now(clock(20, 5, 0)), now(clock(20, 4, 59))},
		{"after all, until three", "change/after_all", noon, nil, afterAll, now(clock(20, 14, 59)), now(clock(20, 15, 0))},
		{"after all, twice the chance of an evening", "change/after_all", noon, nil, afterAll,
			day(0, func(d *forecast.Day) { d.RunProbability = 0.6 }), day(0, func(d *forecast.Day) { d.RunProbability = 0.59 })},
		{"after all, while it runs", "change/after_all", noon, nil, afterAll,
			day(0, func(d *forecast.Day) { d.Window.End = noon.Now.Add(minute) }), day(0, func(d *forecast.Day) { d.Window.End = noon.Now })},
		{"after all, by day hours that are known", "change/after_all", noon, nil, afterAll, nothing,
			day(0, func(d *forecast.Day) { d.Window = nil })},
		{"after all, where trees are tapped", "change/after_all", noon, nil, afterAll, nothing,
			inOutlook(func(o *forecast.Outlook) { o.Season.Tapped = false })},
		{"the evening announced another day", "change/after_all", noon, nil, afterAll,
			before(Evening, "2026-03-17", Facts{Date: "2026-03-18", Chance: 0.9, Announced: true}, 66*hour),
			before(Evening, "2026-03-19", Facts{Date: "2026-03-20", Chance: 0.9, Announced: true}, 18*hour)},
		{"the evening said that it would not run", "change/after_all", noon, nil, afterAll,
			before(Evening, "2026-03-19", Facts{Date: "2026-03-20", Chance: 0.29}, 18*hour),
			before(Evening, "2026-03-19", Facts{Date: "2026-03-20", Chance: 0.3}, 18*hour)},
		{"ten days before the end", "end_near", Moment{Now: clock(20, 0, 0), Evening: true}, nil,
			func(o *forecast.Outlook) { o.Season.End.P50 = "2026-03-30" }, nothing, now(clock(19, 23, 59))},
		{"nobody knows when it ends", "end_near", evening, nil, func(o *forecast.Outlook) { o.Season.End.P50 = "2026-03-28" },
			nothing, inOutlook(func(o *forecast.Outlook) { o.Season.End.P50 = "" })},
		{"an end of long ago, where people still gather", "end_near", evening, nil, func(o *forecast.Outlook) {
			o.Season.End.P50 = "2026-02-01"
		}, worked(24 * hour), func(o *forecast.Outlook, at *Moment, m *past) {
			worked(24*hour)(o, at, m)
			o.Season.Stage = season.Over
		}},
		{"thirty days after the end", "end_here", evening, nil, isOver("2026-02-18"), now(clock(19, 23, 59)), now(clock(20, 0, 0))},
		{"wind where people still gather", "danger", evening, nil,
			func(o *forecast.Outlook) { o.Cautions = []forecast.Caution{forecast.CautionWind} }, worked(24 * hour),
			func(o *forecast.Outlook, at *Moment, m *past) {
				worked(24*hour)(o, at, m)
				o.Season.Stage = season.Over
			}},
		{"a day and a half before a storm", "official_warning", noon, nil, severe, starts(36 * hour), starts(36*hour + minute)},
		{"until a storm is over", "official_warning", noon, nil, severe,
			inOutlook(func(o *forecast.Outlook) { o.Warnings.List[0].To = noon.Now.Add(minute) }),
			inOutlook(func(o *forecast.Outlook) { o.Warnings.List[0].To = noon.Now })},
		{"another storm drops the round", "official_warning", noon, nil, severe, nothing,
			inOutlook(func(o *forecast.Outlook) { o.Work.Dangers[0].Warning = "urn:9" })},
		{"a promised round reaches into a storm", "official_warning", noon, nil, severe, rounds(func(*forecast.CrewRound) {}),
			rounds(func(r *forecast.CrewRound) { r.End = dusk })},
		{"a promised round begins in a storm", "official_warning", noon, nil, severe,
			rounds(func(r *forecast.CrewRound) { r.Start, r.End = dusk.Add(24*hour-minute), dusk.Add(25*hour) }),
			rounds(func(r *forecast.CrewRound) { r.Start, r.End = dusk.Add(24*hour), dusk.Add(25*hour) })},
		{"a round that nobody promised", "official_warning", noon, nil, severe, rounds(func(*forecast.CrewRound) {}),
			rounds(func(r *forecast.CrewRound) { r.Pinned = false })},
		{"somebody was sent into a storm", "official_warning", noon, nil, func(o *forecast.Outlook) {
			severe(o)
			o.Work.Dangers[0].Moves = false
		}, sentTo("pails", dusk.Add(-2*hour+minute)), sentTo("pails", dusk.Add(-2*hour))},
		{"somebody was sent out after the storm", "official_warning", noon, nil, func(o *forecast.Outlook) {
			severe(o)
			o.Work.Dangers[0].Moves = false
		}, sentTo("pails", dusk.Add(24*hour-minute)), sentTo("pails", dusk.Add(24*hour))},
		{"somebody was sent hours ago", "official_warning", noon, nil, func(o *forecast.Outlook) {
			severe(o)
			o.Work.Dangers[0].Moves, o.Warnings.List[0].From = false, clock(20, 3, 0)
		}, sentTo("pails", noon.Now.Add(-2*hour+minute)), sentTo("pails", noon.Now.Add(-2*hour))},
		{"the season is over, and people still gather", "official_warning", noon, nil, severe, worked(hour),
			func(o *forecast.Outlook, at *Moment, m *past) {
				worked(hour)(o, at, m)
				o.Season.Stage = season.Over
			}},
		{"a third and a little of a chance that sap is off", "taste_it", evening, past{}.and(EndNear, "2026", Facts{}, dusk.AddDate(0, 0, -8)),
			func(o *forecast.Outlook) {}, inOutlook(tasteOf(0.35, "")), inOutlook(tasteOf(0.349, ""))},
		{"tasted four days ago", "taste_it", Moment{Now: clock(20, 0, 0), Evening: true},
			past{}.and(EndNear, "2026", Facts{}, dusk.AddDate(0, 0, -8)), func(o *forecast.Outlook) {},
			inOutlook(tasteOf(0.5, "2026-03-16")), inOutlook(tasteOf(0.5, "2026-03-17"))},
		{"asked for with the end", "taste_it", evening, nil, tasteOf(0.5, ""), before(EndNear, "2026", Facts{}, 4*24*hour),
			before(EndNear, "2026", Facts{}, 4*24*hour-minute)},
		{"the end of another year was told", "taste_it", evening, nil, tasteOf(0.5, ""), before(EndNear, "2026", Facts{}, 8*24*hour),
			before(EndNear, "2025", Facts{}, 8*24*hour)},
		{"nobody knows how sap tastes", "taste_it", evening, past{}.and(EndNear, "2026", Facts{}, dusk.AddDate(0, 0, -8)), tasteOf(0.5, ""),
			nothing, inOutlook(func(o *forecast.Outlook) { o.Season.Taste.OffBy = nil })},
		{"before the season", "taste_it", evening, past{}.and(EndNear, "2026", Facts{}, dusk.AddDate(0, 0, -8)), tasteOf(0.5, ""),
			nothing, inOutlook(func(o *forecast.Outlook) { o.Season.Stage = season.Before })},
		{"sap is off: what hangs is no loss", "overflow", noon, nil, func(o *forecast.Outlook) {
			runsOver(o)
			tasteOf(0.5, "2026-03-19")(o)
		}, nothing, inOutlook(func(o *forecast.Outlook) { o.Season.Taste.Said = records.Off })},
		{"sweet again after the end", "evening", evening, past{}.and(EndHere, "2026", Facts{}, clock(18, 18, 30)), func(o *forecast.Outlook) {
			o.Days[1].RunProbability = 0.9
			tasteOf(0.5, "2026-03-18")(o)
			o.Season.Taste.Said = records.Sweet
		}, nothing, inOutlook(func(o *forecast.Outlook) { o.Season.Taste.SaidOn = "2026-03-17" })},
		{"gathered since the end was told", "evening", evening, past{}.and(EndHere, "2026", Facts{}, clock(18, 18, 30)),
			func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.9 },
			inOutlook(func(o *forecast.Outlook) {
				o.Work.Groups = []forecast.GroupWork{{Group: "a", SinceVisit: on(clock(18, 18, 31))},
					{Group: "b", SinceVisit: on(clock(10, 9, 0))}}
			}),
			inOutlook(func(o *forecast.Outlook) {
				o.Work.Groups = []forecast.GroupWork{{Group: "a", SinceVisit: on(clock(18, 18, 30))}}
			})},
		{"the last visit was two weeks ago", "overflow", noon, nil, func(o *forecast.Outlook) {
			runsOver(o)
			o.Season.Stage = season.Over
		}, group(func(g *forecast.GroupWork) { g.SinceVisit = on(noon.Now.Add(-14*24*hour + minute)) }),
			group(func(g *forecast.GroupWork) { g.SinceVisit = on(noon.Now.Add(-14 * 24 * hour)) })},
		{"dry hours that have begun", "dry_sugar", evening, nil, func(o *forecast.Outlook) {
			o.Sugar = []boil.SugarSpan{{Date: "2026-03-21", From: dusk.Add(minute), To: dusk.Add(4 * hour), Grade: boil.Dry}}
		}, nothing, inOutlook(func(o *forecast.Outlook) { o.Sugar[0].From = dusk })},
		{"dry hours, told a week ago", "dry_sugar", evening, nil, func(o *forecast.Outlook) {
			o.Sugar = []boil.SugarSpan{{Date: "2026-03-21", From: clock(21, 13, 0), To: clock(21, 17, 0), Grade: boil.Dry}}
		}, before(DrySugar, "2026-03-14", Facts{}, 7*24*hour), before(DrySugar, "2026-03-15", Facts{}, 6*24*hour)},
		{"a day for learners, good enough", "learners", evening, nil,
			func(o *forecast.Outlook) { o.Teaching = []forecast.TeachingDay{{Date: "2026-03-22", Score: 80}} }, nothing,
			inOutlook(func(o *forecast.Outlook) { o.Teaching[0].Score = 79 })},
		{"a day for learners, where people still gather", "learners", evening, nil,
			func(o *forecast.Outlook) { o.Teaching = []forecast.TeachingDay{{Date: "2026-03-22", Score: 80}} }, worked(hour),
			func(o *forecast.Outlook, at *Moment, m *past) {
				worked(hour)(o, at, m)
				o.Season.Stage = season.Over
			}},
		{"weather that is a day old", "stale_feed", noon, nil, func(o *forecast.Outlook) { o.Source.AgeHours = 24 }, nothing,
			inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 23.9 })},
		{"no weather, a week of evenings after", "stale_feed", noon, nil, func(o *forecast.Outlook) { o.Source.AgeHours = 24 },
			before(StaleFeed, "2026-03-13", Facts{}, again), before(StaleFeed, "2026-03-13", Facts{}, again-minute)},
		{"a quiet week after what was told before", "quiet_week", evening, nil,
			func(o *forecast.Outlook) { o.Cautions = []forecast.Caution{forecast.CautionWind} },
			before(Danger, "wind:2026-03-21", Facts{}, hour), before(Danger, "wind:2026-03-20", Facts{}, hour)},
		{"a quiet week, and a run on its last day", "quiet_week", evening, nil, func(o *forecast.Outlook) {},
			day(7, func(d *forecast.Day) { d.RunProbability = 0.29 }), day(7, func(d *forecast.Day) { d.RunProbability = 0.3 })},
		{"a quiet week, and a run after it", "quiet_week", evening, nil, func(o *forecast.Outlook) {},
			day(8, func(d *forecast.Day) { d.RunProbability = 0.9 }), day(1, func(d *forecast.Day) { d.RunProbability = 0.9 })},
		{"a quiet week, from weather of today", "quiet_week", evening, past{}.and(StaleFeed, "2026-03-20", Facts{}, dusk.Add(-hour)),
			func(o *forecast.Outlook) {}, inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 23.9 }),
			inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 24 })},
	}
}

// Every bound has a nearest thing that is told and a nearest that is not: what is told a
// minute, a litre or a hundredth too far is told falsely, too.
func TestBoundsOfWhatIsTold(t *testing.T) {
	for _, b := range bounds() {
		tells := func(change func(*forecast.Outlook, *Moment, *past)) string {
			o, at, m := quiet(), b.at, slices.Clone(b.memory)
			b.base(o)
			change(o, &at, &m)
			return " " + kinds(decide(t, o, m, at)) + " "
		}
		if got := tells(b.told); !strings.Contains(got, " "+b.kind+" ") {
			t.Errorf("%s: on this side %q is told, and not %s", b.what, got, b.kind)
		}
		if got := tells(b.silent); strings.Contains(got, " "+b.kind+" ") {
			t.Errorf("%s: beyond it %s is told all the same", b.what, b.kind)
		}
	}
}

// forgetful is a memory that fails for one kind alone.
type forgetful struct {
	past
	kind Kind
}

func (f forgetful) Last(site string, kind Kind, begins string) (Decision, time.Time, bool, error) {
	if kind == f.kind {
		return Decision{}, time.Time{}, false, errors.New("the ledger can't be read")
	}
	return f.past.Last(site, kind, begins)
}

// Whichever part of the memory fails, nothing at all is decided: what was told before would
// be told again.
func TestNothingIsDecidedByHalfAMemory(t *testing.T) {
	evening, noon := Moment{Now: dusk, Evening: true}, Moment{Now: clock(20, 12, 30)}
	all := occasions()
	for name, c := range map[string]struct {
		of Kind // the occasion
		at Moment
		by Kind // what can't be read
	}{
		"evening": {Evening, evening, Evening}, "end": {Evening, evening, EndHere}, "looking ahead": {LookingAhead, evening, LookingAhead},
		"getting ready": {GetReady, evening, GetReady}, "change": {Change, noon, Change}, "stale": {StaleFeed, noon, StaleFeed},
		"none": {NoForecast, evening, NoForecast}, "quiet": {QuietWeek, evening, QuietWeek}, "sugar": {DrySugar, evening, DrySugar},
		"taste": {TasteIt, evening, EndNear}, "visit": {ClassVisit, evening, ClassVisit}, "visit off": {ClassOff, noon, ClassOff},
		"a fresh one beside the quiet week": {Danger, evening, Danger},
	} {
		o, occasion := quiet(), all[c.of]
		occasion.change(o)
		list, err := Decide(o, forgetful{occasion.memory, c.by}, c.at, Usual)
		if err == nil || len(list) > 0 {
			t.Errorf("%s: %q is decided, %v", name, kinds(list), err)
		}
	}
	o := quiet()
	o.Season.Closed = &forecast.Closed{On: "2026-03-20"}
	o.Classes = []forecast.ClassPlan{classOn(21, forecast.FromStock)}
	if list, err := Decide(o, forgetful{nil, ClassOff}, evening, Usual); err == nil || len(list) > 0 {
		t.Errorf("after the season: %q is decided, %v", kinds(list), err)
	}
	n := NoWeather{Site: "hill", Zone: zone, Spring: Spring{Stage: season.Opened, Tapped: true}, Why: "no weather"}
	for _, k := range []Kind{StaleFeed, NoForecast, EndHere} {
		if list, err := DecideWithoutWeather(&n, forgetful{past{}.and(StaleFeed, "2026-03-18", Facts{}, dusk.AddDate(0, 0, -2)), k}, dusk); err == nil ||
			len(list) > 0 {
			t.Errorf("without weather: %q is decided, %v", kinds(list), err)
		}
	}
}

// A warning is as sure and as near as what the decision knows: half a chance is no likely one
// in CAP 1.2 (section 3.2.2: likely is above one half), and what is no more than possible is
// never an immediate one.
func TestAWarningIsNoSurerThanItsChance(t *testing.T) {
	of := Warning{"Safety", "Past", "Moderate", "Observed"}
	for _, c := range []struct {
		chance               float64
		lead                 time.Duration // zero for unknown
		urgency, certainties string
	}{
		{0, 0, "Past", "Observed"}, {0.5, 0, "Past", "Possible"}, {0.51, 0, "Past", "Likely"},
		{0.9, time.Hour, "Immediate", "Likely"}, {0.5, time.Hour, "Expected", "Possible"},
		{0.9, time.Hour + time.Minute, "Expected", "Likely"}, {0.9, 12 * time.Hour, "Expected", "Likely"},
		{0.9, 12*time.Hour + time.Minute, "Future", "Likely"}, {0, 30 * time.Minute, "Expected", "Observed"},
		{0.9, -time.Hour, "Immediate", "Likely"},
	} {
		d := Decision{Facts: Facts{Chance: c.chance}}
		if c.lead != 0 {
			d.Facts.Due = dusk.Add(c.lead)
		}
		got := of.By(&d, dusk)
		if want := (Warning{"Safety", c.urgency, "Moderate", c.certainties}); got != want {
			t.Errorf("chance %g in %s: %v, want %v", c.chance, c.lead, got, want)
		}
	}
}

// What was decided of a group goes no further once somebody has been there or its taps are
// pulled; a question about it, or what is about no group, does.
func TestWhatIsOvertakenIsNotSent(t *testing.T) {
	visit := clock(20, 9, 0)
	of := func(k Kind, group string, since *time.Time) Decision {
		return Decision{Kind: k, Key: string(k) + ":" + group + ":" + episode(since), Facts: Facts{GroupID: group}}
	}
	for name, c := range map[string]struct {
		d     Decision
		group forecast.GroupWork
		want  bool
	}{
		"as it was":              {of(Overflow, "pails", &visit), forecast.GroupWork{Group: "pails", SinceVisit: &visit}, false},
		"somebody was there":     {of(Overflow, "pails", &visit), forecast.GroupWork{Group: "pails", SinceVisit: on(visit.Add(time.Hour))}, true},
		"the first visit":        {of(BoilBy, "pails", nil), forecast.GroupWork{Group: "pails", SinceVisit: &visit}, true},
		"never visited":          {of(HardFreeze, "pails", nil), forecast.GroupWork{Group: "pails"}, false},
		"pulled":                 {of(HardFreeze, "pails", nil), forecast.GroupWork{Group: "pails", Pulled: true}, true},
		"another group's visit":  {of(Overflow, "pails", nil), forecast.GroupWork{Group: "lane", SinceVisit: &visit, Pulled: true}, false},
		"a question about it":    {of(Question, "pails", nil), forecast.GroupWork{Group: "pails", Pulled: true}, false},
		"about no group":         {of(Overflow, "", nil), forecast.GroupWork{Group: "", Pulled: true}, false},
		"a kind of no one group": {of(Evening, "pails", nil), forecast.GroupWork{Group: "pails", Pulled: true}, false},
	} {
		o := quiet()
		o.Work.Groups = []forecast.GroupWork{c.group}
		if got := c.d.Overtaken(o); got != c.want {
			t.Errorf("%s: overtaken %t, want %t", name, got, c.want)
		}
		if c.d.Overtaken(nil) {
			t.Errorf("%s: overtaken by no outlook", name)
		}
	}
}

// episode names one as seen at dusk.
func episode(visit *time.Time) string { return since(visit, dusk, zone) }
