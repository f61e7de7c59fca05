package message

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Joint makes one message of texts about a bush that one person is told at one moment: a
// line each, in their order. What several begin with, the bush's name, and what several
// end with, the age of the weather or what to mind out there, is said once.
func (w *Words) Joint(name string, texts []string) string {
	if len(texts) == 1 {
		return texts[0]
	}
	name = strings.TrimSpace(name)
	names := []string{w.written(name), w.In(Wide).written(name)} // a text in another alphabet has its accents
	head := ""
	var lines []string
	for _, text := range texts {
		for _, n := range []int{40, 30, 20, 16, 12} { // as far as a text had room for it
			rest, short, cut := "", "", false
			for _, short = range names {
				if rest, cut = strings.CutPrefix(text, shorten(short, n)); cut {
					break
				}
			}
			if cut && short != "" && (strings.HasPrefix(rest, ": ") || strings.HasPrefix(rest, ". ")) { // a question begins with a stop
				text, head = rest[2:], shorten(short, 40)+": "
				break
			}
		}
		lines = append(lines, text)
	}
	var said []string
	careful := " " + w.written(w.Say("round_careful", nil))
	for i, line := range lines {
		if slices.ContainsFunc(lines[i+1:], func(later string) bool { return strings.HasSuffix(later, careful) }) {
			line = strings.TrimSuffix(line, careful) // it is said once, at the end
		}
		without, age := w.withoutAge(line)
		if age != "" && slices.ContainsFunc(lines[i+1:], func(later string) bool { return strings.HasSuffix(later, age) }) {
			line = without
		}
		if !slices.Contains(lines[i+1:], line) {
			said = append(said, line)
		}
	}
	return head + strings.Join(said, "\n")
}

// withoutAge parts a text before the age of the weather; "" where it does not end with it.
func (w *Words) withoutAge(text string) (without, age string) {
	cut := strings.LastIndex(strings.TrimSuffix(text, "."), ". ")
	if cut < 1 {
		return text, ""
	}
	end := text[cut+2:]
	n, err := strconv.Atoi(number.FindString(end))
	if err != nil {
		return text, ""
	}
	for _, key := range []string{"text_age", "text_age_kept", "text_age_days"} {
		if end == w.written(w.Plural(key, n))+"." {
			return text[:cut+1], end
		}
	}
	return text, ""
}

var number = regexp.MustCompile(`[0-9]+`)
