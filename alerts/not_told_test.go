package alerts

import (
	"slices"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// occasion is what makes a kind be told, and what must silence it: each of the silences is
// applied to a fresh occasion. A reason stands where one cannot apply.
type occasion struct {
	at       Moment
	memory   past
	change   func(o *forecast.Outlook)
	silences map[string]func(o *forecast.Outlook, at *Moment, m *past)
	cannot   map[string]string
}

// silences that every kind has to name, or to say why it cannot have them.
var silences = []string{"after it happened", "out of season", "late in the day", "for little", "twice", "after the end"}

func later(hours int) func(*forecast.Outlook, *Moment, *past) {
	return func(_ *forecast.Outlook, at *Moment, _ *past) {
		at.Now = at.Now.Add(time.Duration(hours) * time.Hour)
	}
}

func inOutlook(change func(o *forecast.Outlook)) func(*forecast.Outlook, *Moment, *past) {
	return func(o *forecast.Outlook, _ *Moment, _ *past) { change(o) }
}

// isOver is an outlook whose season is over, its likely end on a date.
func isOver(end string) func(o *forecast.Outlook) {
	return func(o *forecast.Outlook) { o.Season.Stage, o.Season.End.P50 = season.Over, end }
}

// inSummer is after the season, with nobody gathering.
func inSummer(o *forecast.Outlook, _ *Moment, _ *past) { o.Season.Stage = season.Over }

// untapped is before the season, with nobody gathering.
func untapped(o *forecast.Outlook, _ *Moment, _ *past) {
	o.Season.Stage, o.Season.Tapped = season.Before, false
}

func before(k Kind, key string, f Facts, ago time.Duration) func(*forecast.Outlook, *Moment, *past) {
	return func(_ *forecast.Outlook, at *Moment, m *past) { *m = m.and(k, key, f, at.Now.Add(-ago)) }
}

// afterEnd is when people were told that the season is over, and nobody has gathered since.
var afterEnd = before(EndHere, "2026", Facts{}, 48*time.Hour)

func occasions() map[Kind]occasion {
	evening, noon := Moment{Now: dusk, Evening: true}, Moment{Now: dusk.Add(-6 * time.Hour)}
	type silent = map[string]func(*forecast.Outlook, *Moment, *past)
	const day = 24 * time.Hour
	told := Facts{Date: "2026-03-20", Chance: 0.8, VolumeL: 100, Window: *at(20, 14)}
	yesterday := past{}.and(Evening, "2026-03-19", told, dusk.Add(-day))
	full := func(o *forecast.Outlook) { hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)}) }
	big := func(k int, chance float64) func(o *forecast.Outlook) {
		return func(o *forecast.Outlook) {
			o.Source.SeesDays, o.Days[k].BigProbability, o.Days[k].BigOrNextProbability = 4, chance, chance
		}
	}
	ahead := func(kind Kind, k int, date string) occasion {
		return occasion{evening, nil, big(k, 0.9), silent{
			"after it happened": inOutlook(big(k, 0)), "out of season": inSummer, "after the end": afterEnd, "untapped": untapped,
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":      inOutlook(big(k, 0.19)),
			"twice":           before(kind, date, Facts{From: date, To: date, Chance: 0.9}, day),
		}, nil}
	}
	return map[Kind]occasion{
		LookingAhead: ahead(LookingAhead, 4, "2026-03-24"),
		GetReady:     ahead(GetReady, 2, "2026-03-22"),
		Evening: {evening, nil, func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.9 }, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Days[0].RunProbability, o.Days[1].RunProbability = 0.9, 0 }),
			"late in the day":   func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":        inOutlook(func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.29 }),
			"after the end":     afterEnd, "out of season": untapped,
			"with the end": inOutlook(isOver("2026-03-20")),
		}, map[string]string{"twice": "comes again under its key, and the ledger drops it"}},
		Change: {noon, yesterday, func(o *forecast.Outlook) {
			o.Days[0].RunProbability, o.Days[0].VolumeL.P50, o.Days[0].Window = 0.9, 300,
				&forecast.Window{Start: *at(20, 14), End: *at(20, 20)}
		}, silent{
			"after it happened": later(12), "late in the day": later(4), "out of season": inSummer, "after the end": afterEnd,
			"for little":              inOutlook(func(o *forecast.Outlook) { o.Days[0].VolumeL.P50 = 190 }),
			"twice":                   before(Change, "2026-03-20:earlier", Facts{}, 20*time.Hour),
			"another one on this day": before(Change, "2026-03-19:more", Facts{}, 3*time.Hour),
			"soon after the evening":  func(o *forecast.Outlook, at *Moment, m *past) { eveningJustTold(o, at, m, 300) },
		}, nil},
		NewRound: {Moment{Now: *at(21, 5)}, past{}.and(Evening, "2026-03-20", Facts{}, dusk), newRoundAt(21, 9), silent{
			"after it happened": later(5), "late in the day": later(-2), // three at night
			"out of season": inSummer, "after the end": afterEnd,
			"for little": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].LossAvoidedL = 24 }),
			"while somebody writes down another": inOutlook(func(o *forecast.Outlook) {
				hang(o, forecast.GroupWork{Group: "lane", Decision: forecast.Leave, SinceVisit: at(21, 5)})
			}),
			"for next to nothing":          inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].VolumeL = &forecast.Range{P50: 4, P90: 900} }),
			"where the evening told of it": knownAt(21, 9), "where it moves a bit": knownAt(21, 8), "where it moves a bit ahead": knownAt(21, 10),
			"where news told of it": func(_ *forecast.Outlook, _ *Moment, m *past) {
				*m = m.and(NewRound, "2026-03-21:pails@0900", Facts{Rounds: []NamedRound{{"pails", *at(21, 9)}}}, *at(20, 19))
			},
			"where nobody wrote down that they went": func(o *forecast.Outlook, now *Moment, m *past) {
				knownAt(21, 9)(o, now, m)
				newRoundAt(21, 15)(o)
				now.Now = *at(21, 14)
			},
			"where a warning tells of it": func(_ *forecast.Outlook, _ *Moment, m *past) {
				*m = m.and(Overflow, "pails:2026-03-01T13:00:00Z", Facts{}, *at(20, 22))
			},
			"beside a warning of it": inOutlook(func(o *forecast.Outlook) {
				o.Work.Groups[0].AloneProbability, o.Work.Groups[0].AloneOverAt = 0.9, at(21, 15)
			}),
			"in danger": inOutlook(func(o *forecast.Outlook) {
				o.Work.Dangers = []forecast.Danger{{From: *at(21, 3), To: *at(21, 8), What: forecast.DangerWind}}
			}),
			"where the next evening will": func(o *forecast.Outlook, now *Moment, _ *past) { now.Now, o.Work.Until = *at(20, 17), *at(21, 18) },
			"as the evening is due":       func(_ *forecast.Outlook, now *Moment, m *past) { now.Now, *m = *at(20, 19), nil },
			"far ahead": func(o *forecast.Outlook, now *Moment, _ *past) {
				newRoundAt(21, 15)(o)
				now.Now = *at(20, 19)
			},
		}, map[string]string{"twice": "comes again under the key of its hour, and those who know of it: where news told of it"}},
		RoundOff: {Moment{Now: dusk.Add(2 * time.Hour)},
			past{}.and(Evening, "2026-03-20", Facts{Rounds: []NamedRound{{Group: "pails", At: *at(21, 9)}}}, dusk),
			func(o *forecast.Outlook) {
				hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Leave, HeldL: litres(2), SinceVisit: at(20, 19)})
				o.Work.Until = *at(21, 18)
			}, silent{
				"after it happened": later(15), "late in the day": later(6), // two at night
				"for little": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].HeldL = litres(60) }),
				"where somebody still goes": inOutlook(func(o *forecast.Outlook) {
					o.Work.Groups[0].Decision, o.Work.Groups[0].GoAt = forecast.Gather, at(21, 9)
				}),
				"where nobody was sent": func(_ *forecast.Outlook, _ *Moment, m *past) { *m = nil },
			}, map[string]string{"twice": "comes again under the key of its day", "after the end": "nobody goes to empty pails then either",
				"out of season": "somebody has just gathered: it is the season"}},
		NoForecast: {evening, past{}.and(StaleFeed, "2026-03-19", Facts{}, dusk.Add(-day)),
			func(o *forecast.Outlook) { o.Days = o.Days[:1] }, silent{
				"after it happened": inOutlook(func(o *forecast.Outlook) { o.Days = quiet().Days }), "out of season": inSummer,
				"after the end":    afterEnd,
				"twice":            before(NoForecast, "2026-03-18", Facts{}, 2*day),
				"before a keeper":  func(_ *forecast.Outlook, _ *Moment, m *past) { *m = nil },
				"on a keeper's":    before(StaleFeed, "2026-03-20", Facts{}, time.Hour),
				"late in the day":  func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
				"before a new one": before(StaleFeed, "2026-03-20", Facts{}, 30*day),
			}, map[string]string{"for little": "a forecast reaches tomorrow, or not"}},
		StaleFeed: {noon, nil, func(o *forecast.Outlook) { o.Source.AgeHours = 24 }, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 1 }), "out of season": inSummer,
			"after the end": afterEnd,
			"for little":    inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 23 }),
			"twice":         before(StaleFeed, "2026-03-15", Facts{}, 5*day),
		}, map[string]string{"late in the day": "the machine is looked after at any hour; quiet hours hold it"}},
		Overflow: {noon, nil, func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: at(21, 15)})
		}, silent{
			"after it happened": later(40), "out of season": inSummer,
			"for little": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].AloneProbability = 0.49 }),
			"too early":  inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].AloneOverAt = at(22, 15) }),
			"of bad sap": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].KeepsUntil = at(20, 8) }),
		}, map[string]string{"late in the day": "losses do not wait for the morning", "twice": "comes again under the key of its visit",
			"after the end": "what hangs can still run over"}},
		HardFreeze: {noon, nil, func(o *forecast.Outlook) { full(o); o.Days[1].TemperatureC.Min = -9 }, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) {
				o.Days[0].TemperatureC.Min, o.Days[1].TemperatureC.Min = -12, 0
				o.Hours = hoursFrom(*at(20, 0), 12, -12, 0)
			}),
			"out of season": inSummer, "for little": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].HeldL = litres(100) }),
			"of bad sap": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].KeepsUntil = at(20, 8) }),
		}, map[string]string{"late in the day": "losses do not wait for the morning", "twice": "comes again under the key of its visit",
			"after the end": "what hangs can still burst"}},
		BoilBy: {noon, nil, func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(100), KeepsUntil: at(21, 8)})
		}, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) {
				o.Work.Groups[0].HeldL, o.Work.Groups[0].KeepsUntil = litres(0),
					nil
			}), "out of season": inSummer,
			"for little":              inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].HeldL = litres(19) }),
			"the forecast ends first": inOutlook(func(o *forecast.Outlook) { o.Work.Groups[0].KeepsLonger = true }),
		}, map[string]string{"late in the day": "sap does not wait for the morning", "twice": "comes again under the key of its visit",
			"after the end": "what hangs still goes bad"}},
		Danger: {evening, nil, func(o *forecast.Outlook) { o.Cautions = []forecast.Caution{forecast.CautionWind} }, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Cautions = nil }), "out of season": inSummer, "untapped": untapped,
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":      inOutlook(func(o *forecast.Outlook) { o.Cautions = []forecast.Caution{forecast.CautionHotPan} }),
		}, map[string]string{"twice": "comes again under the key of its day", "after the end": "taps are still pulled in the bush"}},
		OfficialWarning: {noon, nil, stormOver(dusk), silent{
			"after it happened": later(40), "out of season": inSummer, "untapped": untapped,
			"for little": inOutlook(func(o *forecast.Outlook) { o.Warnings.List[0].Severity = weather.Moderate }), "far ahead": later(-40),
			"where nobody goes": inOutlook(func(o *forecast.Outlook) { o.Work.Dangers[0].Moves = false }),
		}, map[string]string{"late in the day": "a storm does not wait for the morning",
			"twice": "comes again under the key of its thread", "after the end": "taps are still pulled in the bush"}},
		SeasonOpens: {evening, nil, func(o *forecast.Outlook) { o.Season.Tapped, o.Season.WorthTapping = false, true }, silent{
			"for little":      inOutlook(func(o *forecast.Outlook) { o.Season.WorthTapping = false }),
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
		}, map[string]string{"twice": "comes again under the key of its year", "after the end": "who is not tapped has no end",
			"after it happened": "the outlook says whether it is worth it", "out of season": "the outlook says whether it is worth it"}},
		EndNear: {evening, nil, func(o *forecast.Outlook) { o.Season.End.P50 = "2026-03-28" }, silent{
			"after it happened": inOutlook(isOver("2026-02-01")), "out of season": inSummer, "after the end": afterEnd,
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":      inOutlook(func(o *forecast.Outlook) { o.Season.End.P50 = "2026-04-02" }),
		}, map[string]string{"twice": "comes again under the key of its year"}},
		TasteIt: {evening, past{}.and(EndNear, "2026", Facts{}, dusk.Add(-8*day)), tasteOf(0.5, ""), silent{
			"after it happened": inOutlook(tasteOf(0.5, "2026-03-18")), "out of season": inSummer, "untapped": untapped,
			"after the end":        afterEnd,
			"late in the day":      func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":           inOutlook(tasteOf(0.3, "")),
			"beside the end":       before(EndNear, "2026", Facts{}, day),
			"once it is over":      inOutlook(isOver("2026-03-19")),
			"once taps are pulled": inOutlook(func(o *forecast.Outlook) { o.Season.Closed = &forecast.Closed{On: "2026-03-20"} }),
		}, map[string]string{"twice": "comes again under the key of its year"}},
		EndHere: {evening, nil, isOver("2026-03-19"), silent{
			"after it happened": inOutlook(isOver("2026-02-01")), "out of season": inOutlook(isOver("2026-02-01")),
			"untapped": inOutlook(func(o *forecast.Outlook) { o.Season.Tapped = false }), "twice": afterEnd, "after the end": afterEnd,
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":      inOutlook(func(o *forecast.Outlook) { o.Season.Stage = season.Late }),
		}, nil},
		Closed: {evening, nil, func(o *forecast.Outlook) { o.Season.Closed = &forecast.Closed{On: "2026-03-20", Visits: 3, SapL: 300} },
			silent{
				"after it happened": inOutlook(func(o *forecast.Outlook) { o.Season.Closed = nil }), // tapped again
				"late in the day":   func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			}, map[string]string{"twice": "comes again under the key of its year", "for little": "the taps are pulled, or not",
				"out of season": "who notes in summer that they are is thanked, too", "after the end": "most seasons end so"}},
		DrySugar: {evening, nil, func(o *forecast.Outlook) {
			o.Sugar = []boil.SugarSpan{{Date: "2026-03-21", From: *at(21, 13), To: *at(21, 17), Chance: 0.9, Grade: boil.Dry}}
		}, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Sugar[0].Date = "2026-03-20" }), "out of season": inSummer,
			"untapped":        untapped,
			"late in the day": func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":      inOutlook(func(o *forecast.Outlook) { o.Sugar[0].Grade = boil.Fair }),
			"twice":           before(DrySugar, "2026-03-15", Facts{}, 5*day),
		}, map[string]string{"after the end": "syrup is still there"}},
		Learners: {evening, nil, func(o *forecast.Outlook) { o.Teaching = []forecast.TeachingDay{{Date: "2026-03-23", Score: 90}} }, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Teaching[0].Date = "2026-03-20" }), "out of season": inSummer,
			"after the end":      afterEnd,
			"late in the day":    func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"the evening before": inOutlook(func(o *forecast.Outlook) { o.Teaching[0].Date = "2026-03-21" }),
			"for little":         inOutlook(func(o *forecast.Outlook) { o.Teaching[0].Score = 79 }),
		}, map[string]string{"twice": "comes again under the key of its year"}},
		ClassVisit: {evening, nil, withClass(classOn(23, forecast.FromStock)), silent{
			"after it happened": inOutlook(withClass(classOn(20, forecast.FromStock))),
			"late in the day":   func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"far ahead":         inOutlook(withClass(classOn(28, forecast.FromStock))),
			"twice":             before(ClassVisit, "one:3", Facts{What: "stock"}, time.Hour),
			"taken back":        inOutlook(func(o *forecast.Outlook) { o.Classes = nil }),
			"called off":        inOutlook(withClass(classOn(23, forecast.CalledOff))),
		}, map[string]string{"out of season": "who books in summer wants to know", "for little": "a class comes, or not",
			"after the end": "syrup is still there"}},
		ClassOff: {noon, nil, withClass(classOn(22, forecast.CalledOff)), silent{
			"after it happened": inOutlook(withClass(classOn(20, forecast.CalledOff))),
			"for little":        inOutlook(withClass(classOn(22, forecast.Indoors))),
			"twice":             before(ClassOff, "one:off", Facts{}, time.Hour),
			"taken back":        inOutlook(func(o *forecast.Outlook) { o.Classes = nil }),
		}, map[string]string{"late in the day": "a school needs to know", "out of season": "danger is danger",
			"after the end": "danger is danger"}},
		ItWorks: {Moment{Now: dusk, Evening: true, First: true}, nil, func(*forecast.Outlook) {}, silent{
			"after it happened": func(_ *forecast.Outlook, at *Moment, _ *past) { at.First = false },
			"late in the day":   func(_ *forecast.Outlook, at *Moment, _ *past) { at.Evening = false },
			"twice":             func(_ *forecast.Outlook, at *Moment, _ *past) { at.First = false },
		}, map[string]string{"out of season": "who installs in summer wants to know, too", "for little": "it works, or not",
			"after the end": "who installs then wants to know, too"}},
		QuietWeek: {evening, nil, func(*forecast.Outlook) {}, silent{
			"after it happened": inOutlook(func(o *forecast.Outlook) { o.Days[7].RunProbability = 0.3 }), "out of season": inSummer,
			"after the end": afterEnd, "untapped": untapped,
			"late in the day":             func(_ *forecast.Outlook, at *Moment, _ *past) { *at = noon },
			"for little":                  inOutlook(func(o *forecast.Outlook) { o.Days = o.Days[:7] }), // the forecast sees less than a week
			"twice":                       before(QuietWeek, "2026-03-15", Facts{}, 5*day),
			"beside other news":           inOutlook(func(o *forecast.Outlook) { o.Cautions = []forecast.Caution{forecast.CautionWind} }),
			"from old weather":            inOutlook(func(o *forecast.Outlook) { o.Source.AgeHours = 30 }),
			"once it was worth tapping":   before(SeasonOpens, "2026", Facts{}, day),
			"where sap is to be gathered": inOutlook(func(o *forecast.Outlook) { o.Work.Rounds = []forecast.CrewRound{{Start: *at(22, 11)}} }),
		}, nil},
	}
}

