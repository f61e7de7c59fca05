package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
)

// toldAt is a memory of hours for sugar that were told of at a moment.
type toldAt time.Time

func (m toldAt) Last(_ string, kind Kind, _ string) (Decision, time.Time, bool, error) {
	return Decision{Kind: kind}, time.Time(m), kind == DrySugar, nil
}

// Hours for sugar are told as a span with its chance: of tomorrow, of dry air, where
// there is syrup, in the season, before they begin, and at most once in seven days.
func TestHoursForSugar(t *testing.T) {
	evening := Moment{Now: dusk, Evening: true}
	span := boil.SugarSpan{Date: "2026-03-21", From: *at(21, 10), To: *at(21, 15), Chance: 0.84, HumidityPct: 41, Grade: boil.Dry}
	for name, c := range map[string]struct {
		change func(o *forecast.Outlook)
		memory Memory
		at     Moment
		want   string
	}{
		"tomorrow":              {func(*forecast.Outlook) {}, said{}, evening, "dry_sugar"},
		"told a week ago":       {func(*forecast.Outlook) {}, toldAt(dusk.AddDate(0, 0, -7)), evening, "dry_sugar"},
		"told six days ago":     {func(*forecast.Outlook) {}, toldAt(dusk.AddDate(0, 0, -6)), evening, ""},
		"told this evening":     {func(*forecast.Outlook) {}, toldAt(dusk), evening, ""},
		"no syrup":              {func(o *forecast.Outlook) { o.Sugar = nil }, said{}, evening, ""},
		"not dry, but fair":     {func(o *forecast.Outlook) { o.Sugar[0].Grade = boil.Fair }, said{}, evening, ""},
		"the day after":         {func(o *forecast.Outlook) { o.Sugar[0].Date = "2026-03-22" }, said{}, evening, ""},
		"today, and begun":      {func(o *forecast.Outlook) { o.Sugar[0].Date = "2026-03-20" }, said{}, evening, ""},
		"begun":                 {func(o *forecast.Outlook) { o.Sugar[0].From = dusk }, said{}, evening, ""},
		"the season is over":    {isOver("2026-02-01"), said{}, evening, ""},
		"nothing is tapped":     {func(o *forecast.Outlook) { o.Season.Tapped = false }, said{}, evening, ""},
		"at noon, for tomorrow": {func(*forecast.Outlook) {}, said{}, Moment{Now: dusk.Add(-6 * time.Hour)}, ""},
	} {
		o := quiet()
		o.Days[5].RunProbability = 0.5 // else the week is quiet
		o.Sugar = []boil.SugarSpan{span}
		c.change(o)
		list, err := Decide(o, c.memory, c.at, Usual)
		if err != nil {
			t.Fatal(err)
		}
		if got := kinds(list); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		for _, d := range list {
			if f := d.Facts; !f.At.Equal(span.From) || !f.Ends.Equal(span.To) || f.Chance != span.Chance ||
				f.Percentage != span.HumidityPct || f.Date != span.Date {
				t.Errorf("%s: other facts than the span's: %+v", name, f)
			}
			if !d.Until.Equal(span.From) {
				t.Errorf("%s: of use until %s, want until the span begins", name, d.Until)
			}
		}
	}
}
