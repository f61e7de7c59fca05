package alerts

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/season"
)

// said is a memory of one decision of each kind.
type said map[Kind]Decision

func (s said) Last(_ string, kind Kind, _ string) (Decision, time.Time, bool, error) {
	d, ok := s[kind]
	return d, time.Time{}, ok, nil
}

// past is a memory of decisions and when they were made.
type past []struct {
	Decision
	at time.Time
}

func (p past) Last(_ string, kind Kind, begins string) (Decision, time.Time, bool, error) {
	for i := len(p) - 1; i >= 0; i-- {
		if p[i].Kind == kind && strings.HasPrefix(p[i].Key, string(kind)+":"+begins) {
			return p[i].Decision, p[i].at, true, nil
		}
	}
	return Decision{}, time.Time{}, false, nil
}

// and adds what was told at a moment.
func (p past) and(k Kind, key string, f Facts, at time.Time) past {
	return append(slices.Clip(p), struct {
		Decision
		at time.Time
	}{Decision{Kind: k, Key: string(k) + ":" + key, Facts: f}, at})
}

// lost is a memory that can't be read.
type lost struct{}

func (lost) Last(string, Kind, string) (Decision, time.Time, bool, error) {
	return Decision{}, time.Time{}, false, errors.New("the ledger can't be read")
}

