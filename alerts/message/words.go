// Package message puts outlooks and decisions into words: in the reader's
// language, units and the length of the channel.
package message

import (
	"fmt"
	"maps"
	"strings"
	"time"

	"github.com/nicksnyder/go-i18n/v2/i18n"

	"thawline/forecast/units"
)

// Reader is who a text is for.
type Reader struct {
	Language string // "en", "fr" or one that a catalogue file has added
	Units    units.System
}

// Words finds the words of one language.
type Words struct {
	reader    Reader
	localizer *i18n.Localizer
}

// NewWords finds the words for a reader in what came with the program; English
// stands in for a language that is missing.
func NewWords(r Reader) (*Words, error) {
	c, err := builtIn()
	if err != nil {
		return nil, err
	}
	return c.Words(r)
}

// Language is the reader's.
func (w *Words) Language() string { return w.reader.Language }

// Say returns the words behind a key, with the values filled in. An unknown key
// comes back as itself: a text with a hole is better than none at night.
func (w *Words) Say(key string, values map[string]any) string {
	text, err := w.localizer.Localize(&i18n.LocalizeConfig{MessageID: key, TemplateData: values})
	if err != nil && text == "" {
		return key
	}
	return text
}

// Plural says words that depend on a number, which is filled in as N.
func (w *Words) Plural(key string, count int) string { return w.PluralWith(key, count, nil) }

// PluralWith is Plural with other values to fill in.
func (w *Words) PluralWith(key string, count int, values map[string]any) string {
	all := map[string]any{"N": count}
	maps.Copy(all, values)
	text, err := w.localizer.Localize(&i18n.LocalizeConfig{MessageID: key, PluralCount: count, TemplateData: all})
	if err != nil && text == "" {
		return key
	}
	return text
}

// Volume is litres as a number and the unit's name in full.
func (w *Words) Volume(litres float64) (number, unit string) {
	number, unit = units.Volume(litres, w.reader.Units)
	return w.Number(number), w.unit(unit, number)
}

// VolumeUnit is the unit's name for the head of a column.
func (w *Words) VolumeUnit() string {
	_, unit := units.Volume(0, w.reader.Units)
	return w.unit(unit, "2")
}

// unit is a unit's name as it goes with a number, given with a point.
func (w *Words) unit(unit, number string) string {
	if number == "?" { // not known
		number = "2"
	}
	text, err := w.localizer.Localize(&i18n.LocalizeConfig{MessageID: "unit_" + unitKey(unit), PluralCount: number})
	if err != nil && text == "" {
		return unit
	}
	return text
}

// Read is a temperature as it was read off a thermometer: to a tenth where there are any.
func (w *Words) Read(c float64) string {
	text := units.PlainFineTemperature(c, w.reader.Units)
	return w.Number(strings.Replace(text, ".0 ", " ", 1))
}

// Number writes a number, given with a point, as the language does.
func (w *Words) Number(text string) string {
	return strings.Replace(text, ".", w.Say("decimal", nil), 1)
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
	switch {
	case h == 0:
		return w.Say("clock_midnight", nil)
	case h == 12:
		return w.Say("clock_noon", nil)
	case w.Say("clock_hours", nil) == "24":
		return w.Say("clock", map[string]any{"H": h})
	case h > 12:
		h, key = h-12, "clock_pm"
	}
	return w.Say(key, map[string]any{"H": h})
}

// Deadline is the moment to name for something to be done by: an hour earlier where
// that is midnight, which people take for the end of the day that it begins.
func (w *Words) Deadline(t time.Time) time.Time {
	if whole := t.Round(time.Hour); whole.Hour() == 0 {
		return whole.Add(-time.Hour)
	}
	return t
}

// Time is a time of day as the language writes it, to the minute where there
// are any.
func (w *Words) Time(t time.Time) string {
	if t.Minute() == 0 {
		return w.Clock(t)
	}
	h, key := t.Hour(), "time_am"
	switch {
	case w.Say("clock_hours", nil) == "24":
		key = "time"
	case h >= 12:
		h, key = (h+11)%12+1, "time_pm"
	case h == 0:
		h = 12
	}
	return w.Say(key, map[string]any{"H": h, "M": t.Format("04")})
}

// Weekday is the local day's name.
func (w *Words) Weekday(t time.Time) string {
	return w.Say(fmt.Sprintf("weekday_%d", int(t.Weekday())), nil)
}

// ShortWeekday is the local day's name, shortened.
func (w *Words) ShortWeekday(t time.Time) string {
	return w.Say(fmt.Sprintf("weekday_short_%d", int(t.Weekday())), nil)
}

// Date is a day of the year without the year.
func (w *Words) Date(t time.Time) string {
	key := "date"
	if t.Day() == 1 {
		key = "date_first"
	}
	return w.Say(key, map[string]any{"Day": t.Day(), "Month": w.Say(fmt.Sprintf("month_%d", int(t.Month())), nil)})
}