// newRoundAt plans one round at an hour, to pails that were emptied weeks before.
func newRoundAt(day, hour int) func(o *forecast.Outlook) {
	return func(o *forecast.Outlook) {
		hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.Gather, GoAt: at(day, hour), HeldL: litres(100), LossAvoidedL: 60,
			VolumeL: &forecast.Range{P10: 50, P50: 100, P90: 150}, Latest: at(day, hour), SinceVisit: at(1, 9)}) // so long ago that the season can be over
		o.Work.Until, o.Work.TripL = at(21, 18).Add(30*time.Minute), 25
		o.Work.Rounds = []forecast.CrewRound{{Start: *at(day, hour), End: at(day, hour).Add(time.Hour),
			Groups: []forecast.RoundGroup{{Group: "pails", Share: 1, VolumeL: 100}}}}
	}
}

// knownAt is an evening that told of a round at an hour.
func knownAt(day, hour int) func(*forecast.Outlook, *Moment, *past) {
	return func(_ *forecast.Outlook, _ *Moment, m *past) {
		*m = past{}.and(Evening, "2026-03-20", Facts{Rounds: []NamedRound{{"pails", *at(day, hour)}}}, dusk)
	}
}

// tasteOf is a chance that sap tastes off today, and when somebody last tasted it.
func tasteOf(chance float64, saidOn string) func(o *forecast.Outlook) {
	return func(o *forecast.Outlook) {
		o.Season.Taste = &forecast.Taste{OffBy: []forecast.OffBy{{Date: "2026-03-20", Chance: chance}}, SaidOn: saidOn,
			Source: forecast.CommonPractice}
	}
}

