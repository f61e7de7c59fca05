package message

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// What is said about a source is said in every language, each kind with all it knows.
func TestSourcesAreToldInEveryLanguage(t *testing.T) {
	for _, language := range []string{"en", "fr"} {
		w := words(t, language, units.US)
		for _, kind := range weather.RemarkKinds() {
			r := weather.Remark{Kind: kind, Name: "hill", Why: "because", Hours: 3, Of: 9, FromM: 100, ToM: 300,
				Since: time.Date(2026, 3, 8, 6, 0, 0, 0, time.UTC)}
			if said := w.Remark(&r); said == "" || strings.HasPrefix(said, "remark_") || strings.Contains(said, "<no value>") {
				t.Errorf("%s, %s: %q", language, kind, said)
			}
		}
		for _, kind := range []source.FaultKind{source.Unreachable, source.Refused, source.Busy, source.Unreadable, source.Outdated,
			source.Outside} {
			said := w.PassedOver(forecast.PassedOver{Service: "nws", Kind: string(kind), Detail: "no answer"})
			if !strings.Contains(said, "National Weather Service") || !strings.Contains(said, "no answer") {
				t.Errorf("%s, %s: %q", language, kind, said)
			}
		}
	}
	if said := words(t, "fr", units.US).Service("environment_canada"); said != "Environnement Canada" {
		t.Error(said)
	}
	if said := words(t, "en", units.US).Service("another"); said != "another" {
		t.Error(said)
	}
	if said := words(t, "fr", units.US).Remark(&weather.Remark{Kind: weather.CarriedHeight, FromM: 304.8,
		ToM: 609.6}); !strings.Contains(said, "de 1000 pi à la hauteur de l'érablière (2000 pi)") {
		t.Error(said)
	}
}

// How old the weather is, is said once it is not fresh any more.
func TestAgeOfWeather(t *testing.T) {
	en, fr := words(t, "en", units.US), words(t, "fr", units.US)
	for hours, want := range map[float64][2]string{
		0:   {"", ""},
		8.4: {"", ""},
		8.5: {"Weather 9 hours old", "Météo d'il y a 9 h"},
		18:  {"OLD WEATHER, 18 hours", "MÉTÉO PÉRIMÉE, 18 heures"},
	} {
		s := forecast.Source{AgeHours: hours}
		if got := [2]string{en.WeatherAge(&s), fr.WeatherAge(&s)}; got != want {
			t.Errorf("%.2f h: %q", hours, got)
		}
	}
	if got := en.WeatherAge(&forecast.Source{Kept: true, AgeHours: 0.2}); got != "OLD WEATHER, 1 hour" {
		t.Error(got)
	}
}
