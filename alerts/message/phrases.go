package message

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"
)

//go:embed phrases/*.toml
var embeddedPhrases embed.FS

// phrase is a sentence of the program with holes, and how another language says it.
type phrase struct {
	english *regexp.Regexp
	other   string
	literal int // how many characters of it are fixed: the more, the better it fits
}

// phraseBook is what a language says for the sentences of help, errors and logs, which
// are written in English where they arise.
type phraseBook struct {
	whole   map[string]string // without holes
	phrases []phrase          // the best fit first
}

// hole stands in a phrase for what differs from time to time; "{2}" is the second of them.
const hole = "{}"

var phraseBooks = sync.OnceValues(func() (map[string]*phraseBook, error) {
	names, err := fs.Glob(embeddedPhrases, "phrases/*.toml")
	if err != nil {
		return nil, fmt.Errorf("list the phrases: %w", err)
	}
	books := map[string]*phraseBook{}
	for _, name := range names {
		data, err := embeddedPhrases.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		var said map[string]string
		if err := toml.Unmarshal(data, &said); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		parts := strings.Split(name, ".")
		tag := parts[len(parts)-2]
		if books[tag] == nil {
			books[tag] = &phraseBook{whole: map[string]string{}}
		}
		for _, english := range slices.Sorted(maps.Keys(said)) {
			books[tag].add(english, said[english])
		}
	}
	for _, b := range books {
		slices.SortStableFunc(b.phrases, func(a, b phrase) int { return b.literal - a.literal })
	}
	return books, nil
})

func (b *phraseBook) add(english, other string) {
	if !strings.Contains(english, hole) {
		b.whole[english] = other
		return
	}
	var pattern strings.Builder
	literal := 0
	for i, part := range strings.Split(english, hole) {
		if i > 0 {
			pattern.WriteString("(.*?)")
		}
		pattern.WriteString(regexp.QuoteMeta(part))
		literal += len(part)
	}
	b.phrases = append(b.phrases, phrase{regexp.MustCompile("(?s)^" + pattern.String() + "$"), other, literal})
}

// Phrase says a sentence of help or an error, which the program writes in English, in the
// reader's language, as far as it is known; names, numbers and what others said stay as
// they are.
func (w *Words) Phrase(english string) string {
	books, err := phraseBooks()
	if err != nil || books[w.Language()] == nil {
		return english
	}
	lines := strings.Split(english, "\n")
	for i, line := range lines {
		text := strings.TrimLeft(line, " ")
		lines[i] = line[:len(line)-len(text)] + books[w.Language()].say(text)
	}
	return strings.Join(lines, "\n")
}

// say looks for the whole text, then for its parts: what and remedy, place and what.
func (b *phraseBook) say(text string) string {
	if place, what, found := strings.Cut(text, ": "); found && inSettings.MatchString(place) {
		return place + ": " + b.say(what)
	}
	if said, known := b.find(text); known {
		return said
	}
	if place, what, found := strings.Cut(text, ": "); found { // a remedy may belong to what it mends
		if said, known := b.find(what); known && inFile.MatchString(place) {
			return place + ": " + said
		}
	}
	for _, by := range []string{"; ", ": "} {
		first, rest, found := strings.Cut(text, by)
		if !found {
			continue
		}
		one, other := b.say(first), b.say(rest)
		if by == ": " && (one != first || other != rest) && !inFile.MatchString(first) {
			by = "\u00a0: " // a space comes before a colon, but after a place in a file
		}
		return one + by + other
	}
	return text
}

// inSettings is a place such as bush.yaml:7 or sites[0].groups[1].taps, which is no part of
// any sentence.
var inSettings = regexp.MustCompile(`^[^ ]+(:\d+|\[\d+\][^ ]*)$`)

var inFile = regexp.MustCompile(`^[^ ]*$`)

func (b *phraseBook) find(text string) (said string, known bool) {
	if said, known = b.whole[text]; known {
		return said, true
	}
	for i := range b.phrases {
		m := b.phrases[i].english.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		said = b.phrases[i].other
		for n, part := range m[1:] {
			part = b.say(part)
			said = strings.ReplaceAll(said, fmt.Sprintf("{%d}", n+1), part)
			said = strings.Replace(said, hole, part, 1)
		}
		return said, true
	}
	return "", false
}
