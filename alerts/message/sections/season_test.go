package sections

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// beforeTapping is a bush in March with two groups, of which none is tapped.
func beforeTapping() *forecast.Outlook {
	on := "2026-03-08"
	week := func(date string, early, later float64, gain forecast.Range) forecast.TapWeek {
		return forecast.TapWeek{On: date, SeasonL: forecast.Range{P10: 500, P50: 1000, P90: 2000}, EarlyL: early, LaterL: later,
			GainL: gain}
	}
	weeks := []forecast.TapWeek{week("2026-03-08", 0, 0, forecast.Range{}),
		week("2026-03-15", 200, 40, forecast.Range{P10: -30, P50: 150, P90: 400})}
	o := &forecast.Outlook{IssuedAt: time.Date(2026, 3, 8, 18, 0, 0, 0, time.UTC),
		Bush: forecast.Bush{Name: "Hill", Taps: 100, Groups: []forecast.GroupName{{ID: "a", Name: "Ridge"}, {ID: "b", Name: "Swamp"}}}}
	o.Season.End = forecast.SeasonEnd{P10: "2026-04-01", P50: "2026-04-08", P90: "2026-04-15"}
	o.Season.Sap = &forecast.SeasonSap{Whole: true, TotalL: forecast.Range{P10: 1000, P50: 2000, P90: 4000},
		ToComeL: forecast.Range{P50: 2000}}
	for _, g := range []forecast.GroupSeason{{Group: "a", Species: "sugar maple"}, {Group: "b", Species: "red maple"}} {
		g.End, g.TapWeeks, g.TapOn = o.Season.End, weeks, &on
		o.Season.Groups = append(o.Season.Groups, g)
	}
	return o
}

func seasonIn(t *testing.T, o *forecast.Outlook, language string, system units.System) (string, []Section) {
	t.Helper()
	w, err := message.NewWords(message.Reader{Language: language, Units: system})
	if err != nil {
		t.Fatal(err)
	}
	title, _ := SeasonAnswer(o, w)
	return title, OfSeason(o, w, system)
}

func saidIn(list []Section, name Name) (said string) {
	for _, s := range list {
		if s.Name == name {
			said += s.Title + "\n"
			for _, l := range s.Lines {
				said += l.Text + "\n"
			}
		}
	}
	return said
}

// Headline and table say the same: to tap where the headline does, to wait where it does
// not, by one rule.
func TestHeadlineAndTapTableAgree(t *testing.T) {
	o := beforeTapping()
	for _, worth := range []bool{true, false} {
		o.Season.WorthTapping = worth
		title, list := seasonIn(t, o, "en", units.US)
		said := saidIn(list, TapNow)
		if worth != (title == "Time to tap") ||
			worth != strings.Contains(said, "tap now. Waiting until 15 Mar costs about 40 gallons (−8 to 110)") ||
			worth == strings.Contains(said, "you can wait") {
			t.Errorf("worth tapping %v: %s\n%s", worth, title, said)
		}
		if !strings.Contains(said, "Swamp (red maple): ") || strings.Contains(said, "Ridge (") {
			t.Errorf("groups: %s", said)
		}
	}
	o.Season.Groups[0].TapOn = &o.Season.Groups[0].TapWeeks[1].On
	if _, list := seasonIn(t, o, "fr", units.Metric); !strings.Contains(saidIn(list, TapNow), "attendez. Le 15 mars donne le plus") {
		t.Error(saidIn(list, TapNow))
	}
	for language, want := range map[string][]string{"en": {"from 37 in", "2 in", "common practice", "ladder"},
		"fr": {"dès 94 cm", "copeaux", "usage", "échelle"}} {
		system := units.US
		if language == "fr" {
			system = units.Metric
		}
		_, list := seasonIn(t, o, language, system)
		said := saidIn(list, Boring)
		for _, s := range list {
			if s.Name == Boring {
				for _, row := range s.Rows {
					said += strings.ReplaceAll(strings.Trim(fmt.Sprint(row), "[]"), "\u00a0", " ") + "\n"
				}
			}
		}
		for _, w := range want {
			if !strings.Contains(strings.ReplaceAll(said, "\u00a0", " "), w) {
				t.Errorf("%s: %q is not in\n%s", language, w, said)
			}
		}
	}
	o.Season.Tapped = true
	if _, list := seasonIn(t, o, "en", units.US); saidIn(list, Boring) != "" {
		t.Error("told how to drill though it is tapped")
	}
}

// Of taps that are in it says whether to leave or to pull them, how much sweet sap is to
// come, and how old the holes are; nothing of litres once the season is over.
func TestPullOrWait(t *testing.T) {
	o := beforeTapping()
	o.Season.Tapped = true
	days, left := 40, 0.55
	g := &o.Season.Groups[0]
	g.TapWeeks, g.TapOn, g.HoleDays, g.HoleLeft = nil, nil, &days, &left
	g.Taps, g.ToComeL, g.Brix, g.OffChance = forecast.LeaveIn, forecast.Range{P10: 300, P50: 600, P90: 1200},
		forecast.Range{P10: 1.5, P50: 1.8, P90: 2.1}, 0.12
	_, list := seasonIn(t, o, "en", units.Metric)
	want := "Ridge: leave the taps in. About 600 litres to come (300 to 1200) at 1.5 to 2.1 °Brix. Good sap likely ends between 1 Apr and 15 Apr. Chance that it already tastes off: 12\u00a0%. Holes 40 days old: they still give 55\u00a0% of what fresh ones would.\n"
	if said := saidIn(list, TapsIn); !strings.HasSuffix(said, want) || strings.Contains(said, "Swamp") {
		t.Error(said)
	}
	g.Taps, o.Season.Sap, g.ToComeL = forecast.PullNow, nil, forecast.Range{}
	_, list = seasonIn(t, o, "en", units.Metric)
	if said := saidIn(list, TapsIn); !strings.Contains(said, "taste it, and pull the taps if it is off") ||
		strings.Contains(said, "to come") {
		t.Error(said)
	}
	for _, c := range []struct {
		share float64
		want  string
	}{{0.9, "Nearly all"}, {0.5, "About half"}, {0.02, "Hardly any"}} {
		share, want := c.share, c.want
		o.Season.Sap = &forecast.SeasonSap{Whole: true, SoFarL: forecast.Range{P50: 1000 * (1 - share)},
			ToComeL: forecast.Range{P50: 1000 * share}}
		if title, _ := seasonIn(t, o, "en", units.US); !strings.HasPrefix(title, want) {
			t.Errorf("%.2f: %s", share, title)
		}
	}
}
