package config

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Problem is one thing wrong, or doubtful, in the settings: where it stands,
// what is wrong, and what would be right.
type Problem struct {
	File   string // the settings file, "environment", or "" for neither
	Line   int    // 0 where there is none
	Key    string // such as "sites[0].groups[1].taps", or a variable's name
	What   string
	Remedy string
	// LeftOut is set where it keeps sites of sites_from out.
	LeftOut bool
}

// String writes the problem on one line: file:line: key: what; remedy.
func (p Problem) String() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File)
		if p.Line > 0 {
			fmt.Fprintf(&b, ":%d", p.Line)
		}
		b.WriteString(": ")
	}
	if p.Key != "" {
		b.WriteString(oneLine(p.Key) + ": ")
	}
	return b.String() + oneLine(p.What) + "; " + p.Remedy
}

// oneLine keeps a text quoted from a file from breaking the line or flooding
// it.
func oneLine(s string) string {
	s = strings.Join(strings.FieldsFunc(s, unicode.IsControl), " ")
	if runes := []rune(s); len(runes) > 300 {
		s = string(runes[:300]) + "…"
	}
	return s
}

// Errors is everything wrong with the settings, in the order of the file.
type Errors []Problem

func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, p := range e {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

func inFileOrder(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int { return a.Line - b.Line })
}