// decide is Decide with a memory that can be read.
func decide(t *testing.T, o *forecast.Outlook, m Memory, at Moment) []Decision {
	t.Helper()
	if m == nil {
		m = said{}
	}
	list, err := Decide(o, m, at, Usual)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

var (
	zone = time.FixedZone("EDT", -4*3600)
	dusk = time.Date(2026, 3, 20, 18, 30, 0, 0, zone)
)

func at(day, hour int) *time.Time {
	t := time.Date(2026, 3, day, hour, 0, 0, 0, zone)
	return &t
}

// quiet is an outlook in which nothing happens.
func quiet() *forecast.Outlook {
	o := &forecast.Outlook{Site: "hill", IssuedAt: dusk,
		Bush:   forecast.Bush{Name: "Hill", Taps: 50, Groups: []forecast.GroupName{{ID: "pails", Name: "pails", Taps: 50, CapacityL: 375}}},
		Source: forecast.Source{Name: "nws", IssuedAt: dusk.Add(-time.Hour), AgeHours: 1},
		Season: forecast.Season{Stage: season.Opened, Tapped: true,
			End: forecast.SeasonEnd{P10: "2026-04-10", P50: "2026-04-20", P90: "2026-04-30"}}}
	for d := 20; d < 30; d++ {
		o.Days = append(o.Days, forecast.Day{Date: time.Date(2026, 3, d, 0, 0, 0, 0, zone).Format(time.DateOnly),
			TemperatureC: forecast.MinMax{Min: -3, Max: -1}})
	}
	return o
}

// hoursFrom are two days of hours from a moment on, with one temperature before the
// hour now and another one after it.
func hoursFrom(start time.Time, now int, before, after float64) forecast.Hours {
	h := forecast.Hours{Start: start, Now: now}
	for i := range 48 {
		c := before
		if i >= now {
			c = after
		}
		h.TemperatureC.P50 = append(h.TemperatureC.P50, c)
	}
	return h
}

// hang lets the bush be one group of which something is known.
func hang(o *forecast.Outlook, g forecast.GroupWork) {
	if full := o.Bush.CapacityL(g.Group); full > 0 {
		g.CapacityL = &full
	}
	o.Work.Groups = []forecast.GroupWork{g}
}

func litres(l float64) forecast.Range { return forecast.Range{P10: l, P50: l, P90: l} }

func kinds(list []Decision) string {
	var out []string
	for _, d := range list {
		k := string(d.Kind)
		if d.Facts.What != "" && (d.Kind == Change || d.Kind == BoilBy) {
			k += "/" + d.Facts.What
		}
		out = append(out, k)
	}
	return strings.Join(out, " ")
}

func TestRules(t *testing.T) {
	evening, noon := Moment{Now: dusk, Evening: true}, Moment{Now: dusk.Add(-6 * time.Hour), Evening: false}
	announced := past{}.and(Evening, "2026-03-20", Facts{Date: "2026-03-21", Chance: 0.8, VolumeL: 100, Window: *at(21, 14)},
		dusk.Add(-24*time.Hour))
	morning, night := Moment{Now: *at(21, 7)}, Moment{Now: *at(20, 23)}
	earlier := func(o *forecast.Outlook) {
		d := &o.Days[1]
		d.RunProbability, d.VolumeL.P50, d.Window = 0.9, 100, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
	}
	seen := func(reports, hour int) func(*forecast.Outlook) {
		return func(o *forecast.Outlook) {
			earlier(o)
			o.Days[1].Window.Start, o.Eyes = *at(21, hour), forecast.Eyes{Reports: reports, WarmerK: 1, SDK: 0.7}
		}
	}
	keeps := func(day, hour int) func(*forecast.Outlook) {
		return func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(100), KeepsUntil: at(day, hour)})
			o.Work.Until = *at(20, 18)
		}
	}
	week := past{}.and(QuietWeek, "2026-03-18", Facts{}, dusk.AddDate(0, 0, -2))
	for name, c := range map[string]struct {
		change func(o *forecast.Outlook)
		memory Memory
		at     Moment
		want   string
	}{
		"nothing":                 {func(*forecast.Outlook) {}, nil, evening, "quiet_week"},
		"nothing again":           {func(*forecast.Outlook) {}, week, evening, ""},
		"a run tomorrow":          {func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.3 }, nil, evening, "evening"},
		"too small a chance":      {func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.29 }, nil, evening, "quiet_week"},
		"a run tomorrow, at noon": {func(o *forecast.Outlook) { o.Days[1].RunProbability = 0.9 }, nil, noon, ""},
		"the day after an announced": {func(*forecast.Outlook) {}, said{Evening: {Facts: Facts{Date: "2026-03-20", Chance: 0.5}}},
			evening, "evening"},
		"beyond the forecast": {func(o *forecast.Outlook) { o.Days = o.Days[:1] },
			past{}.and(StaleFeed, "2026-03-19", Facts{}, dusk.AddDate(0, 0, -1)), evening, "no_forecast"},
		"called off": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.1, 0 },
			announced, noon, "change/called_off"},
		"less likely, but not off": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.11, 50 },
			announced, noon, ""},
		"twice as much": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, 200 },
			announced, morning, "change/more"},
		"twice as much, by night": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, 200 },
			announced, night, ""},
		"off, by night": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.1, 0 },
			announced, night, "change/called_off"},
		"a little more": {func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, 190 },
			announced, morning, ""},
		"earlier": {earlier, announced, morning, "change/earlier"},
		// What people see near by is told for less than a forecast is, and after the run has
		// begun, while there is time to gain.
		"a little earlier":             {seen(0, 11), announced, morning, ""},
		"a little earlier, seen":       {seen(3, 11), announced, morning, "change/seen"},
		"hardly earlier, seen":         {seen(3, 13), announced, morning, ""},
		"it runs already":              {seen(0, 11), announced, Moment{Now: *at(21, 12)}, ""},
		"it runs already, seen":        {seen(3, 11), announced, Moment{Now: *at(21, 12)}, "change/seen"},
		"about to run as told, seen":   {seen(3, 11), announced, Moment{Now: at(21, 13).Add(10 * time.Minute)}, ""},
		"a little earlier, by night":   {seen(3, 11), announced, Moment{Now: *at(21, 4)}, ""},
		"seen the evening before":      {seen(3, 11), announced, night, ""},
		"earlier and more, both, seen": {func(o *forecast.Outlook) { seen(3, 11)(o); o.Days[1].VolumeL.P50 = 250 }, announced, morning, "change/seen"},
		"called off, and on again": {func(o *forecast.Outlook) {
			d := &o.Days[1]
			d.RunProbability, d.Window = 0.6, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
		}, announced.and(Change, "2026-03-21:called_off", Facts{Date: "2026-03-21", What: "called_off"}, *at(21, 6)), morning, "change/after_all"},
		"called off, and little more likely again": {func(o *forecast.Outlook) {
			d := &o.Days[1]
			d.RunProbability, d.Window = 0.59, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
		}, announced.and(Change, "2026-03-21:called_off", Facts{Date: "2026-03-21", What: "called_off"}, *at(21, 6)), morning, ""},
		"after all, by night": {func(o *forecast.Outlook) {
			d := &o.Days[1]
			d.RunProbability, d.Window = 0.9, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
		}, nil, Moment{Now: *at(21, 4)}, ""},
		"after all": {func(o *forecast.Outlook) {
			d := &o.Days[1]
			d.RunProbability, d.Window = 0.9, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
		}, nil, morning, "change/after_all"},
		"earlier, by night": {earlier, announced, Moment{Now: *at(21, 4)}, ""},
		"runs over": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.5, AloneOverAt: at(21, 15)})
		}, nil, noon, "overflow"},
		"may run over": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.49, AloneOverAt: at(21, 15)})
		}, nil, noon, ""},
		"runs over in days": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: at(22, 15)})
		}, nil, noon, ""},
		"hard frost on full pails": {func(o *forecast.Outlook) {
			o.Days[1].TemperatureC.Min = -9
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
		}, nil, noon, "hard_freeze"},
		"a hard frost that is over": {func(o *forecast.Outlook) {
			o.Days[0].TemperatureC.Min = -12
			o.Hours = hoursFrom(*at(20, 0), 12, -12, 0)
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
		}, nil, noon, ""},
		"a hard frost later today": {func(o *forecast.Outlook) {
			o.Days[0].TemperatureC.Min = -12
			o.Hours = hoursFrom(*at(20, 0), 12, 0, -9)
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
		}, nil, noon, "hard_freeze"},
		"frost that full pails bear": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
		}, nil, noon, ""},
		"hard frost on empty pails": {func(o *forecast.Outlook) {
			o.Days[1].TemperatureC.Min = -9
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(100)})
		}, nil, noon, ""},
		"old sap": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", HeldL: litres(100), KeepsUntil: at(21, 8)})
		}, nil, noon, "boil_by"},
		"old sap, hours after tomorrow's light":  {keeps(21, 10), nil, noon, ""},
		"old sap, and no light before":           {keeps(21, 9), nil, noon, "boil_by"},
		"old sap that the evening tells in time": {keeps(21, 10), week, evening, "boil_by"},
		"old sap that nobody gets to in time": {func(o *forecast.Outlook) {
			keeps(20, 23)(o)
			o.Work.Until, o.Work.Groups[0].Decision = *at(21, 18), forecast.TipOut
		}, week, evening, ""},
		"and by day, while somebody still may": {func(o *forecast.Outlook) {
			keeps(20,
				23)(o)
			o.Work.Groups[0].Decision = forecast.TipOut
		}, nil, noon, "boil_by"},
		"but not by night": {func(o *forecast.Outlook) {
			keeps(21, 5)(o)
			o.Work.Until, o.Work.Groups[0].Decision = *at(21, 18), forecast.TipOut
		}, nil, night, ""},
		"sap that has gone bad": {func(o *forecast.Outlook) {
			o.Days[1].TemperatureC.Min = -9
			hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.TipOut, HeldL: litres(300), KeepsUntil: at(20, 8),
				AloneProbability: 0.9, AloneOverAt: at(21, 15)})
		}, nil, evening, "boil_by/tip_out"},
		"sap that has gone bad, beside an evening text, which says it": {func(o *forecast.Outlook) {
			o.Days[1].RunProbability = 0.9
			hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.TipOut, HeldL: litres(300), KeepsUntil: at(20, 8)})
		}, nil, evening, "evening"},
		"sap that has gone bad, at noon": {func(o *forecast.Outlook) {
			hang(o, forecast.GroupWork{Group: "pails", Decision: forecast.TipOut, HeldL: litres(300), KeepsUntil: at(20, 8)})
		}, nil, noon, ""},
		"worth tapping": {func(o *forecast.Outlook) { o.Season.Tapped, o.Season.WorthTapping = false, true }, nil, evening,
			"season_opens"},
		"the end is near": {func(o *forecast.Outlook) { o.Season.End.P50 = "2026-03-28" }, nil, evening, "end_near"},
		"the end is here": {isOver("2026-03-20"), nil, evening, "end_here"},
		"dry air": {func(o *forecast.Outlook) {
			o.Sugar = []boil.SugarSpan{{Date: "2026-03-21", From: *at(21, 13), To: *at(21, 17), Chance: 0.9, Grade: boil.Dry}}
		}, nil, evening, "dry_sugar"},
		"fair air": {func(o *forecast.Outlook) {
			o.Sugar = []boil.SugarSpan{{Date: "2026-03-21", From: *at(21, 13), To: *at(21, 17), Chance: 0.9, Grade: boil.Fair}}
		}, week, evening, ""},
		"a day for learners": {func(o *forecast.Outlook) {
			o.Teaching = []forecast.TeachingDay{{Date: "2026-03-21", Score: 95}, {Date: "2026-03-22", Score: 80}}
		}, nil, evening, "learners"},
		"wind": {func(o *forecast.Outlook) {
			o.Cautions = []forecast.Caution{forecast.CautionWind, forecast.CautionHotPan}
		}, nil, evening, "danger"},
		"an old forecast": {func(o *forecast.Outlook) { o.Source.AgeHours = 24 }, nil, noon, "stale_feed"},
	} {
		o := quiet()
		c.change(o)
		list := decide(t, o, c.memory, c.at)
		if got := kinds(list); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		for _, d := range list {
			if len(d.Why) < 2 || d.Key == "" || d.Site != "hill" || !d.Until.After(c.at.Now) {
				t.Errorf("%s: %+v", name, d)
			}
		}
	}
}

