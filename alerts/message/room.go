package message

import (
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Room is what a way to people has for a text: which letters, and how many.
type Room string

// The rooms.
const (
	// Wide is that of e-mail, push, pages and feeds: every letter there is, and as many
	// as a text message has places.
	Wide Room = ""
	// Texted is that of text messages: one in the GSM 7-bit alphabet where the letters
	// are in it, else UCS-2, in as many parts as the language's file allows.
	Texted Room = "text message"
)

// What UCS-2 holds, in units of UTF-16: a message by itself, and each part of a longer one
// (3GPP TS 23.040, 9.2.3.24.1).
const (
	ucs2Alone = 70
	ucs2Part  = 67
	// usualParts is in how many parts a text in UCS-2 may go, where a file says nothing.
	usualParts = 2
	mostParts  = 3
)

// In are the same words for another room.
func (w *Words) In(r Room) *Words {
	out := *w
	out.room = r
	return &out
}

var oneLine = strings.NewReplacer("\n", " ", "\r", " ", "\f", " ", "\u00a0", " ", "\u202f", " ")

// written is a text in the letters of the room.
func (w *Words) written(text string) string {
	if w.room == Aloud {
		return w.aloud(text)
	}
	if w.room == Texted {
		if plain, whole := ToGSM7(text, w.tongues[0].accentsMayGo()); whole {
			return plain
		}
	}
	return norm.NFC.String(oneLine.Replace(text))
}

// fit is a text in the letters of the room, and whether it has room there.
func (w *Words) fit(text string) (written string, fits bool) {
	written = w.written(text)
	switch w.room {
	case Aloud:
		return written, hasBreath(written)
	case Wide:
		return written, utf8.RuneCountInString(written) <= SMSLimit
	}
	if n, inGSM := Septets(written); inGSM {
		return written, n <= SMSLimit
	}
	n := len(utf16.Encode([]rune(written)))
	return written, n <= ucs2Alone || n <= w.tongues[0].parts()*ucs2Part
}

// fitted is the first of some texts that has room. Where none has, the last one is cut
// between words.
func (w *Words) fitted(tries ...string) string {
	text := ""
	for _, try := range tries {
		if try == "" {
			continue
		}
		written, fits := w.fit(try)
		if fits {
			return written
		}
		text = written
	}
	return w.cut(text)
}

// cut takes words off a text's end until it has room.
func (w *Words) cut(text string) string {
	for {
		if written, fits := w.fit(text); fits {
			return written
		}
		if i := strings.LastIndexByte(strings.TrimRight(text, " "), ' '); i > len(text)/2 {
			text = text[:i]
			continue
		}
		text = shorten(text, utf8.RuneCountInString(text)-1)
	}
}
