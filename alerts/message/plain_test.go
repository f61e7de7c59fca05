package message_test

import (
	"regexp"
	"strings"
	"testing"
	"unicode"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

var (
	// Flesch counts what is set off by a period, a question mark, an exclamation mark, a
	// colon or a semicolon as a sentence (How to Write Plain English, 1979, chapter 2).
	sentenceEnds = regexp.MustCompile(`[.!?:;]+(?:\s|$)`)
	wordsOfText  = regexp.MustCompile(`[\p{L}'’]+|[0-9]+(?:[.,][0-9]+)?`)
	vowels       = regexp.MustCompile(`[aeiouyàâäéèêëîïôöùûüœ]+`)
	silentEnds   = regexp.MustCompile(`[^aeiouyl]e$|[aeiouy]le$|[^aeiouytd]ed$|[^aeiouyscxzgh]es$`)
)

// englishSyllables counts groups of vowels, without an e that is silent at the end.
func englishSyllables(word string) int {
	word = strings.ToLower(strings.TrimSuffix(word, "'s"))
	if n, odd := map[string]int{"people": 2, "am": 2, "pm": 2, "evening": 2, "somebody": 3, "something": 2, "nobody": 3, "idea": 3,
		"area": 3, "being": 2, "going": 2, "comes": 1, "forecast": 2, "litre": 2, "litres": 2, "likely": 2, "unlikely": 3, "times": 1,
		"likes": 1}[word]; odd {
		return n
	}
	n := len(vowels.FindAllString(word, -1))
	if silentEnds.MatchString(word) {
		n--
	}
	return max(n, 1)
}

var frenchSilent = regexp.MustCompile(`[^aeiouyàâéèêîôùû](?:e|es|ent)$|(?:[aiuéo])e(?:s|nt)?$`)

// frenchSyllables counts groups of vowels, without an e that is not said at the end.
func frenchSyllables(word string) int {
	word = strings.ToLower(word)
	n := 0
	for _, part := range strings.FieldsFunc(word, func(r rune) bool { return r == '\'' || r == '’' }) {
		k := len(vowels.FindAllString(part, -1))
		if k > 1 && frenchSilent.MatchString(part) && vowels.FindAllString(part, -1)[k-1] == "e" {
			k--
		}
		n += k
	}
	return max(n, 1)
}

// counted are sentences, words and syllables of a text. A number is a word of one syllable.
func counted(text string, syllables func(string) int) (sentences, words, parts float64) {
	for _, s := range sentenceEnds.Split(text, -1) {
		if strings.ContainsFunc(s, unicode.IsLetter) {
			sentences++
		}
	}
	for _, w := range wordsOfText.FindAllString(text, -1) {
		words++
		if unicode.IsDigit([]rune(w)[0]) {
			parts++
			continue
		}
		parts += float64(syllables(w))
	}
	return max(sentences, 1), max(words, 1), parts
}

// gradeOf is the Flesch–Kincaid grade of an English text (Kincaid et al., Naval Technical
// Training Command Research Branch Report 8-75, 1975).
func gradeOf(text string) float64 {
	s, w, n := counted(text, englishSyllables)
	return 0.39*w/s + 11.8*n/w - 15.59
}

// easeOf is the reading ease of a French text by Kandel and Moles (Application de l'indice
// de Flesch à la langue française, 1958).
func easeOf(text string) float64 {
	s, w, n := counted(text, frenchSyllables)
	return 207 - 1.015*w/s - 73.6*n/w
}

// Syllables by the dictionary.
func TestSyllables(t *testing.T) {
	for word, want := range map[string]int{"sap": 1, "gather": 2, "tomorrow": 3, "pails": 1, "gallons": 2, "likely": 2, "unlikely": 3,
		"litres": 2, "before": 2, "taste": 1, "looked": 1, "noted": 2, "ended": 2, "people": 2, "season": 2, "weather": 2,
		"expected": 3, "chance": 1, "little": 2, "trees": 1, "already": 3, "evening": 2, "forecast": 2, "syrup": 2, "freezing": 2,
		"hours": 1, "empty": 2, "thermometer": 4} {
		if got := englishSyllables(word); got != want {
			t.Errorf("%s: %d, want %d", word, got, want)
		}
	}
	for word, want := range map[string]int{"sève": 1, "demain": 2, "chaudières": 2, "ramasser": 3, "coulée": 2, "eau": 1, "l'eau": 1,
		"prévision": 3, "litres": 1, "débordent": 2, "gallons": 2, "mauvais": 2, "nuit": 1} {
		if got := frenchSyllables(word); got != want {
			t.Errorf("%s: %d, want %d", word, got, want)
		}
	}
}

// sentKeys are texts that are sent as they stand, filled in; others are parts of messages.
var sentKeys = regexp.MustCompile(`^(alert_|reply_|intake_|observed_((low|high)(_instead)?$|dripping|not_dripping|sweet|off|same|undone|none|fault)|attend_(noted|now|no_|of_|nobody|over|undone|takes)|taps_(noted|known|which|still|wrong|not_allowed|taken)|house_(boiled|sap_left|syrup_left|wood_left|tipped_out|same|undone)$|rounds_off|message_test|spoken_press|bulletin_(none|air|big|danger|stage|care|why))`)

// The English that is sent is of grade five or easier; French has a reading ease of 70 or
// more in each text, fairly easy, and of 80 or more in the mean, easy, by Kandel and Moles;
// there is no French table of grades.
func TestPlainWords(t *testing.T) {
	for language, hard := range map[string]func(string) (float64, bool){
		"en": func(text string) (float64, bool) { g := gradeOf(text); return g, g > 5 },
		"fr": func(text string) (float64, bool) { e := easeOf(text); return e, e < 70 },
	} {
		texts, err := message.Embedded(language)
		if err != nil {
			t.Fatal(err)
		}
		w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		n, sum := 0, 0.0
		see := func(name, text string) {
			if len(wordsOfText.FindAllString(text, -1)) < 7 {
				return // the formulas were made for passages; a line of six words is none
			}
			figure, tooHard := hard(text)
			if n++; tooHard {
				t.Errorf("%s, %s: %.1f: %s", language, name, figure, text)
			}
			sum += figure
		}
		for _, one := range occasions() {
			see(one.name, one.say(w))
		}
		for key, text := range texts {
			if sentKeys.MatchString(key) {
				see(key, message.Filled(text.Other))
			}
		}
		if language == "fr" && sum/float64(n) < 80 {
			t.Errorf("French is not easy: %.1f", sum/float64(n))
		}
		t.Logf("%s: %d texts, %.1f in the mean", language, n, sum/float64(n))
	}
}
