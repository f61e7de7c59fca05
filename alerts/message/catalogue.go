package message

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/language"
)

//go:embed words/*.toml
var embedded embed.FS

// Catalogue holds the words of every language, English and French and what files
// have added. It may be used by several goroutines.
type Catalogue struct {
	tongues []Tongue
	sides   map[string]*side
	sources []origin
	// Missing says of each language that a file has added how many texts it lacks; a
	// second language stands in for them.
	Missing map[string]int
	// LeftOut says of each file that can't be used what is wrong with it: its
	// language has the words that came with the program, or none.
	LeftOut []error
}

// origin is the texts of one language from one place: the program, or a file.
type origin struct {
	tag   string
	texts Texts
	file  bool
}

// Tongue is a language that can be chosen.
type Tongue struct {
	Tag     string // BCP 47
	OwnName string
}

var builtIn = sync.OnceValues(func() (*Catalogue, error) { return LoadCatalogue() })

// BuiltIn is the catalogue without any files.
func BuiltIn() (*Catalogue, error) { return builtIn() }

// LoadCatalogue reads the embedded words and lays files over them; a file is
// named by the tag of its language, as in es.toml. A file with anything wrong in it
// is left out whole, and LeftOut says why with file and key: a mistake in one
// language silences nobody. A text that is missing is not wrong.
func LoadCatalogue(files ...string) (*Catalogue, error) {
	texts := map[string]Texts{}
	names, err := fs.Glob(embedded, "words/*.toml")
	if err != nil {
		return nil, fmt.Errorf("list the languages: %w", err)
	}
	for _, name := range names {
		data, err := embedded.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		tag := strings.TrimSuffix(filepath.Base(name), ".toml")
		tag = tag[strings.LastIndex(tag, ".")+1:]
		if texts[tag] == nil {
			texts[tag] = Texts{}
		}
		if err := texts[tag].read(name, data); err != nil {
			return nil, err
		}
	}
	c := &Catalogue{sides: map[string]*side{}, Missing: map[string]int{}}
	english := texts["en"]
	for _, tag := range inOrder(slices.Collect(maps.Keys(texts))) {
		c.sources = append(c.sources, origin{tag, texts[tag], false})
	}
	for _, file := range files {
		tag, own, err := ReadTexts(file)
		if err == nil {
			if faults := own.Check(english); len(faults) > 0 {
				err = fmt.Errorf("%s: %s; \"thawline words check %s\" tells all", file, faults[0], file)
			}
		}
		if err != nil {
			c.LeftOut = append(c.LeftOut, err)
			continue
		}
		both := maps.Clone(texts[tag]) // what came with the program stays as it is
		if both == nil {
			both = Texts{}
		}
		maps.Copy(both, own)
		texts[tag] = both
		c.sources = append(c.sources, origin{tag, own, true})
		c.Missing[tag] = len(texts[tag].Lacking(english))
	}
	return c, c.build(texts)
}

// onePlural is a language whose numbers all take the form "other" (CLDR, plural
// rules). It lends its rule to languages that CLDR has none for, such as Ojibwe, Cree
// and Mohawk, unless their file names another one.
var onePlural = language.Japanese

// build makes what finds texts; English comes first, French second. Each language
// has a bundle of its own: none is taken for a relative, and a lent rule is in nobody's
// way.
func (c *Catalogue) build(texts map[string]Texts) error {
	for tag, of := range texts {
		parsed, err := language.Parse(tag)
		if err != nil {
			return fmt.Errorf("language %s: %w", tag, err)
		}
		lacks := len(of.Lacking(texts["en"]))
		s := &side{tag: tag, texts: of, file: !slices.Contains([]string{"en", "fr"}, tag), complete: lacks == 0,
			mostly: 2*lacks < len(texts["en"])}
		if rule, err := language.Parse(s.habit("plural_rule", "")); err == nil && hasPlurals(rule) {
			parsed = rule
		} else if !hasPlurals(parsed) {
			parsed = onePlural
		}
		s.localizer = sync.OnceValue(func() *i18n.Localizer {
			bundle := i18n.NewBundle(parsed)
			bundle.MustAddMessages(parsed, of.messages()...) // fails on unknown plurals alone
			return i18n.NewLocalizer(bundle, parsed.String())
		})
		c.sides[tag] = s
		c.tongues = append(c.tongues, Tongue{tag, s.habit("language_name", tag)})
	}
	slices.SortFunc(c.tongues, func(a, b Tongue) int { return strings.Compare(order(a.Tag), order(b.Tag)) })
	return nil
}

