// Package madeup makes catalogues in tongues that nobody speaks, for tests: the English
// texts with other letters, so that a sentence that mixes two languages can be seen.
package madeup

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"thawline/alerts/message"
)

// Script is how a made-up tongue is written.
type Script struct {
	letters []rune // for a to z
	before  string // each word
}

// The scripts.
var (
	// Latin has letters of the GSM 7-bit alphabet alone.
	Latin = Script{[]rune("nopqrstuvwxyzabcdefghijklm"), "ø"}
	// Accented has Latin letters that it lacks.
	Accented = Script{[]rune("nopqrstuvwxyzabcdefghijklm"), "ą"}
	// Syllabics are Unified Canadian Aboriginal Syllabics; the words mean nothing.
	Syllabics = Script{[]rune("ᐁᐃᐅᐊᐯᐱᐳᐸᑌᑎᑐᑕᑫᑭᑯᑲᒉᒋᒍᒐᒣᒥᒧᒪᓀᓂ"), ""}
	// RightToLeft has Hebrew letters; the words mean nothing.
	RightToLeft = Script{[]rune("אבגדהוזחטיכלמנסעפצקרשתךםןף"), ""}
	// Tall is Tibetan; the words mean nothing.
	Tall = Script{[]rune("ཀཁགངཅཆཇཉཏཐདནཔཕབམཙཚཛཝཞཟའཡརལ"), ""}
)

// Say writes an English text in the script. What stands in braces, digits and signs stay.
func (s Script) Say(text string) string {
	var b strings.Builder
	inBraces, inWord := 0, false
	for _, r := range text {
		switch r {
		case '{':
			inBraces++
		case '}':
			inBraces--
		}
		low := unicode.ToLower(r)
		if inBraces > 0 || low < 'a' || low > 'z' {
			inWord = inWord && r == '\''
			if inBraces > 0 || r != '\'' {
				b.WriteRune(r)
			}
			continue
		}
		if !inWord {
			b.WriteString(s.before)
		}
		inWord = true
		b.WriteRune(s.letters[low-'a'])
	}
	return b.String()
}

// Words are the words of a text that are the script's, and those that are not, without
// what stands in allowed.
func (s Script) Words(text string, allowed ...string) (own, others []string) {
	for _, name := range allowed {
		text = strings.ReplaceAll(text, name, " ")
	}
	for _, word := range strings.FieldsFunc(text,
		func(r rune) bool { return !unicode.IsLetter(r) && !unicode.Is(unicode.M, r) && r != '\'' }) {
		first := []rune(word)[0]
		isOwn := s.before != "" && strings.HasPrefix(word, s.before) || s.before == "" && slices.Contains(s.letters, first)
		if isOwn {
			own = append(own, word)
		} else {
			others = append(others, word)
		}
	}
	return own, others
}

// Texts are the texts of some keys in the script, all keys without any.
func (s Script) Texts(t testing.TB, keys ...string) message.Texts {
	t.Helper()
	english, err := message.English()
	if err != nil {
		t.Fatal(err)
	}
	out := message.Texts{}
	for key, text := range english {
		if len(keys) > 0 && !slices.Contains(keys, key) {
			continue
		}
		out[key] = message.Text{Other: s.Say(text.Other)}
		if text.One != "" {
			out[key] = message.Text{One: s.Say(text.One), Other: s.Say(text.Other)}
		}
	}
	for key, habit := range map[string]string{"clock_hours": "24", "week_starts": "1", "decimal": ","} {
		out[key] = message.Text{Other: habit}
	}
	return out
}

// File writes a catalogue file of texts and returns where it is.
func File(t testing.TB, tag string, texts message.Texts) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), tag+".toml")
	if err := os.WriteFile(path, []byte(message.WriteTexts(texts)), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