// The same outlook again gives the same keys, which the ledger drops; a new
// visit begins a new episode.
func TestKeysNameEpisodes(t *testing.T) {
	o := quiet()
	hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: at(21, 15), SinceVisit: at(19, 17)})
	first := decide(t, o, said{}, Moment{Now: dusk})
	again := decide(t, o, said{}, Moment{Now: dusk.Add(3 * time.Hour)})
	o.Work.Groups[0].SinceVisit = at(20, 17)
	later := decide(t, o, said{}, Moment{Now: dusk.Add(3 * time.Hour)})
	if first[0].Key != again[0].Key || first[0].Key == later[0].Key {
		t.Errorf("%s %s %s", first[0].Key, again[0].Key, later[0].Key)
	}
}

// Whether a run was announced must be known before it is told of "after all".
func TestNothingIsDecidedWithoutMemory(t *testing.T) {
	o := quiet()
	o.Days[0].RunProbability, o.Days[0].VolumeL.P50, o.Days[0].Window = 0.9, 100, &forecast.Window{Start: *at(20, 10), End: *at(20, 18)}
	noon := Moment{Now: dusk.Add(-6 * time.Hour), Evening: false}
	if got := kinds(decide(t, o, nil, noon)); got != "change/after_all" {
		t.Error(got)
	}
	if list, err := Decide(o, lost{}, noon, Usual); err == nil || len(list) > 0 {
		t.Errorf("%v %v", err, kinds(list))
	}
}