// stormOver is warned of officially for a day, and a round is dropped for it.
func stormOver(from time.Time) func(o *forecast.Outlook) {
	return func(o *forecast.Outlook) {
		o.Warnings.List = []weather.Warning{{ID: "urn:2", Thread: "urn:1", Event: weather.Quoted{"en": "Ice Storm Warning"},
			Issuer: weather.Quoted{"en": "NWS"}, Severity: weather.Severe, From: from, To: from.Add(24 * time.Hour)}}
		o.Work.Dangers = []forecast.Danger{{From: from, To: from.Add(24 * time.Hour), What: forecast.DangerWarning, Warning: "urn:2",
			Moves: true}}
	}
}

// An official warning of what is severe is told by day, too, where a round falls into it:
// once, not in summer, and not for what is over, far ahead, moderate or touches nobody.
func TestOfficialWarningIsTold(t *testing.T) {
	noon, storm := Moment{Now: dusk.Add(-6 * time.Hour)}, stormOver(dusk)
	named := past{}.and(Evening, "2026-03-19", Facts{Rounds: []NamedRound{{"pails", noon.Now.Add(5 * time.Hour)}}},
		noon.Now.Add(-18*time.Hour))
	for name, c := range map[string]struct {
		change func(o *forecast.Outlook)
		memory past
		want   string
	}{
		"a round that is dropped": {func(*forecast.Outlook) {}, nil, "official_warning/"},
		"it is there": {func(o *forecast.Outlook) { o.Warnings.List[0].From = noon.Now.Add(-time.Hour) }, nil,
			"official_warning/now"},
		"a round of the evening": {func(o *forecast.Outlook) { o.Work.Dangers[0].Moves = false }, named, "official_warning/"},
		"a promised round": {func(o *forecast.Outlook) {
			o.Work.Dangers[0].Moves = false
			o.Work.Rounds = []forecast.CrewRound{{Start: noon.Now.Add(7 * time.Hour), End: noon.Now.Add(8 * time.Hour), Pinned: true}}
		}, nil, "official_warning/"},
		"while it is not known": {func(o *forecast.Outlook) { o.Warnings.State = weather.WarningsUnknown }, nil, "official_warning/"},
		"nobody goes":           {func(o *forecast.Outlook) { o.Work.Dangers[0].Moves = false }, nil, ""},
		"moderate":              {func(o *forecast.Outlook) { o.Warnings.List[0].Severity = weather.Moderate }, nil, ""},
		"over":                  {func(o *forecast.Outlook) { o.Warnings.List[0].To = noon.Now }, nil, ""},
		"far ahead": {func(o *forecast.Outlook) {
			o.Warnings.List[0].From, o.Warnings.List[0].To = noon.Now.Add(40*time.Hour), noon.Now.Add(50*time.Hour)
		}, nil, ""},
		"after the season":            {func(o *forecast.Outlook) { o.Season.Stage = season.Over }, nil, ""},
		"before the trees are tapped": {func(o *forecast.Outlook) { o.Season.Tapped = false }, nil, ""},
	} {
		o := quiet()
		storm(o)
		c.change(o)
		got := decide(t, o, c.memory, noon)
		all := kinds(got)
		if len(got) == 1 {
			all = string(got[0].Kind) + "/" + got[0].Facts.What
		}
		if all != c.want {
			t.Errorf("%s: told %q, want %q", name, all, c.want)
		}
		if c.want != "" && len(got) == 1 && got[0].Key != "official_warning:urn:1" {
			t.Errorf("%s: key %q is not that of the thread", name, got[0].Key)
		}
	}
}

