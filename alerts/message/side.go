package message

import (
	"regexp"
	"strconv"
	"strings"

	"github.com/nicksnyder/go-i18n/v2/i18n"
)

// side is the texts of one language alone.
type side struct {
	tag       string
	texts     Texts
	localizer func() *i18n.Localizer // made when something is first said in the language
	// file is whether a file has added the language.
	file     bool
	complete bool // it has every text
	mostly   bool // it has more than half of them
}

// say finds a text with its values filled in; false where the language has none.
func (s *side) say(key string, count any, values map[string]any) (string, bool) {
	if _, has := s.texts[key]; !has {
		return "", false
	}
	text, err := s.localizer().Localize(&i18n.LocalizeConfig{MessageID: key, PluralCount: count, TemplateData: values})
	return oneStop(text), err == nil || text != ""
}

var twoStops = regexp.MustCompile(`([^.])\.\.( |$)`)

// oneStop ends a sentence whose last word has a stop of its own, such as "17 avr.", with one.
func oneStop(text string) string {
	if !strings.Contains(text, "..") {
		return text
	}
	return twoStops.ReplaceAllString(text, "$1.$2")
}

// habit is how the language writes things, or what is usual.
func (s *side) habit(key, usual string) string {
	if text := s.texts[key].Other; text != "" {
		return text
	}
	return usual
}

// accentsMayGo reports whether letters may lose their accents in a text message: in
// English and French, which are still read; elsewhere where the language's file says so.
func (s *side) accentsMayGo() bool { return !s.file || s.habit("sms_accents_may_go", "no") == "yes" }

// parts is in how many parts a text in UCS-2 may go.
func (s *side) parts() int {
	n, err := strconv.Atoi(s.habit("sms_parts", ""))
	if err != nil || n < 1 || n > mostParts {
		return usualParts
	}
	return n
}

// A text of which nobody knows yet in which language it is said comes in all of them,
// between signs that no text has. What is made of such texts is whole in each language by
// itself; a language in which something is missing is marked as lacking it. So no sentence
// mixes languages, however many texts it is made of.
const (
	opens, parts, closes = "\x02", "\x1f", "\x03"
	lacking              = "\x18"
)

// both joins a text in each language.
func both(each []string) string {
	for _, one := range each[1:] {
		if one != each[0] {
			return opens + strings.Join(each, parts) + closes
		}
	}
	return each[0]
}

// sided is a text as one language has it.
func sided(text string, n int) string {
	if !strings.Contains(text, opens) {
		return text
	}
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(text, opens)
		b.WriteString(before)
		if !found {
			return b.String()
		}
		within, after, _ := strings.Cut(rest, closes)
		if each := strings.Split(within, parts); n < len(each) {
			b.WriteString(each[n])
		}
		text = after
	}
}

// settled is a text with each sentence in the first language that has all of it.
func settled(text string) string {
	if !strings.Contains(text, opens) {
		return strings.ReplaceAll(text, lacking, "")
	}
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(text, opens)
		b.WriteString(before)
		if !found {
			return b.String()
		}
		within, after, _ := strings.Cut(rest, closes)
		each := strings.Split(within, parts)
		chosen := each[len(each)-1]
		for _, one := range each {
			if !strings.Contains(one, lacking) {
				chosen = one
				break
			}
		}
		b.WriteString(strings.ReplaceAll(chosen, lacking, ""))
		text = after
	}
}

// each asks for a text in each language that a sentence may be said in.
func (w *Words) each(say func(one *Words) string) string {
	if !w.open {
		return say(w)
	}
	texts := make([]string, len(w.tongues))
	for i, t := range w.tongues {
		one := *w
		one.tongues, one.open, one.alone = []*side{t}, false, true
		texts[i] = say(&one)
	}
	return both(texts)
}

// one makes one sentence of what it is made of: all of it is said in one language.
func (w *Words) one(sentence string) string {
	if !w.open || !strings.Contains(sentence, opens) {
		return sentence
	}
	texts := make([]string, len(w.tongues))
	for i := range texts {
		texts[i] = sided(sentence, i)
	}
	return both(texts)
}

// Open are the same words, by which sentences are made of several texts: what they say is
// for Settle.
func (w *Words) Open() *Words {
	if len(w.tongues) < 2 || w.open {
		return w
	}
	out := *w
	out.open = true
	return &out
}

// Settle chooses the language of each sentence in what Open words have said: the reader's
// own where it has all of the sentence, else the one that they chose beside it.
func Settle(text string) string { return settled(text) }
