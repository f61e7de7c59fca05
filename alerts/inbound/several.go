package inbound

import (
	"cmp"
	"slices"
	"strings"

	"thawline/forecast/units"
)

// Several reads a text that records two groups or more, in either order: "north 120 south
// 80", "120 north, 80 south". It returns nil where the text is anything else, and where
// one of its parts is not clear: then all of it is asked back.
func (l *Lexicon) Several(text string, groups []Group, system units.System) []Understood {
	out, _ := l.several(text, groups, system)
	return out
}

// Unclear is what to ask back about the first part of a text of several groups that is not
// clear; false where it is no such text.
func (l *Lexicon) Unclear(text string, groups []Group, system units.System) (Understood, bool) {
	_, unclear := l.several(text, groups, system)
	return unclear, unclear.Kind == Question
}

func (l *Lexicon) several(text string, groups []Group, system units.System) (all []Understood, unclear Understood) {
	t := folded(strings.Trim(text, " .!?\n\t"))
	spans := l.allNamed(t, groups)
	if len(spans) < 2 {
		return nil, unclear
	}
	var parts []string
	switch last := spans[len(spans)-1]; {
	case l.saysNothing(t[:spans[0].from]): // "emptied north 120 south 80"
		for i, s := range spans {
			end := len(t)
			if i+1 < len(spans) {
				end = spans[i+1].from
			}
			parts = append(parts, t[s.from:end])
		}
	case last.to == len(t):
		from := 0
		for _, s := range spans {
			parts, from = append(parts, t[from:s.to]), s.to
		}
	default:
		return nil, unclear
	}
	seen := map[string]bool{}
	for _, part := range parts {
		u := l.recordIn(l.unjoined(part), groups, system)
		if u.Kind != Collected || seen[u.Group] {
			return nil, u
		}
		seen[u.Group] = true
		all = append(all, u)
	}
	return all, unclear
}

// saysNothing reports whether words before a record only join it.
func (l *Lexicon) saysNothing(words string) bool {
	return !slices.ContainsFunc(l.items(words), func(it item) bool { return it.row == nil || it.row.Kind != Joint })
}

// span is where a group's name stands in a text.
type span struct{ from, to int }

// allNamed are the names of groups in a text in their order; of names that overlap the
// longest counts.
func (l *Lexicon) allNamed(t string, groups []Group) []span {
	var found []span
	for i := range groups {
		for _, name := range []string{folded(groups[i].Name), folded(groups[i].ID)} {
			for at := 0; name != ""; {
				next := strings.Index(t[at:], name)
				if next < 0 {
					break
				}
				from := at + next
				if at = from + len(name); l.bounds(t, from, at) && !l.part(name) {
					found = append(found, span{from, at})
				}
			}
		}
	}
	slices.SortFunc(found, func(a, b span) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(b.to, a.to))
	})
	var out []span
	for _, s := range found {
		if n := len(out); n == 0 || s.from >= out[n-1].to {
			out = append(out, s)
		}
	}
	return out
}

// unjoined takes signs, and words that only join, from both ends of a part.
func (l *Lexicon) unjoined(part string) string {
	words := strings.Fields(strings.Trim(part, " ,;.+&"))
	joins := func(word string) bool {
		row := l.rows[word]
		return row != nil && row.Kind == And || word == "+" || word == "&"
	}
	for len(words) > 0 && joins(words[0]) {
		words = words[1:]
	}
	for len(words) > 0 && joins(words[len(words)-1]) {
		words = words[:len(words)-1]
	}
	return strings.Trim(strings.Join(words, " "), " ,;.")
}