// Nobody is told to empty containers in a danger: an earlier deadline, or nothing.
func TestNobodyIsToldToGoIntoDanger(t *testing.T) {
	now := dusk.Add(-6 * time.Hour)
	for name, c := range map[string]struct {
		from time.Duration // of the danger, from now
		want time.Time     // deadline, zero for none
	}{"none": {100 * time.Hour, *at(21, 15)}, "before it runs over": {10 * time.Hour, now.Add(10 * time.Hour)},
		"already there": {-time.Hour, time.Time{}}} {
		o := quiet()
		hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: at(21, 15), HeldL: litres(100),
			KeepsUntil: at(21, 16)})
		o.Work.Dangers = []forecast.Danger{{From: now.Add(c.from), To: now.Add(c.from + 48*time.Hour), What: forecast.DangerFreezingRain}}
		var by time.Time
		for _, d := range decide(t, o, nil, Moment{Now: now}) {
			if d.Kind == Overflow {
				by = d.Facts.At
			}
			if d.Kind == BoilBy && c.want.IsZero() {
				t.Errorf("%s: told to gather sap that will not keep", name)
			}
		}
		if !by.Equal(c.want) {
			t.Errorf("%s: gather by %s, want %s", name, by, c.want)
		}
	}
}

// eveningJustTold makes it an hour after an evening that announced a run of tomorrow, of
// which there is more now.
func eveningJustTold(o *forecast.Outlook, at *Moment, m *past, nowL float64) {
	f := Facts{Date: "2026-03-21", Chance: 0.8, VolumeL: 100}
	at.Now, *m = dusk.Add(time.Hour), past{}.and(Evening, "2026-03-20", f, dusk)
	o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, nowL
}

