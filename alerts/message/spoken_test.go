package message_test

import (
	"regexp"
	"strings"
	"testing"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

var unspeakable = regexp.MustCompile(`[0-9()\[\]{}<>%:;/_"–—-]`)

// Every kind of alert in every wording has a spoken form in both languages and all units:
// numbers as words, no brackets or dashes, twenty seconds at 140 words a minute.
func TestEveryMessageCanBeSpoken(t *testing.T) {
	for _, language := range []string{"en", "fr"} {
		for _, system := range []units.System{units.US, units.Imperial, units.Metric} {
			w, err := message.NewWords(message.Reader{Language: language, Units: system})
			if err != nil {
				t.Fatal(err)
			}
			for _, one := range occasions() {
				text := one.say(w.In(message.Aloud))
				if text == "" || unspeakable.MatchString(text) {
					t.Errorf("%s, %s: not for a voice: %q", language, one.name, text)
				}
				if n := message.SpokenWords(text); n*60 > 20*140 {
					t.Errorf("%s, %s: %d words take longer than 20 s: %q", language, one.name, n, text)
				}
			}
		}
	}
}

// What is written one way and said another (common practice in both languages).
func TestReadAloud(t *testing.T) {
	for _, c := range []struct{ language, written, said string }{
		{"en", "Sap will run tomorrow, 9 am to 6 pm. About 55 gallons (20 to 110).",
			"Sap will run tomorrow, nine in the morning to six in the evening. About fifty five gallons, twenty to one hundred ten."},
		{"en", "Hill: pails will run over, chance >99 %. Gather by Friday 2 pm; low -4 C.",
			"Hill. pails will run over, chance more than ninety nine percent. Gather by Friday two in the afternoon. low minus four degrees."},
		{"en", "North 2: 1,250 litres at 2.1 %, 14:30, 26 Mar",
			"North two. one thousand two hundred fifty litres at two point one percent, fourteen thirty, twenty six March"},
		{"fr", "Coulée demain, 9 h à 20 h. Environ 81 litres (71 à 92).",
			"Coulée demain, neuf heures à vingt heures. Environ quatre vingt un litres, soixante et onze à quatre vingt douze."},
		{"fr", "Min -4 C, max 1 C. À 1 h, 200 L; 1er avr. 380",
			"Min moins quatre degrés, max un degrés. À une heure, deux cents L. premier avril trois cent quatre vingts"},
	} {
		w, err := message.NewWords(message.Reader{Language: c.language})
		if err != nil {
			t.Fatal(err)
		}
		if got := w.ReadAloud(c.written); !strings.EqualFold(got, c.said) {
			t.Errorf("%q is said %q, want %q", c.written, got, c.said)
		}
	}
}

// What one person is told at one moment is one call that somebody listens to.
func TestJointAloud(t *testing.T) {
	w, err := message.NewWords(message.Reader{Language: "en"})
	if err != nil {
		t.Fatal(err)
	}
	first := strings.TrimSpace(strings.Repeat("one ", 30))
	if got := w.JointAloud([]string{first, "two.", strings.Repeat("three ", 20)}); got != first+" two." {
		t.Errorf("%q", got)
	}
}