// hasPlurals reports whether it is known how a language's words go with numbers.
func hasPlurals(tag language.Tag) bool {
	return i18n.NewBundle(tag).AddMessages(tag, &i18n.Message{ID: "x", Other: "x"}) == nil
}

// order puts English first, French second and the others by their tags.
func order(tag string) string {
	if at := slices.Index([]string{"en", "fr"}, tag); at >= 0 {
		return fmt.Sprintf(" %d", at)
	}
	return tag
}

func inOrder(tags []string) []string {
	slices.SortFunc(tags, func(a, b string) int { return strings.Compare(order(a), order(b)) })
	return tags
}

// Spoken is a text in one language.
type Spoken struct {
	Tag, Text string
	File      bool // a file has added it
}

// InEach returns a text in every language that has it, those that came with the
// program first. A language that a file adds to has it twice: words that people may
// write are added to, and never taken away.
func (c *Catalogue) InEach(key string) []Spoken {
	var out []Spoken
	for _, s := range c.sources {
		if text := s.texts[key].Other; text != "" {
			out = append(out, Spoken{s.tag, text, s.file})
		}
	}
	return out
}

// Languages are those that can be chosen, English and French first.
func (c *Catalogue) Languages() []Tongue { return c.tongues }

// Words are the words for a reader. For a language that there is not they are those
// of the language it is a kind of, as French is for fr-CA, else English.
func (c *Catalogue) Words(r Reader) (*Words, error) {
	var tongues []*side
	for i, wanted := range []string{r.Language, r.Second, "en"} {
		base, _, _ := strings.Cut(wanted, "-")
		for _, tag := range []string{wanted, base} {
			s := c.sides[tag]
			if s == nil || i > 0 && slices.Contains(tongues, s) {
				continue
			}
			tongues = append(tongues, s)
			break
		}
		if len(tongues) > 0 && tongues[len(tongues)-1].complete && !tongues[len(tongues)-1].file {
			break // nothing is missing that another one could say: what others have said is quoted in few languages
		}
	}
	if len(tongues) == 0 {
		return nil, fmt.Errorf("no words of %s", r.Language)
	}
	r.Language = tongues[0].tag
	return &Words{reader: r, tongues: tongues}, nil
}

const mostBytes = 512 << 10

// ReadTexts reads a catalogue file and finds its language in its name.
func ReadTexts(file string) (tag string, texts Texts, err error) {
	parsed, err := language.Parse(strings.TrimSuffix(filepath.Base(file), ".toml"))
	if err != nil {
		return "", nil, fmt.Errorf("%s: the name is not that of a language; name it like es.toml", file)
	}
	info, err := os.Stat(file)
	if err == nil && !info.Mode().IsRegular() {
		return "", nil, fmt.Errorf("%s: not a file of words", file) // a pipe would be waited for
	}
	if err == nil && info.Size() > mostBytes {
		return "", nil, fmt.Errorf("%s: %d bytes are more than any catalogue has", file, info.Size())
	}
	var data []byte
	if err == nil {
		data, err = os.ReadFile(file)
	}
	if err != nil {
		return "", nil, fmt.Errorf("words: %w", err)
	}
	texts = Texts{}
	return parsed.String(), texts, texts.read(file, data)
}

// English are the texts that every catalogue is held against.
func English() (Texts, error) { return Embedded("en") }

// Embedded are the texts of a language that came with the program.
func Embedded(tag string) (Texts, error) {
	out := Texts{}
	names, err := fs.Glob(embedded, "words/*.toml")
	if err != nil {
		return nil, fmt.Errorf("list the languages: %w", err)
	}
	for _, name := range names {
		if base := path.Base(name); base != tag+".toml" && !strings.HasSuffix(base, "."+tag+".toml") {
			continue
		}
		data, err := embedded.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		if err := out.read(name, data); err != nil {
			return nil, err
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no words of %s came with the program", tag)
	}
	return out, nil
}

func decode(file string, data []byte) (map[string]any, error) {
	var raw map[string]any
	if err := toml.Unmarshal(data, &raw); err != nil {
		where := file
		if d, ok := err.(*toml.DecodeError); ok { //nolint:errorlint // the library gives it bare
			line, column := d.Position()
			where = fmt.Sprintf("%s, line %d, column %d", file, line, column)
		}
		return nil, fmt.Errorf("%s: not TOML: %w", where, err)
	}
	return raw, nil
}