// Every kind that is told by role is told on its occasion, and on none that differs in what
// must silence it; a kind without an occasion, or with a silence left open, fails.
func TestWhatIsNotTold(t *testing.T) {
	all := occasions()
	for _, k := range KindsWhere((*Profile).ByRole) {
		c, known := all[k]
		if !known {
			t.Errorf("%s has no occasion: add to occasions() (not_told_test.go) when it is told and what silences it", k)
			continue
		}
		tell := func(silence func(*forecast.Outlook, *Moment, *past)) bool {
			o, at, m := quiet(), c.at, slices.Clone(c.memory)
			c.change(o)
			silence(o, &at, &m)
			told := false
			for _, d := range decide(t, o, m, at) {
				if p, _ := ProfileOf(d.Kind); len(p.Says) > 0 && !slices.Contains(p.Says, d.Facts.What) {
					t.Errorf("%s says %q, for which its row in kinds.go (Says) has no words", d.Kind, d.Facts.What)
				}
				told = told || d.Kind == k
			}
			return told
		}
		if !tell(func(*forecast.Outlook, *Moment, *past) {}) {
			t.Errorf("%s is not told on its occasion: is its rule called from Decide (rules.go)?", k)
		}
		for name, silence := range c.silences {
			if tell(silence) {
				t.Errorf("%s is told %s", k, name)
			}
		}
		for _, name := range silences {
			if (c.silences[name] == nil) == (c.cannot[name] == "") {
				t.Errorf("%s: want %q among its silences, or else among what it cannot have, with the reason; not both", k, name)
			}
		}
	}
}