// rounds lets somebody go to the group that hangs.
func rounds(o *forecast.Outlook, goAt, latest *time.Time, overBefore float64) {
	g := &o.Work.Groups[0]
	g.Decision, g.GoAt, g.Latest, g.VolumeL, g.OverflowProbability, g.Why = forecast.Gather, goAt, latest, &forecast.Range{},
		overBefore, "overflow"
	o.Work.Until = *at(21, 18)
}

// A group to which the evening text sends somebody in time is told of there, and not once
// more; one that likely runs over first, or that nobody went to, is.
func TestForeseenOverflowsAreNotToldTwice(t *testing.T) {
	evening, night := Moment{Now: dusk, Evening: true}, Moment{Now: dusk.Add(3 * time.Hour)}
	named := said{Evening: {Kind: Evening, Facts: Facts{Date: "2026-03-21", Rounds: []NamedRound{{"pails", *at(21, 14)}}}}}
	for name, c := range map[string]struct {
		overBefore float64
		memory     said
		at         Moment
		want       string
	}{
		"named now":                  {0.1, nil, evening, "evening"},
		"named in the evening":       {0.1, named, night, ""},
		"named, but too late":        {0.6, nil, evening, "evening overflow"},
		"not named":                  {0.1, said{}, night, "overflow"},
		"named, and nobody has gone": {0.1, named, Moment{Now: *at(21, 17)}, "overflow"},
	} {
		o := quiet()
		hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneLossL: 40, AloneOverAt: at(21, 20)})
		rounds(o, at(21, 14), at(21, 16), c.overBefore)
		if got := kinds(decide(t, o, c.memory, c.at)); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// The overflow names the moment by which the plan still helps.
func TestOverflowNamesThePlansDeadline(t *testing.T) {
	o := quiet()
	hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneLossL: 40, AloneOverAt: at(21, 20)})
	rounds(o, at(21, 14), at(21, 16), 0.1)
	for _, d := range decide(t, o, said{}, Moment{Now: dusk}) {
		if d.Kind == Overflow {
			if !d.Facts.At.Equal(*at(21, 16)) {
				t.Errorf("gather by %s", d.Facts.At)
			}
			return
		}
	}
	t.Error("no overflow")
}

// Calling off stays well below announcing, however seldom somebody wants to be told.
func TestAnnouncingFromAnotherChance(t *testing.T) {
	for _, c := range []struct{ from, calledOff float64 }{{0.6, 0.1}, {0.15, 0.05}} {
		th := Usual
		th.AnnounceFrom(c.from)
		if th.RunProbability != c.from || math.Abs(th.CalledOff-c.calledOff) > 1e-9 {
			t.Errorf("from %g: %+v", c.from, th)
		}
	}
}

