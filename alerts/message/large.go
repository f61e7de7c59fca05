package message

import (
	"strings"
	"unicode/utf8"
)

// Large print by a printer's own letters, five to an inch and three lines to an inch
// (lp -o cpi=5 -o lpi=3): half a letter page has so much room.
const (
	LargeColumns = 34
	LargeLines   = 15
)

// LargePrint sets a text for poor eyes: each sentence begins a line, no word is parted, and
// it takes half a page; what has no room is left out from the end, by whole sentences.
func LargePrint(title, text string) string {
	lines := append(wrapped(title), "")
	for _, sentence := range strings.SplitAfter(text, ". ") {
		more := wrapped(sentence)
		if len(lines)+len(more) > LargeLines {
			break
		}
		lines = append(lines, more...)
	}
	return strings.Join(lines, "\n") + "\n"
}

// wrapped are the lines of a text, none longer than the page is wide.
func wrapped(text string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > LargeColumns {
			r := []rune(word)
			lines, word = append(lines, string(r[:LargeColumns])), string(r[LargeColumns:])
		}
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > LargeColumns {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