// The end of the season holds back runs until somebody gathers after it; a run that is off
// is told at once, however soon after the evening.
func TestWhatIsToldAllTheSame(t *testing.T) {
	o, m := quiet(), past{}.and(EndHere, "2026", Facts{}, dusk.Add(-48*time.Hour))
	o.Days[1].RunProbability = 0.9
	for visit, want := range map[*time.Time]string{nil: "", at(17, 9): "", at(19, 9): "evening"} {
		o.Work.Groups = []forecast.GroupWork{{Group: "pails", SinceVisit: visit}}
		if got := kinds(decide(t, o, m, Moment{Now: dusk, Evening: true})); got != want {
			t.Errorf("last visit %v: %q, want %q", visit, got, want)
		}
	}
	o, at := quiet(), Moment{}
	eveningJustTold(o, &at, &m, 100)
	o.Days[1].RunProbability = 0.05
	if got := kinds(decide(t, o, m, at)); got != "change/called_off" {
		t.Errorf("a run that is off: %q", got)
	}
	o.Season.Stage, o.Work.Groups = season.Over, []forecast.GroupWork{{Group: "pails", SinceVisit: &dusk}}
	spring := springOf(&o.Season, &o.Work)
	if !spring.Open(dusk.Add(24*time.Hour)) || spring.Open(dusk.Add(20*24*time.Hour)) {
		t.Error("a late visit does not keep the season open for two weeks")
	}
}

