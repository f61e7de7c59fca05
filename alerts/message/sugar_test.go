package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Hours for sugar are told from when to when, in the bush's own time, and how sure.
func TestHoursForSugarAreTold(t *testing.T) {
	made := outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	day := made.IssuedAt.AddDate(0, 0, 1)
	at := func(hour int) time.Time {
		return time.Date(day.Year(), day.Month(), day.Day(), hour, 0, 0, 0, made.IssuedAt.Location()).UTC()
	}
	d := alerts.Decision{Kind: alerts.DrySugar,
		Facts: alerts.Facts{Date: day.Format(time.DateOnly), At: at(10), Ends: at(15), Chance: 0.84, Percentage: 41}}
	for language, want := range map[string]string{"en": "Good air to stir sugar: tomorrow from 10 am to 3 pm, 8 in 10.",
		"fr": "L'air sera assez sec pour brasser le sucre demain de 10 h à 15 h, 8 fois sur 10."} {
		text := words(t, language, units.US).Alert(&d, &made)
		if n, ok := Septets(text); !strings.Contains(text, want) || !ok || n > SMSLimit {
			t.Errorf("%s: %q (%d septets), want %q", language, text, n, want)
		}
	}
}
