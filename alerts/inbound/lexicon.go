package inbound

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

// Lexicon is the words of every language with what they mean. Whoever writes, all are
// understood: a helper may write another language than the one they read.
type Lexicon struct {
	table   []Row
	rows    map[string]*Row // by their words, as tokens has them
	alone   map[string]*Row // by whole texts, as spelled has them
	longest int             // of how many words the longest is
	record  *Row

	catalogue *message.Catalogue
}

// Clash is a word that is to mean two things; the first is what it means.
type Clash struct {
	Word, Tag string
	Key, Has  string // of the words that it is left out of, and that it belongs to
}

func (c Clash) String() string {
	return fmt.Sprintf("%s: \"%s\" has a meaning already (%s)", c.Key, c.Word, c.Has)
}

// NewLexicon finds the words of a table in all languages of a catalogue. A word that is
// to mean two things keeps the first meaning, that which came with the program before
// that of a file: nobody's STOP is taken away by a mistake.
func NewLexicon(table []Row, c *message.Catalogue) (*Lexicon, []Clash) {
	l := &Lexicon{table: table, catalogue: c, rows: map[string]*Row{}, alone: map[string]*Row{}}
	var clashes []Clash
	for _, file := range []bool{false, true} {
		for i := range table {
			row := &table[i]
			if row.Words == "" {
				l.record = row
				continue
			}
			for _, in := range c.InEach(row.Words) {
				if in.File != file {
					continue
				}
				for _, word := range strings.FieldsFunc(in.Text, comma) {
					if row.Alone {
						l.alone[spelled(word)] = row
						continue
					}
					tokens := tokens(folded(word))
					plain := strings.Join(tokens, " ")
					if plain == "" {
						continue
					}
					if has := l.rows[plain]; has != nil && has != row {
						clashes = append(clashes, Clash{strings.TrimSpace(word), in.Tag, row.Words, has.Words})
						continue
					}
					l.rows[plain] = row
					l.longest = max(l.longest, len(tokens))
				}
			}
		}
	}
	return l, clashes
}

// comma is what parts words in a catalogue, whatever the script.
func comma(r rune) bool { return strings.ContainsRune(",،、՝፣", r) }

var plainer = strings.NewReplacer("’", "'", "ʼ", "'", "‘", "'", "−", "-", "\u00a0", " ", "\u202f", " ", "\u200d", "")

// folded is a text in lower case without accents and tones of skin, with plain
// apostrophes and one space between words, as phones often write it.
func folded(text string) string {
	plain := norm.NFC.String(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) || r >= 0x1F3FB && r <= 0x1F3FF {
			return -1
		}
		return r
	}, norm.NFD.String(strings.ToLower(text))))
	return strings.Join(strings.Fields(plainer.Replace(plain)), " ")
}

// spelled is a whole text in lower case with its accents, and without what stands around it.
func spelled(text string) string {
	return strings.Join(strings.Fields(plainer.Replace(norm.NFC.String(strings.ToLower(strings.Trim(text, " .!?\u00a0\u202f\n\t"))))), " ")
}

// Numbers have their sign where the text has one, to be refused and not overlooked.
var (
	number = regexp.MustCompile(`^-?[0-9]+(?:[.,][0-9]+)?$`)
	joined = regexp.MustCompile(`([0-9])(\p{L}|%|°)`)
	dashes = regexp.MustCompile(`^[-–—=/.]*$`)
)

// tokens are the words, numbers and signs of a folded text.
func tokens(text string) []string {
	var b strings.Builder
	runes := []rune(text)
	digit := func(at int) bool { return at >= 0 && at < len(runes) && runes[at] >= '0' && runes[at] <= '9' }
	for i, r := range runes {
		switch {
		case strings.ContainsRune(",;:", r) && (!digit(i-1) || !digit(i+1)), strings.ContainsRune("!?()\"“”«»", r):
			b.WriteByte(' ')
		case r > unicode.MaxLatin1 && unicode.Is(unicode.So, r): // an emoji is a word, also beside another
			b.WriteString(" " + string(r) + " ")
		default:
			b.WriteRune(r)
		}
	}
	var out []string
	for _, word := range strings.Fields(joined.ReplaceAllString(b.String(), "$1 $2")) {
		if word = strings.TrimRight(word, "."); !dashes.MatchString(word) {
			out = append(out, word)
		}
	}
	return out
}

// item is a word with its meaning, or a number.
type item struct {
	text  string
	row   *Row // nil for a number, and for a word that has no meaning
	digit bool
}

// items are what a folded text consists of; of words that begin alike the longest
// counts.
func (l *Lexicon) items(text string) []item {
	words := tokens(text)
	var out []item
	for i := 0; i < len(words); {
		n := min(l.longest, len(words)-i)
		for ; n > 0; n-- {
			if phrase := strings.Join(words[i:i+n], " "); l.rows[phrase] != nil {
				out = append(out, item{text: phrase, row: l.rows[phrase]})
				break
			}
		}
		if n == 0 {
			n = 1
			out = append(out, item{text: words[i], digit: number.MatchString(words[i])})
		}
		i += n
	}
	return out
}

// part reports whether a plain name is a word of records, or a number: such a name can
// be told from what it means at the start of a text alone.
func (l *Lexicon) part(name string) bool {
	row := l.rows[strings.Join(tokens(name), " ")]
	return number.MatchString(name) || row != nil && row.Right == "" && row.Kind != Hangs
}

// usual is the unit of a number that has none.
func (l *Lexicon) usual(m Measure, system units.System) *Row {
	for i := range l.table {
		if row := &l.table[i]; row.Kind == Unit && row.Measure == m && slices.Contains(row.Usual, system) {
			return row
		}
	}
	return nil
}
