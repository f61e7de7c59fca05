package message

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/alerts"
	"thawline/forecast/units"
)

// An overview fits into one text message in both languages and can be said aloud; it loses
// names before figures, and has no litres nor gallons of anybody.
func TestOverviewFits(t *testing.T) {
	long := []string{"Odell's old sugarbush behind the upper road", "Upper Ridge", "Lane", "Érablière du Rang Saint-Félix"}
	volume := regexp.MustCompile(`(?i)\d\s*(l|gal|litres?|gallons?)\b`)
	for _, c := range []struct {
		f      alerts.BushesFacts
		en, fr string
	}{
		{alerts.BushesFacts{All: 301, Run: 212, May: 18, Over: 34, Stale: 5, First: long},
			"Tomorrow sap runs in 212 of 301 bushes, it may run in 18 more. 34 are likely to overflow if nobody gathers: Odell's old first. No fresh forecast for 5.", ""},
		{alerts.BushesFacts{All: 7, Run: 1, Over: 1, First: []string{"Lane"}},
			"Tomorrow sap runs in one of 7 bushes. One is likely to overflow if nobody gathers: Lane.",
			"Demain, ça coule dans une érablière sur 7. Une va sans doute déborder si personne ne ramasse : Lane."},
		{alerts.BushesFacts{All: 9, May: 1, Over: 2, First: []string{"Lane", "Hill"}},
			"Tomorrow sap may run in one of 9 bushes. 2 are likely to overflow if nobody gathers: Lane, Hill.", ""},
		{alerts.BushesFacts{All: 9, May: 5, Stale: 1, StaleFirst: []string{"Lane"}},
			"Tomorrow sap may run in 5 of 9 bushes. No fresh forecast for one: Lane.",
			"Demain, ça pourrait couler dans 5 érablières sur 9. Pas de prévision récente pour une : Lane."},
		{alerts.BushesFacts{All: 9, Stale: 9}, "", ""},
	} {
		for _, language := range []string{"en", "fr"} {
			w := words(t, language, units.US)
			text, texted, spoken := w.In(Wide).Overview(&c.f), w.In(Texted).Overview(&c.f), w.In(Aloud).Overview(&c.f)
			if n, ok := Septets(texted); !ok || n > SMSLimit || !strings.HasSuffix(texted, ".") {
				t.Errorf("%s: %d septets: %s", language, n, texted)
			}
			if want := map[string]string{"en": c.en, "fr": c.fr}[language]; want != "" && text != want {
				t.Errorf("got  %s\nwant %s", text, want)
			}
			if c.f.Over > 0 && !strings.Contains(texted, map[string]string{"en": "overflow", "fr": "deborder"}[language]) &&
				!strings.Contains(texted, "déborder") {
				t.Errorf("%s: names drove out what runs over: %s", language, texted)
			}
			for _, said := range []string{text, texted, spoken} {
				if said == "" || volume.MatchString(said) || strings.Contains(said, "<no value>") || strings.Contains(said, "overview_") {
					t.Errorf("%s: %q", language, said)
				}
			}
			if strings.ContainsAny(spoken, "0123456789:") {
				t.Errorf("%s: not to be read aloud: %s", language, spoken)
			}
		}
	}
}

// One text says how many bushes are silent, names those that press most, and where the rest is
// to be read; it is one text message whatever they are called.
func TestUnansweredFits(t *testing.T) {
	for _, c := range []struct {
		s      Silent
		en, fr string
	}{
		{Silent{Bushes: []string{"Lane", "Hill"}},
			"2 bushes have not answered urgent messages: Lane, Hill. The list is on the Desk page.",
			"2 érablières sans réponse à un message urgent : Lane, Hill. Voir la page Bureau."},
		{Silent{Bushes: slices.Repeat([]string{"Odell's old sugarbush behind the upper road"}, 120), Unreached: 3}, "", ""},
		{Silent{Bushes: []string{"Lane"}, Unreached: 1},
			"One bush has not answered an urgent message: Lane. Nobody could be reached there. The list is on the Desk page.",
			"Une érablière sans réponse à un message urgent : Lane. Personne n'a pu y être joint. Voir la page Bureau."},
		{Silent{Bushes: []string{"Lane", "Hill"}, Unreached: 1, Untellable: []string{"Brook"}},
			"2 bushes have not answered urgent messages: Lane, Hill. One could not be reached. One more has nobody who gets messages: Brook. The list is on the Desk page.",
			"2 érablières sans réponse à un message urgent : Lane, Hill. Une est injoignable. Dans une autre, personne à avertir : Brook. Voir la page Bureau."},
		{Silent{Untellable: []string{"Brook", "Lane"}},
			"2 bushes have urgent work and nobody who gets messages: Brook, Lane. The list is on the Desk page.",
			"Urgent dans 2 érablières où il n'y a personne à avertir : Brook, Lane. Voir la page Bureau."},
		{Silent{Bushes: slices.Repeat([]string{"Odell's old sugarbush behind the upper road"}, 2120), Unreached: 310,
			Untellable: slices.Repeat([]string{"Érablière du Rang Saint-Félix"}, 412)}, "", ""},
	} {
		for language, want := range map[string]string{"en": c.en, "fr": c.fr} {
			w := words(t, language, units.US)
			texted := w.In(Texted).Unanswered(c.s)
			if n, ok := Septets(texted); !ok || n > SMSLimit || !strings.HasSuffix(texted, ".") || strings.Contains(texted, "escalation_") {
				t.Errorf("%s: %d septets: %s", language, n, texted)
			}
			if said := w.In(Wide).Unanswered(c.s); want != "" && said != want {
				t.Errorf("got  %s\nwant %s", said, want)
			}
		}
	}
}
