package web

import (
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// speaking is a view with words and nothing else.
func speaking(t *testing.T, language string, system units.System) *view {
	t.Helper()
	words, err := message.NewWords(message.Reader{Language: language, Units: system})
	if err != nil {
		t.Fatal(err)
	}
	return &view{words: words, system: system, Lang: language}
}

// The box says what the work says: who is due before the next evening goes, a later round
// is no reason to go now, and all that is carried in till then counts, a second round to a
// group too. Where rounds start at different hours it says from when on, as the text does.
func TestTheBoxQuotesTheWork(t *testing.T) {
	evening := time.Date(2026, 3, 20, 18, 30, 0, 0, time.UTC) // a Friday
	round := func(day, hour int, gallons float64, groups ...string) forecast.CrewRound {
		r := forecast.CrewRound{Start: time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC)}
		for _, g := range groups {
			r.Groups = append(r.Groups, forecast.RoundGroup{Group: g, Share: 1, VolumeL: gallons * 3.785})
		}
		return r
	}
	for _, c := range []struct {
		rounds []forecast.CrewRound
		want   string
	}{
		{[]forecast.CrewRound{round(21, 9, 100, "ridge")}, "Yes: tomorrow, Saturday 21 Mar at 9 am, about 100 gallons to gather then."},
		{[]forecast.CrewRound{round(24, 16, 100, "ridge")}, "Not yet: next Tuesday 24 Mar at 4 pm, about 100 gallons then."},
		{[]forecast.CrewRound{round(21, 8, 50, "ridge", "lane")}, "Yes: tomorrow, Saturday 21 Mar at 8 am, about 100 gallons to gather then."},
		{[]forecast.CrewRound{round(21, 8, 100, "ridge"), round(21, 15, 50, "lane"), round(21, 17, 20, "ridge"), round(23, 8, 90, "ridge")},
			"Yes: tomorrow, Saturday 21 Mar from 8 am on, about 170 gallons to gather."},
		{[]forecast.CrewRound{round(24, 8, 100, "ridge"), round(24, 17, 20, "ridge"), round(25, 8, 90, "lane")},
			"Not yet: next Tuesday 24 Mar from 8 am on, about 120 gallons."},
		{nil, "No need to gather in the next five days."},
	} {
		o := &forecast.Outlook{IssuedAt: evening, Work: forecast.Work{Until: evening.AddDate(0, 0, 1), Rounds: c.rounds}}
		for i := range c.rounds {
			for _, g := range c.rounds[i].Groups {
				if o.Work.Group(g.Group).Group == "" {
					o.Work.Groups = append(o.Work.Groups, forecast.GroupWork{Group: g.Group, Decision: forecast.Gather, GoAt: &c.rounds[i].Start})
				}
			}
		}
		if say := speaking(t, "en", units.US).words.NextRound(o, evening); say != c.want {
			t.Errorf("%q, want %q", say, c.want)
		}
	}
}
