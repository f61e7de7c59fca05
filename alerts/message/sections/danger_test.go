package sections

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// The official warning is quoted with its issuer, its hours and a link; where nobody knows
// that is said, and never taken for none.
func TestWarningsAreQuoted(t *testing.T) {
	now := time.Date(2026, 3, 23, 18, 0, 0, 0, time.UTC)
	since, storm := now.Add(-3*time.Hour),
		weather.Warning{ID: "1", Event: weather.Quoted{"en": "freezing rain warning", "fr": "avertissement de pluie verglaçante"},
			Issuer:   weather.Quoted{"en": "Environment Canada", "fr": "Environnement Canada"},
			Headline: weather.Quoted{"en": "Lotbinière"}, Severity: weather.Severe, From: now.Add(24 * time.Hour),
			To: now.Add(36 * time.Hour), URL: weather.Quoted{"en": "https://weather.gc.ca/", "fr": "https://meteo.gc.ca/"}}
	ice := forecast.Work{Dangers: []forecast.Danger{{From: storm.From, To: storm.To, What: forecast.DangerWarning, Warning: "1",
		LossL: 151}}}
	for name, c := range map[string]struct {
		warnings forecast.Official
		work     forecast.Work
		english  []string // none: no section
		french   string
	}{
		"severe": {forecast.Official{State: weather.WarningsKnown, List: []weather.Warning{storm}}, ice,
			[]string{"freezing rain warning by Environment Canada, Tuesday 6 pm to Wednesday 6 am. “Lotbinière” No round is planned then. That costs about 40 gallons of sap. https://weather.gc.ca/"}, "avertissement de pluie verglaçante (Environnement Canada), de mardi 18 h à mercredi 6 h."},
		"not blocking": {forecast.Official{State: weather.WarningsKnown, List: []weather.Warning{storm}}, forecast.Work{},
			[]string{"freezing rain warning by Environment Canada", "“Lotbinière” https://weather.gc.ca/"}, "https://meteo.gc.ca/"},
		"unknown": {forecast.Official{State: weather.WarningsUnknown, KnownAt: &since, List: []weather.Warning{storm}}, ice,
			[]string{"Official warnings could not be reached since Monday 3 pm: there may be new ones.", "freezing rain warning"},
			"depuis lundi 15 h"},
		"never known": {forecast.Official{State: weather.WarningsUnknown}, forecast.Work{},
			[]string{"Official warnings could not be reached so far: there may be some."}, "hors d'atteinte jusqu'ici"},
		"unavailable": {forecast.Official{State: weather.WarningsUnavailable}, forecast.Work{},
			[]string{"Official warnings are not available here"}, "Pas d'avertissements officiels ici"},
		"our own": {forecast.Official{State: weather.WarningsKnown},
			forecast.Work{Dangers: []forecast.Danger{{From: storm.From, To: storm.To, What: forecast.DangerWind}}},
			[]string{"Strong gusts, Tuesday 6 pm to Wednesday 6 am: no round then."}, "Fortes rafales"},
		"promised": {forecast.Official{State: weather.WarningsKnown, List: []weather.Warning{storm}},
			forecast.Work{Dangers: ice.Dangers,
				Rounds: []forecast.CrewRound{{Start: storm.From.Add(time.Hour), End: storm.From.Add(2 * time.Hour), Pinned: true}}},
			[]string{"Somebody promised the round of Tuesday 7 pm, and it leads into danger."},
			"Quelqu'un a promis la tournée de mardi 19 h"},
		"none": {forecast.Official{State: weather.WarningsKnown, KnownAt: &now}, forecast.Work{}, nil, ""},
	} {
		o := &forecast.Outlook{IssuedAt: now, Warnings: c.warnings, Work: c.work,
			Cautions: []forecast.Caution{forecast.CautionIce, forecast.CautionLimbs, forecast.CautionLifting, forecast.CautionAlone,
				forecast.CautionHotPan}}
		for language, want := range map[string][]string{"en": c.english, "fr": {c.french}} {
			w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
			if err != nil {
				t.Fatal(err)
			}
			var said strings.Builder
			if err := write(&said, OfRounds(o, w, units.US)); err != nil {
				t.Fatal(err)
			}
			plain := strings.NewReplacer("\u00a0", " ", "\u202f", " ").Replace(said.String())
			for _, text := range want {
				if !strings.Contains(plain, text) {
					t.Errorf("%s, %s: %q is not in\n%s", name, language, text, said.String())
				}
			}
			if title := w.Say("report_danger", nil); strings.Contains(said.String(), title) != (c.english != nil && name != "unavailable") {
				t.Errorf("%s, %s: a section of dangers", name, language)
			}
			for _, c := range o.Cautions { // the usual ones stand whatever the day
				want := 1
				if c == forecast.CautionHotPan { // which stands where one boils
					want = 0
				}
				if got := strings.Count(said.String(), w.Say("caution_"+string(c), nil)); got != want {
					t.Errorf("%s: %d times the caution about %s", name, got, c)
				}
			}
		}
	}
}
