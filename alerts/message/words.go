// Package message puts outlooks and decisions into words: in the reader's
// language, units and the length of the channel.
package message

import (
	"embed"
	"fmt"
	"io/fs"
	"time"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/language"

	"thawline/forecast/units"
)

//go:embed words/*.toml
var catalogues embed.FS

// Reader is who a text is for.
type Reader struct {
	Language string // "en" or "fr"
	Units    units.System
}

// Words finds the words of one language.
type Words struct {
	reader    Reader
	localizer *i18n.Localizer
}

// NewWords loads the words for a reader; English stands in for a language that
// is missing.
func NewWords(r Reader) (*Words, error) {
	bundle := i18n.NewBundle(language.English)
	bundle.RegisterUnmarshalFunc("toml", toml.Unmarshal)
	files, err := fs.Glob(catalogues, "words/*.toml")
	if err != nil {
		return nil, fmt.Errorf("list the languages: %w", err)
	}
	for _, f := range files {
		if _, err := bundle.LoadMessageFileFS(catalogues, f); err != nil {
			return nil, fmt.Errorf("read the words of %s: %w", f, err)
		}
	}
	return &Words{r, i18n.NewLocalizer(bundle, r.Language, "en")}, nil
}

// Say returns the words behind a key, with the values filled in. An unknown key
// comes back as itself: a text with a hole is better than none at night.
func (w *Words) Say(key string, values map[string]any) string {
	text, err := w.localizer.Localize(&i18n.LocalizeConfig{MessageID: key, TemplateData: values})
	if err != nil && text == "" {
		return key
	}
	return text
}

// Plural says words that depend on a number.
func (w *Words) Plural(key string, count int) string {
	text, err := w.localizer.Localize(&i18n.LocalizeConfig{MessageID: key, PluralCount: count, TemplateData: map[string]any{"N": count}})
	if err != nil && text == "" {
		return key
	}
	return text
}

// Volume is litres as a number and the unit's name in full.
func (w *Words) Volume(litres float64) (number, unit string) {
	number, unit = units.Volume(litres, w.reader.Units)
	return number, w.Say("unit_"+unitKey(unit), nil)
}

func unitKey(unit string) string {
	if unit == "L" {
		return "litre"
	}
	return "gallon"
}

// Clock is a time of day as the language writes it, to the hour.
func (w *Words) Clock(t time.Time) string {
	h := t.Round(time.Hour).Hour()
	key := "clock_am"
	if w.reader.Language == "fr" {
		return w.Say("clock", map[string]any{"H": h})
	}
	switch {
	case h == 0:
		return w.Say("clock_midnight", nil)
	case h == 12:
		return w.Say("clock_noon", nil)
	case h > 12:
		h, key = h-12, "clock_pm"
	}
	return w.Say(key, map[string]any{"H": h})
}

// Weekday is the local day's name.
func (w *Words) Weekday(t time.Time) string {
	return w.Say(fmt.Sprintf("weekday_%d", int(t.Weekday())), nil)
}

// Date is a day of the year without the year.
func (w *Words) Date(t time.Time) string {
	return w.Say("date", map[string]any{"Day": t.Day(), "Month": w.Say(fmt.Sprintf("month_%d", int(t.Month())), nil)})
}
