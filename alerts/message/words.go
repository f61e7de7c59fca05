// Package message puts outlooks and decisions into words: in the reader's
// language, units and the length of the channel.
package message

import (
	"fmt"
	"maps"
	"strings"
	"time"

	"thawline/forecast/units"
)

// Reader is who a text is for.
type Reader struct {
	Language string // "en", "fr" or one that a catalogue file has added
	Units    units.System
	// Second is the language of whole sentences that Language lacks, "" for English.
	Second string
}

// Words finds the words of one language, and whole sentences of a second one where the
// first lacks them.
type Words struct {
	reader  Reader
	tongues []*side // the reader's own first; the last has every text
	room    Room
	open    bool // what is said comes in each language, until it is settled
	alone   bool // what the language lacks is marked as lacking
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
func (w *Words) Say(key string, values map[string]any) string { return w.text(key, nil, values) }

// Plural says words that depend on a number, which is filled in as N.
func (w *Words) Plural(key string, count int) string { return w.PluralWith(key, count, nil) }

// PluralWith is Plural with other values to fill in.
func (w *Words) PluralWith(key string, count int, values map[string]any) string {
	all := map[string]any{"N": count}
	maps.Copy(all, values)
	return w.text(key, count, all)
}

// text is the words behind a key, count nil where they depend on no number.
func (w *Words) text(key string, count any, values map[string]any) string {
	if !w.open {
		for _, t := range w.tongues {
			if text, has := t.say(key, count, values); has {
				return text
			}
		}
		if w.alone {
			return lacking
		}
		return key
	}
	texts := make([]string, len(w.tongues))
	for i, t := range w.tongues {
		own := make(map[string]any, len(values))
		for name, value := range values {
			if s, is := value.(string); is {
				value = sided(s, i)
			}
			own[name] = value
		}
		text, has := t.say(key, count, own)
		if !has {
			text = lacking
		}
		texts[i] = text
	}
	if last := len(texts) - 1; texts[last] == lacking {
		texts[last] = key
	}
	return both(texts)
}

// habit is how the language writes things, or what is usual.
func (w *Words) habit(key, usual string) string { return w.tongues[0].habit(key, usual) }

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
	return w.text("unit_"+unitKey(unit), number, nil)
}

// Read is a temperature as it was read off a thermometer: to a tenth where there are any.
func (w *Words) Read(c float64) string {
	text := units.PlainFineTemperature(c, w.reader.Units)
	return w.Number(strings.Replace(text, ".0 ", " ", 1))
}

// Rise is a difference of temperatures in kelvin, to a tenth of the reader's degrees.
func (w *Words) Rise(k float64) string { return w.Number(units.FineRise(k, w.reader.Units)) }

// Mass is kilograms in the reader's unit, to a tenth.
func (w *Words) Mass(kg float64) string { return w.Number(units.Mass(kg, w.reader.Units)) }

// Number writes a number, given with a point, as the language does.
func (w *Words) Number(text string) string {
	return w.each(func(one *Words) string { return strings.Replace(text, ".", one.habit("decimal", "."), 1) })
}

func unitKey(unit string) string {
	if unit == "L" {
		return "litre"
	}
	return "gallon"
}

// Clock is a time of day as the language writes it, to the hour.
func (w *Words) Clock(t time.Time) string {
	return w.each(func(one *Words) string { return one.clock(t) })
}

func (w *Words) clock(t time.Time) string {
	h := t.Round(time.Hour).Hour()
	key := "clock_am"
	switch {
	case h == 0:
		return w.Say("clock_midnight", nil)
	case h == 12:
		return w.Say("clock_noon", nil)
	case w.habit("clock_hours", "12") == "24":
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
	return w.each(func(one *Words) string { return one.time(t) })
}

func (w *Words) time(t time.Time) string {
	if t.Minute() == 0 {
		return w.clock(t)
	}
	h, key := t.Hour(), "time_am"
	switch {
	case w.habit("clock_hours", "12") == "24":
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

// Hours are from when until when a round is, the end to the next quarter of an hour: nobody
// knows better how long a walk takes.
func (w *Words) Hours(from, to time.Time) (start, end string) {
	const quarter = 15 * time.Minute
	if last := to.Truncate(quarter); last.Before(to) {
		to = last.Add(quarter)
	}
	return w.Time(from), w.Time(to)
}

// Joined lists names as people say them: "North, South and East".
func (w *Words) Joined(names []string) string {
	if len(names) == 0 {
		return ""
	}
	out := names[0]
	for i, name := range names[1:] {
		if i == len(names)-2 {
			return w.Say("attend_and", map[string]any{"First": out, "Last": name})
		}
		out += ", " + name
	}
	return out
}
