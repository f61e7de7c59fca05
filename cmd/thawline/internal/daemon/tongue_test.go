package daemon

import (
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast/units"
	"thawline/testdata/madeup"
)

// inTongue has one more person read a season's messages, in a made-up tongue of forty texts.
func inTongue(t *testing.T, s *Settings, box *recorder) {
	t.Helper()
	c, err := message.LoadCatalogue(madeup.File(t, "art-x-ours", madeup.Syllabics.Texts(t, message.FirstForty...)))
	if err != nil || len(c.LeftOut) > 0 {
		t.Fatal(err, c.LeftOut)
	}
	s.Catalogue = c
	s.Channels["ours"] = box
	s.People = append(s.People, channel.Person{ID: "wren", Role: "keeper",
		Reader: message.Reader{Language: "art-x-ours", Second: "fr", Units: units.US},
		Ways:   []channel.Way{{Channel: "ours", To: "+18025550124"}}})
}

var endOfSentence = regexp.MustCompile(`[.!?] |\n|: `)

// seasonInTongue looks at all that was said in a made-up tongue: no sentence mixes
// languages, none has a question mark in place of a letter, and each has room.
func seasonInTongue(t *testing.T, got []channel.Message) {
	t.Helper()
	own, second := 0, 0
	for _, m := range got {
		for _, text := range []string{m.Text, m.ForPhone()} {
			for _, sentence := range endOfSentence.Split(text, -1) {
				ours, others := madeup.Syllabics.Words(sentence, "Hill", "pails", "ridge", " F")
				if len(ours) > 0 && len(others) > 0 {
					t.Errorf("mixes languages: %q", sentence)
				}
				if own += len(ours); len(others) > 0 {
					second++
				}
			}
			if strings.Contains(text, "?") ||
				strings.ContainsFunc(text, func(r rune) bool { return unicode.Is(unicode.Cc, r) && r != '\n' }) {
				if !strings.Contains(text, "O ou N") && !strings.Contains(text, "plein à combien?") { // what is asked, by the second language
					t.Errorf("mangled: %q", text)
				}
			}
		}
		for _, line := range strings.Split(m.ForPhone(), "\n") {
			if n := len([]rune(line)); n > message.SMSLimit {
				t.Errorf("%d characters: %q", n, line)
			}
		}
	}
	least := 100
	if testing.Short() { // three weeks
		least = 30
	}
	if own < least || second == 0 {
		t.Errorf("%d words of its own, %d sentences of the second language, in %d messages", own, second, len(got))
	}
	t.Logf("%d words of its own, %d sentences of the second language, in %d messages", own, second, len(got))
}

// What helpers write in a made-up tongue is understood, and answered in it.
func TestRepliesInATongue(t *testing.T) {
	say := madeup.Syllabics.Say
	texts := madeup.Syllabics.Texts(t, message.FirstForty...)
	texts["group_name_pails"] = message.Text{Other: say("hanging ones")}
	c, err := message.LoadCatalogue(madeup.File(t, "art-x-ours", texts))
	if err != nil || len(c.LeftOut) > 0 {
		t.Fatal(err, c.LeftOut)
	}
	for i, step := range []struct{ text, want string }{
		{say("hanging ones") + " 20 L", say("Noted")},
		{say("ok"), say("Noted: seen")},
		{say("hanging ones") + " 20 L " + say("ice"), say("Noted")},
		{say("hanging ones") + " " + say("pulled"), ""},
		{say("what a day"), say("I did not understand")},
	} {
		w := writing(t, march.Add(time.Duration(i)*time.Hour), func(s *Settings) {
			s.Catalogue = c
			s.People[0].Reader = message.Reader{Language: "art-x-ours", Units: units.Metric}
		})
		if i == 1 {
			overflows(t, w.d, w.at)
			w.d.deliver(t.Context(), w.at)
		}
		said := w.answers(step.text)
		if !strings.Contains(said, step.want) || strings.Contains(said, "?") || i < 4 && strings.Contains(said, "understand") {
			t.Errorf("%q: %q, want %q", step.text, said, step.want)
		}
		for _, sentence := range endOfSentence.Split(said, -1) {
			if own, others := madeup.Syllabics.Words(sentence, "pails", "South", "Bush", "L", "gal"); len(own) > 0 && len(others) > 0 {
				t.Errorf("%q mixes languages: %q", step.text, sentence)
			}
		}
	}
}
