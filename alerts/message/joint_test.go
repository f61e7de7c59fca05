package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// A joint message says the bush's name and the age of the weather once, keeps whole
// sentences, and leaves one text as it is.
func TestJoint(t *testing.T) {
	for _, c := range []struct {
		name  string
		texts []string
		want  string
	}{
		{"Hill", []string{"Hill: Sap runs. Weather 10 hours old."}, "Hill: Sap runs. Weather 10 hours old."},
		{"Hill", []string{"Hill: Pails run over. Weather 10 hours old.", "Hill: Sap runs. Low 24 F. Weather 10 hours old."},
			"Hill: Pails run over.\nSap runs. Low 24 F. Weather 10 hours old."},
		{"St. Albans: upper", []string{"St. Albans: upper: A. OLD WEATHER, 2 days.", "St. Albans: upper: B. OLD WEATHER, 2 days."},
			"St. Albans: upper: A.\nB. OLD WEATHER, 2 days."},
		{"Odell's old sugarbush behind the upper road",
			[]string{"Odell's old: A. Weather 9 hours old.", "Odell's old sugarbush behind the upper: B. Weather 9 hours old.",
				"C. Weather 9 hours old."}, "Odell's old sugarbush behind the upper: A.\nB.\nC. Weather 9 hours old."},
		{"Hill", []string{"Hill: A. Weather 10 hours old.", "Hill: B. Weather 17 hours old."},
			"Hill: A. Weather 10 hours old.\nB. Weather 17 hours old."},
		{"Hill", []string{"Hill: North will run over. Gather by Friday 3 pm.", "Hill: South will run over. Gather by Friday 3 pm."},
			"Hill: North will run over. Gather by Friday 3 pm.\nSouth will run over. Gather by Friday 3 pm."},
		{"Hill", []string{"Hill: North will run over. Mind ice, limbs and heavy pails; not alone.",
			"Hill: South will run over. Mind ice, limbs and heavy pails; not alone."},
			"Hill: North will run over.\nSouth will run over. Mind ice, limbs and heavy pails; not alone."},
		{"Hill", []string{"ann has not answered: Hill: A.", "ann has not answered: Hill: B."},
			"ann has not answered: Hill: A.\nann has not answered: Hill: B."},
		{"Hill", []string{"Hill: A.", "Hill: A."}, "Hill: A."},
		{"Hill", []string{"Hill: Sap runs.", "Hill. Pails: did any run over yesterday? Answer Y or N."},
			"Hill: Sap runs.\nPails: did any run over yesterday? Answer Y or N."},
		{"", []string{"A.", "B."}, "A.\nB."},
	} {
		if got := words(t, "en", units.US).Joint(c.name, c.texts); got != c.want {
			t.Errorf("%q: got %q, want %q", c.texts, got, c.want)
		}
	}
	french := []string{"Érablière: Ridge : ça déborde. MÉTÉO PÉRIMÉE, 26 heures.",
		"Érablière: Ridge : l'eau tourne. MÉTÉO PÉRIMÉE, 26 heures."}
	if got, want := words(t, "fr", units.Metric).Joint("Érablière", french),
		"Érablière: Ridge : ça déborde.\nRidge : l'eau tourne. MÉTÉO PÉRIMÉE, 26 heures."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What is told of missing weather, of a bush that is watched and of a quiet week fits into
// one text message in whole sentences, in both languages.
func TestQuietWordsFit(t *testing.T) {
	now := time.Date(2026, 9, 30, 18, 30, 0, 0, time.UTC)
	o := &forecast.Outlook{IssuedAt: now, Bush: forecast.Bush{Name: "Odell's old sugarbush"}, Source: forecast.Source{AgeHours: 11}}
	for _, language := range []string{"en", "fr"} {
		w, err := NewWords(Reader{Language: language})
		if err != nil {
			t.Fatal(err)
		}
		w = w.In(Texted)
		texts := []string{w.Stopped(o.Bush.Name, now), w.Stopped(o.Bush.Name, time.Time{})}
		for _, d := range []alerts.Decision{{Kind: alerts.ItWorks}, {Kind: alerts.QuietWeek},
			{Kind: alerts.QuietWeek, Facts: alerts.Facts{What: "not_clear", Chance: 0.6, Date: "2026-09-30"}},
			{Kind: alerts.StaleFeed, Facts: alerts.Facts{Date: "2026-09-30"}}} {
			texts = append(texts, w.Alert(&d, o))
		}
		for _, d := range []alerts.Decision{{Kind: alerts.StaleFeed, Facts: alerts.Facts{Date: "2026-09-30"}},
			{Kind: alerts.StaleFeed, Facts: alerts.Facts{What: "ever"}}, {Kind: alerts.NoForecast, Facts: alerts.Facts{What: "ever"}},
			{Kind: alerts.NoForecast, Facts: alerts.Facts{What: "at_all", Date: "2026-09-30"}}} {
			texts = append(texts, w.WithoutWeather(&d, o.Bush.Name, time.UTC))
		}
		for _, text := range texts {
			if n, ok := Septets(text); !ok || n > SMSLimit || !strings.HasSuffix(text, ".") || !strings.HasPrefix(text, "Odell's") ||
				strings.Contains(text, "<no value>") || strings.Contains(text, "alert_") {
				t.Errorf("%s: %d septets: %s", language, n, text)
			}
		}
	}
}