// An overflow alert quotes the plan, and sends nobody in the dark.
func TestNobodyIsSentInTheDark(t *testing.T) {
	noon := *at(20, 12)
	for name, c := range map[string]struct {
		start, latest, over *time.Time
		now                 time.Time
		by                  *time.Time
		what                string
	}{
		"a round in time":               {at(21, 9), at(21, 11), at(21, 15), noon, at(21, 11), ""},
		"its latest start is too late":  {at(21, 9), at(21, 16), at(21, 15), noon, at(21, 9), ""},
		"a round after it, by night":    {at(21, 8), at(21, 8), at(21, 3), noon, at(21, 8), "late"},
		"no round, by day":              {nil, nil, at(21, 15), noon, at(21, 15), ""},
		"no round, by night":            {nil, nil, at(21, 3), noon, at(20, 17), ""},
		"no round, late in the evening": {nil, nil, at(20, 22), noon, at(20, 17), ""},
		"no round, and it is dark":      {nil, nil, at(21, 3), *at(20, 19), at(21, 8), "late"},
		"no round, over soon":           {nil, nil, at(20, 22), *at(20, 19), at(21, 8), "late"},
	} {
		o := quiet()
		hang(o, forecast.GroupWork{Group: "pails", GoAt: c.start, Latest: c.latest, AloneProbability: 0.9, AloneOverAt: c.over})
		list := decide(t, o, nil, Moment{Now: c.now})
		if len(list) != 1 || list[0].Kind != Overflow || !list[0].Facts.At.Equal(*c.by) || list[0].Facts.What != c.what ||
			!list[0].Facts.Due.Equal(*c.over) || list[0].Until.Before(*c.by) {
			t.Errorf("%s: %+v", name, list)
		}
	}
}

// Who was told that a run is off hears once that it comes after all, by day and while it can be
// used: a chance that goes up and down hour by hour tells off once and on once, whenever it
// was called off, and a run that was never called off is not told again.
func TestARunThatIsOffAndOnAgainIsToldOnce(t *testing.T) {
	for name, c := range map[string]struct {
		chances map[int]float64 // by the hour after midnight of the 21st, from the evening before on
		want    string
	}{
		"off at night, on in the morning":   {map[int]float64{-1: 0.02, 7: 0.9}, "called_off -1, after_all 7"},
		"off in the morning, on soon after": {map[int]float64{6: 0.02, 9: 0.9}, "called_off 6, after_all 9"},
		"up and down all day": {map[int]float64{-2: 0.02, -1: 0.9, 0: 0.05, 2: 0.95, 4: 0.02, 5: 0.9, 6: 0.02, 7: 0.9, 8: 0.02, 9: 0.9, 10: 0.02, 11: 0.9},
			"called_off -2, after_all 5"},
		"off, and never sure again":       {map[int]float64{-1: 0.02, 7: 0.5}, "called_off -1"},
		"on again too late to be of use":  {map[int]float64{6: 0.02, 15: 0.9}, "called_off 6"},
		"never off":                       {map[int]float64{6: 0.7, 9: 0.95}, ""},
		"on again by night, off at dawn":  {map[int]float64{-1: 0.02, 1: 0.9, 5: 0.03}, "called_off -1"},
		"off, then gone for the rest too": {map[int]float64{-1: 0.02, 7: 0.9, 8: 0.01, 12: 0.01}, "called_off -1, after_all 7"},
	} {
		m := &notes{}
		evening := Facts{Date: "2026-03-21", Chance: 0.8, VolumeL: 100, Announced: true, Window: *at(21, 10), Taps: 50}
		m.add([]Decision{{Kind: Evening, Key: "evening:2026-03-20", Facts: evening}}, dusk)
		o, chance := quiet(), 0.8
		var got []string
		for hour := -5; hour < 24; hour++ {
			if x, turns := c.chances[hour]; turns {
				chance = x
			}
			d := &o.Days[1]
			d.RunProbability, d.VolumeL.P50, d.Window = chance, 100, &forecast.Window{Start: *at(21, 10), End: *at(21, 18)}
			now := at(21, 0).Add(time.Duration(hour) * time.Hour)
			list := decide(t, o, m, Moment{Now: now})
			before := len(m.list)
			m.add(list, now)
			for _, d := range m.list[before:] {
				if d.Kind == Change {
					got = append(got, fmt.Sprint(d.Facts.What, " ", hour))
				}
			}
		}
		if said := strings.Join(got, ", "); said != c.want {
			t.Errorf("%s: told %q, want %q", name, said, c.want)
		}
	}
}
