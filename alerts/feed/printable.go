package feed

import (
	"strings"
	"unicode"
)

var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u2028", "\n", "\u2029", "\n")

// printable is a text as every reader can show it: valid UTF-8, lines that end in
// one way, and no other control characters.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' {
			return -1
		}
		return r
	}, lineEnds.Replace(strings.ToValidUTF8(text, "\ufffd")))
}
