package message

import (
	"slices"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

// BulletinSeconds is how long a bulletin takes to read aloud at most, at WordsPerMinute.
const BulletinSeconds = 60

// Bulletin is what radio, newsletter and school can say of an association's bushes: how
// many run tomorrow, the air, danger, and where the season is. It has nobody's name, nor
// anybody's litres. It is "" without any outlook of tomorrow.
func (w *Words) Bulletin(list []*forecast.Outlook, now time.Time) string {
	n := countBushes(list, now)
	if len(n.days) == 0 {
		return ""
	}
	open := w.Open()
	tomorrow := now.AddDate(0, 0, 1)
	said := []string{open.Say("bulletin_title", map[string]any{"Day": open.Weekday(now), "Date": open.Date(now)}) + "."}
	if moon := w.Moon(now); moon != "" {
		said = append(said, open.Say("bulletin_moon", map[string]any{"Moon": moon}))
	}
	if n.run == 0 && n.may == 0 {
		said = append(said, open.Say("bulletin_none", nil))
	} else {
		said = append(said, open.PluralWith("bulletin_run", n.run, map[string]any{"Of": len(n.days)}))
		if n.may > 0 {
			said = append(said, open.Plural("bulletin_may", n.may))
		}
	}
	if 2*n.big >= len(n.days) {
		said = append(said, open.Say("bulletin_big", map[string]any{"When": open.Weekday(tomorrow)}))
	}
	low, high := middle(n.days, func(d *forecast.Day) float64 { return d.TemperatureC.Min }),
		middle(n.days, func(d *forecast.Day) float64 { return d.TemperatureC.Max })
	said = append(said, open.Say("bulletin_air",
		map[string]any{"Low": units.PlainTemperature(low, w.reader.Units), "High": units.PlainTemperature(high, w.reader.Units)}))
	for _, d := range n.dangers {
		said = append(said, open.Say("bulletin_danger", map[string]any{"What": open.Say("danger_"+string(d), nil)}))
	}
	for _, stage := range []string{"bulletin_stage_before", "bulletin_stage_open", "bulletin_stage_under_way", "bulletin_stage_late",
		"bulletin_stage_over"} {
		if 2*n.stages[stage] > len(n.days) {
			said = append(said, open.Say(stage, nil))
		}
	}
	said = append(said, open.Say("bulletin_why", nil), open.Say("bulletin_care", nil))
	return w.written(settled(strings.Join(said, " ")))
}

// bushes counts what the outlooks of an association say of tomorrow.
type bushes struct {
	days          []*forecast.Day
	run, may, big int
	dangers       []forecast.DangerKind // each once, in the order in which they are met
	stages        map[string]int        // by the key of their words
}

func countBushes(list []*forecast.Outlook, now time.Time) bushes {
	n := bushes{stages: map[string]int{}}
	for _, o := range list {
		day := dayAfter(o, now)
		if day == nil {
			continue
		}
		n.days = append(n.days, day)
		switch {
		case o.Season.Closed != nil:
		case day.RunProbability >= 0.5:
			n.run++
		case day.RunProbability >= 0.25:
			n.may++
		}
		if day.RunProbability >= 0.5 && day.Class == forecast.StrongRun {
			n.big++
		}
		for i := range o.Work.Dangers {
			if d := &o.Work.Dangers[i]; d.What != forecast.DangerWarning && d.To.After(now) && d.From.Before(now.Add(36*time.Hour)) &&
				!slices.Contains(n.dangers, d.What) {
				n.dangers = append(n.dangers, d.What)
			}
		}
		n.stages[stageWord(&o.Season)]++
	}
	return n
}

// dayAfter is an outlook's day after a moment, nil where it does not reach there.
func dayAfter(o *forecast.Outlook, now time.Time) *forecast.Day {
	date := now.In(o.IssuedAt.Location()).AddDate(0, 0, 1).Format(time.DateOnly)
	for i := range o.Days {
		if o.Days[i].Date == date {
			return &o.Days[i]
		}
	}
	return nil
}

func stageWord(s *forecast.Season) string {
	switch {
	case s.Closed != nil || s.Stage == season.Over || s.Stage == season.Closed:
		return "bulletin_stage_over"
	case s.Stage == season.Late:
		return "bulletin_stage_late"
	case s.Tapped:
		return "bulletin_stage_under_way"
	case s.WorthTapping:
		return "bulletin_stage_open"
	}
	return "bulletin_stage_before"
}

// middle is the middle of a figure of days.
func middle(days []*forecast.Day, of func(*forecast.Day) float64) float64 {
	all := make([]float64, len(days))
	for i, d := range days {
		all[i] = of(d)
	}
	slices.Sort(all)
	return all[len(all)/2]
}
