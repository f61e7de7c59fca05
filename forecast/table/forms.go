package table

import (
	"bufio"
	"bytes"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// separators that sheets write between columns, by what people call them.
var separators = []struct {
	char byte
	word string
}{{',', "commas"}, {';', "semicolons"}, {'\t', "tabs"}}

// unmarked takes off a byte order mark and turns UTF-16 with one into UTF-8.
func unmarked(r io.Reader) *bufio.Reader {
	return bufio.NewReader(transform.NewReader(r, unicode.BOMOverride(transform.Nop)))
}

// separator is what stands between the columns of the first line: what gives the
// most known names, commas where none does.
func (t *Reader) separator(in *bufio.Reader, known []string) (char byte, word string) {
	start, _ := in.Peek(in.Size()) // what is wrong with the file is told when it is read
	first, _, _ := bytes.Cut(start, []byte("\n"))
	most, best := 0, separators[0]
	for _, s := range separators {
		found := 0
		for _, cell := range strings.Split(string(first), string(s.char)) {
			if slices.Contains(known, t.named(strings.Trim(cell, `"`))) {
				found++
			}
		}
		if found > most {
			most, best = found, s
		}
	}
	return best.char, best.word
}

// decoded is a cell in UTF-8. Older sheets write Windows-1252, which no cell in
// UTF-8 with a letter beyond ASCII looks like.
func decoded(cell string) string {
	if utf8.ValidString(cell) {
		return cell
	}
	text, err := charmap.Windows1252.NewDecoder().String(cell)
	if err != nil {
		return strings.ToValidUTF8(cell, "\ufffd")
	}
	return text
}

// pointed is a number with a decimal point, where the sheet writes a comma.
func (t *Reader) pointed(text string) string {
	if t.csv.Comma == ',' || strings.Contains(text, ".") || strings.Count(text, ",") != 1 {
		return text
	}
	return strings.Replace(text, ",", ".", 1)
}
