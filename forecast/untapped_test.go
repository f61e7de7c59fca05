package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
)

// Until somebody says that taps are in (settings, a record of the taps, or a visit of this
// season) a bush has no work: no rounds, nothing that hangs, runs over or is asked. What its days
// would give is told all the same, since that is why anybody taps. A day of tapping of the year
// before says nothing, and where nobody is asked (a bush without settings, past seasons) taps
// count as in.
func TestNobodyIsSentToTapsThatNobodyPutIn(t *testing.T) {
	lastYear := march.AddDate(-1, 0, -10)
	visit := records.Visit{Group: "pails", CollectedAt: march.AddDate(0, 0, -1), Taps: 50, VolumeL: 80}
	event := records.TapEvent{Group: "pails", Kind: records.Tapped, On: march.AddDate(0, 0, -1)}
	for name, c := range map[string]struct {
		settings time.Time
		visits   []records.Visit
		events   []records.TapEvent
		asks     bool
		untapped bool
	}{
		"nobody has said":                    {time.Time{}, nil, nil, true, true},
		"by settings":                        {march.AddDate(0, 0, -1), nil, nil, true, false},
		"by settings, in a week":             {march.AddDate(0, 0, 7), nil, nil, true, true},
		"by settings, last year":             {lastYear, nil, nil, true, true},
		"by a visit":                         {time.Time{}, []records.Visit{visit}, nil, true, false},
		"by a visit, settings of last year":  {lastYear, []records.Visit{visit}, nil, true, false},
		"by a record":                        {time.Time{}, nil, []records.TapEvent{event}, true, false},
		"by a record, settings of last year": {lastYear, nil, []records.TapEvent{event}, true, false},
		"not asked":                          {time.Time{}, nil, nil, false, false},
	} {
		site := bush(t)
		site.Groups[0].Tapped = c.settings
		o := mustMake(t, Inputs{Site: site, Bulletin: waves(2, 8, 20, 10), Visits: c.visits, TapEvents: c.events, AsksTaps: c.asks,
			Now: march, Seed: 1})
		w, g := &o.Work, &o.Work.Groups[0]
		if w.Untapped != c.untapped || c.asks && o.Season.Tapped == c.untapped {
			t.Errorf("%s: untapped %v, season tapped %v", name, w.Untapped, o.Season.Tapped)
		}
		if idle := len(w.Rounds) == 0 && w.Without == 0 && g.Decision == NoWork && g.AloneProbability == 0 && g.KeepsUntil == nil &&
			!g.AskLevel && !g.AskRound && g.SinceVisit == nil; idle != c.untapped {
			t.Errorf("%s: %d rounds, %.0f L lost without, %+v", name, len(w.Rounds), w.Without, *g)
		}
		if d := &o.Days[1]; !c.settings.After(march) && (d.RunProbability < 0.5 || d.VolumeL.P50 < 10) {
			t.Errorf("%s: tomorrow %.2f, %.0f L", name, d.RunProbability, d.VolumeL.P50)
		}
	}
}

