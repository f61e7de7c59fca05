package message

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Aloud is the room of a voice: numbers as words, no brackets and no dashes, and no more
// than somebody listens to.
const Aloud Room = "spoken"

// Reading aloud: so many words a minute, and for how long at most.
const (
	WordsPerMinute = 140
	MostSeconds    = 20
)

// SpokenWords is how many words a text has for a voice.
func SpokenWords(text string) int { return len(strings.Fields(text)) }

// hasBreath reports whether a spoken text is short enough.
func hasBreath(text string) bool { return SpokenWords(text)*60 <= MostSeconds*WordsPerMinute }

// What is written one way and said another.
var (
	percentSign   = regexp.MustCompile(`([<>]?)(\d+(?:[.,]\d+)?)\s?%`)
	temperature   = regexp.MustCompile(`([-−]?)(\d+(?:[.,]\d+)?)\s?°?[FC]\b`)
	clockMinutes  = regexp.MustCompile(`\b(\d{1,2}):(\d\d)\s?(am|pm)?`)
	clockHour     = regexp.MustCompile(`\b(\d{1,2})\s?(am|pm)\b`)
	frenchHour    = regexp.MustCompile(`\b(\d{1,2})\s?h(?:\s?(\d\d))?\b`)
	decimalNumber = regexp.MustCompile(`\b(\d+)[.,](\d+)\b`)
	thousands     = regexp.MustCompile(`\b(\d{1,3})[ ,](\d{3})\b`)
	between       = regexp.MustCompile(`(\d)\s?[–—-]\s?(\d)`)
	firstOfMonth  = regexp.MustCompile(`\b1er\b`)
	wholeNumber   = regexp.MustCompile(`\d+`)
	brackets      = regexp.MustCompile(`\s*[(\[{]([^)\]}]*)[)\]}]`)
	colon         = regexp.MustCompile(`\s?[:;](\s|$)`)
	doubleStops   = regexp.MustCompile(`([.,])(?:\s*[.,])+`)
	beforeStop    = regexp.MustCompile(`\s+([.,?!])`)
	dayOfMonth    = regexp.MustCompile(`(\d{1,2}(?:er)?) (\p{L}+\.?)`)
)

// aloud writes a text as a voice says it, in the words of the reader's language.
func (w *Words) aloud(text string) string {
	tag := w.tongues[0].tag
	key := func(key string, values map[string]any) string { return settled(w.Open().Say(key, values)) }
	say := func(digits string) string {
		if p := decimalNumber.FindStringSubmatch(digits); p != nil {
			return key("spoken_point", map[string]any{"Whole": inWords(tag, p[1]), "Tenths": inWords(tag, p[2])})
		}
		return inWords(tag, digits)
	}
	text = oneLine.Replace(text)
	text = w.wholeMonths(text)
	text = thousands.ReplaceAllString(text, "$1$2")
	text = between.ReplaceAllStringFunc(text, func(m string) string {
		p := between.FindStringSubmatch(m)
		return key("spoken_to", map[string]any{"From": p[1], "To": p[2]})
	})
	text = percentSign.ReplaceAllStringFunc(text, func(m string) string {
		p := percentSign.FindStringSubmatch(m)
		said := key("spoken_percent", map[string]any{"N": say(p[2])})
		switch p[1] {
		case ">":
			return key("spoken_above", map[string]any{"N": said})
		case "<":
			return key("spoken_below", map[string]any{"N": said})
		}
		return said
	})
	text = temperature.ReplaceAllStringFunc(text, func(m string) string {
		p := temperature.FindStringSubmatch(m)
		said := say(p[2])
		if p[1] != "" {
			said = key("spoken_minus", map[string]any{"N": said})
		}
		return key("spoken_degrees", map[string]any{"N": said})
	})
	text = w.hoursAloud(text, say)
	text = decimalNumber.ReplaceAllStringFunc(text, say)
	if tag == "fr" {
		text = firstOfMonth.ReplaceAllString(text, "premier")
	}
	text = wholeNumber.ReplaceAllStringFunc(text, say)
	text = brackets.ReplaceAllString(text, ", $1,")
	text = colon.ReplaceAllString(text, ".$1")
	text = strings.NewReplacer("–", ", ", "—", ", ", "-", " ", "/", ", ", "(", " ", ")", " ", "[", " ", "]", " ", "{", " ", "}", " ",
		":", " ", ";", ",", "%", " ", "\"", "", "“", "", "”", "", "«", "", "»", "", "°", "", "\u2011", " ", "_", " ").Replace(text)
	text = beforeStop.ReplaceAllString(strings.Join(strings.Fields(text), " "), "$1")
	text = doubleStops.ReplaceAllStringFunc(text, func(m string) string {
		if strings.Contains(m, ".") {
			return "."
		}
		return ","
	})
	return strings.TrimLeft(text, "., ")
}

// ReadAloud writes any text of these words as a voice says it.
func (w *Words) ReadAloud(text string) string { return w.aloud(text) }

// hoursAloud says times of day.
func (w *Words) hoursAloud(text string, say func(string) string) string {
	part := func(hour int, half, said string) string {
		switch {
		case half == "am":
			return w.Say("spoken_am", map[string]any{"Time": said})
		case half == "pm" && hour < 6:
			return w.Say("spoken_pm", map[string]any{"Time": said})
		case half == "pm":
			return w.Say("spoken_night", map[string]any{"Time": said})
		}
		return said
	}
	text = clockMinutes.ReplaceAllStringFunc(text, func(m string) string {
		p := clockMinutes.FindStringSubmatch(m)
		hour, _ := strconv.Atoi(p[1])
		said := say(p[1])
		if p[2] != "00" {
			said += " " + say(p[2])
		}
		return part(hour, p[3], said)
	})
	text = clockHour.ReplaceAllStringFunc(text, func(m string) string {
		p := clockHour.FindStringSubmatch(m)
		hour, _ := strconv.Atoi(p[1])
		return part(hour, p[2], say(p[1]))
	})
	if w.tongues[0].tag != "fr" {
		return text
	}
	return frenchHour.ReplaceAllStringFunc(text, func(m string) string {
		p := frenchHour.FindStringSubmatch(m)
		said := say(p[1]) + " heures"
		if p[1] == "1" {
			said = "une heure"
		}
		if p[2] != "" && p[2] != "00" {
			said += " " + say(p[2])
		}
		return said
	})
}

// wholeMonths says months by their names where they are shortened, after a day.
func (w *Words) wholeMonths(text string) string {
	t := w.tongues[0]
	return dayOfMonth.ReplaceAllStringFunc(text, func(m string) string {
		p := dayOfMonth.FindStringSubmatch(m)
		for month := 1; month <= 12; month++ {
			short, long := t.texts[fmt.Sprintf("month_%d", month)].Other, t.texts[fmt.Sprintf("spoken_month_%d", month)].Other
			if short != "" && long != "" && p[2] == short {
				return p[1] + " " + long
			}
		}
		return m
	})
}

// JointAloud makes one call of what one person is told at one moment: the texts in their
// order, as many as somebody listens to, and how to say that one heard.
func (w *Words) JointAloud(texts []string) string {
	out := ""
	for _, text := range texts {
		longer := strings.TrimSpace(out + " " + text)
		if out != "" && !hasBreath(longer) {
			break
		}
		out = longer
	}
	return out
}

// HowToSay is how somebody who is called says that they heard.
func (w *Words) HowToSay() string { return w.Say("spoken_press", nil) }
