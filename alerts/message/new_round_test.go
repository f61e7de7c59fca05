package message

import (
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// News of a round names its groups, hour, people and sap as the evening text does, and no
// group that people know of already.
func TestNewRoundInWords(t *testing.T) {
	now := time.Date(2026, 3, 21, 5, 38, 0, 0, time.UTC)
	nine, eight := time.Date(2026, 3, 21, 9, 0, 0, 0, time.UTC), time.Date(2026, 3, 21, 8, 0, 0, 0, time.UTC)
	o := &forecast.Outlook{Site: "hill", IssuedAt: now}
	o.Bush = forecast.Bush{Name: "Hill", Groups: []forecast.GroupName{{ID: "ridge", Name: "Ridge"}, {ID: "lane", Name: "Lane"}},
		People: []forecast.PersonName{{ID: "ann", Name: "Ann"}}}
	load := func(group string, l float64) []forecast.RoundGroup {
		return []forecast.RoundGroup{{Group: group, Share: 1, VolumeL: l, LowL: l / 2, HighL: 2 * l}}
	}
	o.Work = forecast.Work{Until: now.Add(13 * time.Hour), Rounds: []forecast.CrewRound{{Start: eight, Groups: load("lane", 400)},
		{Start: nine, Who: []string{"ann"}, Groups: load("ridge", 150)}},
		Groups: []forecast.GroupWork{{Group: "ridge", Decision: forecast.Gather, GoAt: &nine, Who: []string{"ann"}},
			{Group: "lane", Decision: forecast.Gather, GoAt: &eight}}}
	d := alerts.Decision{Kind: alerts.NewRound, Facts: alerts.Facts{New: []alerts.NamedRound{{Group: "ridge", At: nine}}}}
	for what, want := range map[string]map[string]string{
		"": {"en": "Hill: Added to the plan. Gather Ridge today 9 am (Ann): 40 gallons (20 to 80).",
			"fr": "Hill: Ajouté au plan. A ramasser aujourd'hui à 9 h (Ann) : Ridge, 150 litres (75 à 300)."},
		"moved": {"en": "Hill: The plan has changed. Gather Ridge today 9 am (Ann): 40 gallons (20 to 80).",
			"fr": "Hill: Le plan a changé. A ramasser aujourd'hui à 9 h (Ann) : Ridge, 150 litres (75 à 300)."},
	} {
		d.Facts.What = what
		for language, text := range want {
			system := map[string]units.System{"en": units.US, "fr": units.Metric}[language]
			if got := words(t, language, system).Alert(&d, o); got != text {
				t.Errorf("%s: %s, want %s", language, got, text)
			}
		}
	}
}