// Where somebody has said of some groups that their taps are in, by settings or a record, the
// others are left alone until it is said of them, or somebody writes down a round there: no
// round, nothing that hangs or runs over, and none of their sap in the days, the hours or the
// season. Where only rounds tell, or nobody is asked, all count as in.
func TestOtherGroupsThanThoseTappedAreLeftAlone(t *testing.T) {
	tapped := march.AddDate(0, 0, -5)
	event := func(group string) records.TapEvent {
		return records.TapEvent{Group: group, Kind: records.Tapped, On: tapped}
	}
	visit := func(group string) records.Visit {
		return records.Visit{Group: group, CollectedAt: march.AddDate(0, 0, -1), Taps: 50, VolumeL: 80}
	}
	make := func(change func(in *Inputs)) *Outlook {
		site := bush(t)
		site.Groups[0].Tapped = time.Time{}
		lane := site.Groups[0]
		lane.ID, lane.Name, lane.Taps = "lane", "lane", 3*lane.Taps
		site.Groups = append(site.Groups, lane)
		in := Inputs{Site: site, Bulletin: waves(2, 8, 20, 10), AsksTaps: true, Now: march, Seed: 1}
		change(&in)
		o := mustMake(t, in)
		return &o
	}
	alone := make(func(in *Inputs) {
		in.Site.Groups = in.Site.Groups[:1]
		in.TapEvents = []records.TapEvent{event("pails")}
	})
	for name, c := range map[string]struct {
		change func(in *Inputs)
		left   bool
	}{
		"a record of pails": {func(in *Inputs) { in.TapEvents = []records.TapEvent{event("pails")} }, true},
		"settings of pails": {func(in *Inputs) { in.Site.Groups[0].Tapped = tapped }, true},
		"settings of last year, a record": {func(in *Inputs) {
			in.Site.Groups[1].Tapped, in.TapEvents = tapped.AddDate(-1, 0, 0), []records.TapEvent{event("pails")}
		}, true},
		"records of both": {func(in *Inputs) { in.TapEvents = []records.TapEvent{event("pails"), event("lane")} }, false},
		"a record of pails, a round to lane": {func(in *Inputs) {
			in.TapEvents, in.Visits = []records.TapEvent{event("pails")}, []records.Visit{visit("lane")}
		}, false},
		"a round to pails": {func(in *Inputs) { in.Visits = []records.Visit{visit("pails")} }, false},
		"not asked":        {func(in *Inputs) { in.TapEvents, in.AsksTaps = []records.TapEvent{event("pails")}, false }, false},
	} {
		o := make(c.change)
		g := o.Work.Group("lane")
		if g.Untapped != c.left || o.Bush.IsIn("lane") == c.left || o.Work.Untapped || !o.Season.Tapped || o.Season.Closed != nil ||
			o.Bush.TapsIn() != o.Bush.Taps-map[bool]int{true: o.Bush.Groups[1].Taps}[c.left] {
			t.Errorf("%s: %+v, %d of %d taps in", name, g, o.Bush.TapsIn(), o.Bush.Taps)
		}
		goes := false
		for i := range o.Work.Rounds {
			for _, l := range o.Work.Rounds[i].Groups {
				goes = goes || l.Group == "lane"
			}
		}
		if idle := !goes && g.Decision == NoWork && g.HeldL.P90 == 0 && g.AloneProbability == 0 && g.KeepsUntil == nil && !g.AskLevel &&
			!g.AskRound; idle != c.left && (c.left || name != "a round to pails") {
			t.Errorf("%s: %+v, a round there %v", name, g, goes)
		}
		if !c.left {
			continue
		}
		for d := range o.Days {
			if a, b := o.Days[d].VolumeL.P50, alone.Days[d].VolumeL.P50; a > 1.2*b+1 || b > 1.2*a+1 {
				t.Errorf("%s: %s gives %.0f L, and %.0f L without lane", name, o.Days[d].Date, a, b)
			}
		}
		sum := func(o *Outlook) (l float64) {
			for _, q := range o.Hours.FlowLH.P50[o.Hours.Now:] {
				l += q
			}
			return l
		}
		if a, b := sum(o), sum(alone); a > 1.2*b || b > 1.2*a {
			t.Errorf("%s: the coming hours give %.0f L, and %.0f L without lane", name, a, b)
		}
		if o.Season.Sap == nil || alone.Season.Sap == nil {
			t.Fatalf("%s: nothing is said of the season's sap", name)
		}
		if a, b := o.Season.Sap.TotalL.P50, alone.Season.Sap.TotalL.P50; a > 1.2*b || b > 1.2*a {
			t.Errorf("%s: the season gives %.0f L, and %.0f L without lane", name, a, b)
		}
	}
	// Once those that were in are pulled, the season is over for the bush.
	over := make(func(in *Inputs) {
		pulled := event("pails")
		pulled.Kind, pulled.On = records.Pulled, march.AddDate(0, 0, -1)
		in.TapEvents = []records.TapEvent{event("pails"), pulled}
	})
	if over.Season.Closed == nil || len(over.Work.Rounds) > 0 || !over.Work.Group("pails").Pulled || over.Work.Group("lane").Pulled {
		t.Errorf("pails are pulled: %+v, %+v", over.Season.Closed, over.Work)
	}
}

// A look back at a season counts no sap of a group that nobody tapped while others were.
func TestLookBackLeavesUntappedGroupsOut(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped = time.Time{}
	lane := site.Groups[0]
	lane.ID, lane.Name, lane.Taps = "lane", "lane", 3*lane.Taps
	w := waves(2, 8, 20, 10).Course
	to := w.Time(w.Hours())
	event := func(group string) records.TapEvent {
		return records.TapEvent{Group: group, Kind: records.Tapped, On: w.Start()}
	}
	sum := func(groups []Group, events ...records.TapEvent) (l float64) {
		site.Groups = groups
		past, err := LookBack(PastInputs{Site: site, Weather: w, Taps: events, From: w.Start(), To: to})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range past.Days {
			if d.Known {
				l += d.MeanL
			}
		}
		return l
	}
	pails := site.Groups
	both := append([]Group{pails[0]}, lane)
	alone, left, all := sum(pails, event("pails")), sum(both, event("pails")), sum(both, event("pails"), event("lane"))
	if alone < 50 || math.Abs(left-alone) > 0.05*alone || all < 3*alone {
		t.Errorf("pails give %.0f L, %.0f L beside lane that is not tapped, %.0f L with it", alone, left, all)
	}
}

// A word that one group's taps are out says nothing of the others: they stay in.
func TestPullingOneGroupLeavesTheOthersIn(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped = time.Time{}
	lane := site.Groups[0]
	lane.ID = "lane"
	site.Groups = append(site.Groups, lane)
	pulled := records.TapEvent{Group: "pails", Kind: records.Pulled, On: march.AddDate(0, 0, -1)}
	if got := UntappedGroups(&site, nil, []records.TapEvent{pulled}, march); len(got) > 0 {
		t.Errorf("%v are not tapped", got)
	}
	tapped := records.TapEvent{Group: "pails", Kind: records.Tapped, On: march.AddDate(0, 0, -5)}
	if got := UntappedGroups(&site, nil, []records.TapEvent{tapped, pulled}, march); len(got) != 1 || got[0] != "lane" {
		t.Errorf("%v are not tapped, want lane", got)
	}
}