// A quiet week is told of where the bush is tapped, the forecast sees far enough, its
// weather is new, and nothing of the kind was told within the week: each alone silences it.
func TestEachReasonSilencesTheQuietWeek(t *testing.T) {
	told := func(change func(o *forecast.Outlook, at *Moment, m *past)) bool {
		c := occasions()[QuietWeek]
		o, at, m := quiet(), c.at, c.memory
		if c.change != nil {
			c.change(o)
		}
		change(o, &at, &m)
		list, err := Decide(o, m, at, Usual)
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(list, func(d Decision) bool { return d.Kind == QuietWeek })
	}
	if !told(func(*forecast.Outlook, *Moment, *past) {}) {
		t.Fatal("a quiet week is not told of")
	}
	for what, change := range map[string]func(*forecast.Outlook, *Moment, *past){
		"not tapped":              inOutlook(func(o *forecast.Outlook) { o.Season.Tapped = false }),
		"the forecast is short":   inOutlook(func(o *forecast.Outlook) { o.Days = o.Days[:min(len(o.Days), quietDays)] }),
		"told the day before":     before(QuietWeek, "2026-03-18", Facts{}, 24*time.Hour),
		"a run at the week's end": inOutlook(func(o *forecast.Outlook) { o.Days[quietDays].RunProbability = Usual.RunProbability }),
	} {
		if told(change) {
			t.Errorf("%s: told all the same", what)
		}
	}
}

