package message

import (
	"fmt"
	"strings"
	"testing"

	"thawline/forecast/units"
)

// An escalation is one text message, whoever did not answer and whatever to: the age of the
// weather may go, a sentence that says what happens or what to do may not.
func TestEscalationFits(t *testing.T) {
	ages := map[string]string{"en": "Weather 10 hours old.", "fr": "Météo d'il y a 10 h."}
	old := map[string]string{"en": "OLD WEATHER, 26 hours.", "fr": "MÉTÉO PÉRIMÉE, 26 heures."}
	alerts := map[string]string{"en": "Hill of the old sugarhouse: The pails along the brook will run over, chance 80 %. Gather by Saturday 3 pm and take the sled.",
		"fr": "Érablière du vieux ruisseau: Chaudières du bas de la côte : risque de déborder 80 %. Ramassez avant samedi 15 h."}
	whole := map[string]string{"en": "along the brook will run over, chance 80 %. Gather by Saturday 3 pm and take the sled.",
		"fr": "Chaudières du bas de la cote : risque de déborder 80 %. Ramassez avant samedi 15 h."}
	for _, language := range []string{"en", "fr"} {
		w := words(t, language, units.US)
		short := w.Escalation("Ann", "Hill: pails will run over. "+ages[language], true, false)
		if !strings.Contains(short, "Ann") || !strings.HasSuffix(short, ages[language]) {
			t.Errorf("%s", short)
		}
		for _, end := range []string{"", " " + ages[language], " " + old[language]} {
			for _, person := range []string{"Ann Odell of the upper road", "Marguerite Vaillancourt-Desjardins"} {
				for _, reached := range []bool{true, false} {
					long := w.Escalation(person, gsm(alerts[language])+end, reached, !reached)
					if n, ok := Septets(long); !ok || n > SMSLimit || !strings.HasSuffix(long, whole[language]) ||
						!strings.Contains(long, person[:3]) {
						t.Errorf("%d septets: %s", n, long)
					}
				}
			}
		}
		for _, text := range []string{short, w.Escalation(strings.Repeat("[", 60), strings.Repeat("{", 160), true, true),
			w.Escalation("", "", false, true), w.Escalation("Ann", strings.Repeat("x", 160), false, false)} {
			if n, ok := Septets(text); !ok || n > SMSLimit {
				t.Errorf("%d %v %s", n, ok, text)
			}
		}
	}
}

// What everybody is to mind out there goes before a sentence is cut: the one who gathers was told
// it, and a text of an association's spring ended with "Mind ice, limbs and".
func TestEscalationEndsWithAWholeSentence(t *testing.T) {
	for language, text := range map[string]string{
		"en": "Petit Rang: pails will run over before you can be there, chance 57 %. Gather Sunday 4 pm, sooner if you can. Mind ice, limbs and heavy pails; not alone.",
		"fr": "Beaver Meadow: Lane tubing : ca va déborder avant que quelqu'un passe, c'est presque sur. Ramassez lundi à 8 h, plus tot si possible.",
	} {
		said := words(t, language, units.US).Escalation("Keeper 03", text, true, false)
		if n, ok := Septets(said); !ok || n > SMSLimit || !strings.HasSuffix(said, ".") || !strings.Contains(said, "Keeper 03") ||
			!strings.Contains(said, text[:strings.Index(text, ":")+1]) { // the bush's name whole
			t.Errorf("%d septets: %s", n, said)
		}
	}
}

// Of a bush where nobody gets messages the office is told which, and what to do to a sentence's end:
// a text of another spring ended with "plus tot si".
func TestToNobodyEndsWithAWholeSentence(t *testing.T) {
	for language, text := range map[string]string{
		"en": "%s: Tubulure sud will run over before you can be there, chance 55 %%. Gather Sunday 8 am, sooner if you can.",
		"fr": "%s: Tubulure sud : 55 %% de risque de déborder avant que quelqu'un passe. Ramassez dimanche à 8 h, plus tot si possible.",
	} {
		for _, bush := range []string{"Stone Wall", "Les Trois Ruisseaux", "Trois Ruisseaux du Grand Coteau"} {
			w := words(t, language, units.Metric)
			said := w.ToNobody(bush, fmt.Sprintf(text, shorten(bush, 40)), false)
			if n, ok := Septets(said); !ok || n > SMSLimit || !strings.HasSuffix(said, ".") || strings.Count(said, bush[:10]) != 1 ||
				!strings.Contains(said, " 8 ") {
				t.Errorf("%d septets: %s", n, said)
			}
		}
	}
}

// What is passed on after the hour that it names says so, in both languages, whatever the reason.
func TestEscalationAfterTheHour(t *testing.T) {
	const text = "Lane: pails will run over. Gather by Thursday 5 pm."
	for language, want := range map[string][]string{
		"en": {"Ann has not answered, and the hour is past: " + text, "Ann could not be reached, and the hour is past: " + text,
			"Nobody gets messages at Lane, and the hour is past: pails will run over. Gather by Thursday 5 pm."},
		"fr": {"Ann n'a pas répondu, et l'heure est passée : " + text, "Ann est injoignable, et l'heure est passée : " + text,
			"Lane, personne à avertir, et l'heure est passée : pails will run over. Gather by Thursday 5 pm."},
	} {
		w := words(t, language, units.US).In(Wide)
		for i, got := range []string{w.Escalation("Ann", text, true, true), w.Escalation("Ann", text, false, true), w.ToNobody("Lane", text, true)} {
			if got != want[i] {
				t.Errorf("got  %s\nwant %s", got, want[i])
			}
		}
		for _, got := range []string{w.Escalation("Ann", text, true, false), w.ToNobody("Lane", text, false)} {
			if strings.Contains(got, "hour") || strings.Contains(got, "heure") {
				t.Error(got)
			}
		}
	}
}
