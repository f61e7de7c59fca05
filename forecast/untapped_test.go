package forecast

import (
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