// Seven days that are each unlikely may well bring a run between them: then no day is clear, and
// "no run likely" is not said; the best day is named, and the chance is the week's.
func TestAWeekThatMayBringARunIsNotCalledQuiet(t *testing.T) {
	for _, c := range []struct {
		each, best, week, chance float64
		what                     string
	}{{0.02, 0.05, 0.1, 0.1, ""}, {0.02, 0.05, 0.24, 0.24, ""}, {0.1, 0.2, 0.25, 0.25, notClear}, {0.15, 0.28, 0.7, 0.7, notClear},
		{0.02, 0.28, 0, 0.28, notClear}, {0, 0, 0, 0, ""}} { // an outlook of an older daemon knows no week
		o := quiet()
		for i := range o.Days {
			o.Days[i].RunProbability = c.each
		}
		o.Days[4].RunProbability, o.Days[quietDays].RunByProbability, o.Days[quietDays+1].RunByProbability = c.best, c.week, 0.9
		list, err := Decide(o, past{}, Moment{Now: dusk, Evening: true}, Usual)
		if err != nil || len(list) != 1 || list[0].Kind != QuietWeek {
			t.Fatalf("%+v: %v %+v", c, err, list)
		}
		if f := list[0].Facts; f.What != c.what || f.Chance != c.chance || (f.Date == o.Days[4].Date) != (c.what != "") {
			t.Errorf("%+v: %+v", c, f)
		}
	}
}
