package message

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A sheet has two columns. In the first stands a text as it is said today, and below it where it is
// said, for how many characters there is room, the text with an example filled in, and in
// brackets its key. The second column is for the same in another language. What is filled
// in stands in braces: {Day}.

var (
	keyCell     = regexp.MustCompile(`\[([a-z0-9_]+)(?:\.(zero|one|two|few|many|other))?\]\s*$`)
	placeholder = regexp.MustCompile(`\{\{\.([A-Za-z]+)\}\}`)
	simple      = regexp.MustCompile(`\{([A-Za-z]+)\}`)
)

// sheetHabits are asked for before the texts.
var sheetHabits = []struct{ key, what, example string }{
	{"language_name", "What the language calls itself", "English"},
	{"written_by", "Who wrote this file; it is theirs", ""},
	{"terms", "On what terms others may use it", "Ask us first."},
	{"clock_hours", "Hours of the clock: 12 or 24", "24"},
	{"decimal", "What parts a number from its tenths", "."},
	{"plural_rule", "A language whose words go with numbers in the same way; empty where one form serves all numbers", "en"},
	{"sms_parts", "In how many parts a text message may go where its letters need UCS-2: 1, 2 or 3", "2"},
	{"sms_accents_may_go", "May accents be left out of text messages? yes or no", "no"},
}

// WriteSheet writes texts in English as a sheet, beside them what a language has of them.
func WriteSheet(out io.Writer, english, own Texts, mostTexts int) error {
	var b bytes.Buffer
	b.WriteString("\ufeff") // by which spreadsheets know UTF-8
	w := csv.NewWriter(&b)
	rows := [][]string{{"English", "Your language"}}
	for _, h := range sheetHabits {
		note := h.what
		if h.example != "" {
			note += "\nSuch as: " + h.example
		}
		rows = append(rows, []string{note + "\n[" + h.key + "]", own[h.key].Other})
	}
	n := 0
	for _, key := range inSheetOrder(english) {
		if slices.ContainsFunc(sheetHabits, func(h struct{ key, what, example string }) bool { return h.key == key }) {
			continue
		}
		if n++; mostTexts > 0 && n > mostTexts {
			break
		}
		for _, form := range formsOf(english[key]) {
			rows = append(rows, []string{cellOf(key, form, english[key].forms()[form]), simpler(own[key].forms()[form])})
		}
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	_, err := out.Write(b.Bytes())
	if err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	return nil
}

func formsOf(t Text) []string {
	if t.One == "" {
		return []string{"other"}
	}
	return []string{"one", "other"}
}

func cellOf(key, form, text string) string {
	at := placeOf(key)
	note := "Where: " + at.said
	if at.room > 0 {
		note += "; room for " + strconv.Itoa(at.room) + " characters"
	}
	cell := simpler(text) + "\n" + note
	if filled := Filled(text); filled != text {
		cell += "\nFilled in: " + filled
	}
	if form != "other" {
		key += "." + form
	}
	return cell + "\n[" + key + "]"
}

// simpler writes placeholders as people can: {Day} for {{.Day}}.
func simpler(text string) string { return placeholder.ReplaceAllString(text, "{$1}") }

// ReadSheet reads a sheet that somebody has filled in, the whole of what is wrong with it
// by rows. Rows that are left empty count as missing.
func ReadSheet(in io.Reader, english Texts) (Texts, error) {
	data, err := io.ReadAll(io.LimitReader(in, mostBytes+1))
	if err != nil {
		return nil, fmt.Errorf("sheet: %w", err)
	}
	if len(data) > mostBytes {
		return nil, errors.New("the sheet is longer than any catalogue")
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	r := csv.NewReader(strings.NewReader(text))
	first, _, _ := strings.Cut(text, "\n")
	for _, sign := range []rune{';', '\t'} { // as spreadsheets of other countries part columns
		if strings.Count(first, string(sign)) > strings.Count(first, ",") {
			r.Comma = sign
		}
	}
	r.FieldsPerRecord, r.LazyQuotes = -1, true
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the sheet can't be read: %w; save it as CSV", err)
	}
	texts, where := Texts{}, map[string]int{}
	var faults []error
	for i, row := range rows {
		if len(row) < 2 || i == 0 {
			continue
		}
		m := keyCell.FindStringSubmatch(strings.TrimSpace(row[0]))
		said := strings.TrimSpace(row[1])
		if m == nil {
			if said != "" {
				faults = append(faults, fmt.Errorf("row %d: the first column has lost its key in brackets; leave that column as it is",
					i+1))
			}
			continue
		}
		if said == "" {
			continue
		}
		if was := english[m[1]].forms()[cmp.Or(m[2], "other")]; was != "" { // spaces that join it to others are not seen in a sheet
			bare := strings.TrimSpace(was)
			before, after, _ := strings.Cut(was, bare)
			said = before + said + after
		}
		one := texts[m[1]]
		*formOf(&one, m[2]) = literal(said, english[m[1]])
		texts[m[1]], where[m[1]] = one, i+1
	}
	for key, one := range texts {
		if one.Other == "" { // one form was filled in: it serves all numbers
			for _, form := range []string{one.Many, one.Few, one.Two, one.One, one.Zero} {
				if one.Other == "" {
					one.Other = form
				}
			}
			texts[key] = one
		}
	}
	for _, fault := range texts.Check(english) {
		key, _, _ := strings.Cut(fault, " ")
		faults = append(faults, fmt.Errorf("row %d: %s", where[strings.TrimSuffix(key, ":")], simpler(fault)))
	}
	return texts, errors.Join(faults...)
}

// literal gives a text that somebody has filled in its placeholders; what stands in braces
// in English too, such as what a text gateway is sent, stays as it is.
func literal(said string, english Text) string {
	return simple.ReplaceAllStringFunc(said, func(part string) string {
		for _, form := range english.forms() {
			if strings.Contains(placeholder.ReplaceAllString(form, ""), part) {
				return part
			}
		}
		return "{{." + part[1:len(part)-1] + "}}"
	})
}

func formOf(t *Text, name string) *string {
	switch name {
	case "zero":
		return &t.Zero
	case "one":
		return &t.One
	case "two":
		return &t.Two
	case "few":
		return &t.Few
	case "many":
		return &t.Many
	}
	return &t.Other
}

// WriteTexts writes texts as a catalogue file.
func WriteTexts(t Texts) string {
	var b, tables strings.Builder
	b.WriteString("# Words of thawline. What stands in braces is filled in: keep it, in any order.\n")
	if by := t["written_by"].Other; by != "" {
		b.WriteString("# This file belongs to " + strings.Join(strings.Fields(by), " ") + ".\n")
	}
	if terms := t["terms"].Other; terms != "" {
		b.WriteString("# Terms: " + strings.Join(strings.Fields(terms), " ") + "\n")
	}
	for _, key := range slices.Sorted(maps.Keys(t)) {
		forms := t[key].forms()
		if len(forms) == 1 && t[key].Other != "" {
			fmt.Fprintf(&b, "%s = %s\n", key, quoted(t[key].Other))
			continue
		}
		fmt.Fprintf(&tables, "\n[%s]\n", key)
		for _, form := range slices.Sorted(maps.Keys(forms)) {
			fmt.Fprintf(&tables, "%s = %s\n", form, quoted(forms[form]))
		}
	}
	return b.String() + tables.String()
}

// quoted is a text as TOML has it: letters as they are, a backslash before what ends it.
func quoted(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, text)
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\r", "", "\t", " ").Replace(text) + `"`
}
