package message

import (
	"slices"
	"strings"
)

// Joint makes one message of texts about a bush that one person is told at one moment: a
// line each, in their order. What several begin with, the bush's name, and what several
// end with, the age of the weather, is said once.
func Joint(name string, texts []string) string {
	if len(texts) == 1 {
		return texts[0]
	}
	name = ToGSM7(strings.TrimSpace(name))
	head := ""
	var lines []string
	for _, text := range texts {
		for _, n := range []int{40, 30, 20, 16, 12} { // as far as a text had room for it
			if rest, cut := strings.CutPrefix(text, shorten(name, n)+": "); cut && name != "" {
				text, head = rest, shorten(name, 40)+": "
				break
			}
		}
		lines = append(lines, text)
	}
	var said []string
	for i, line := range lines {
		without, end := lastSentence(line)
		if slices.ContainsFunc(lines[i+1:], func(later string) bool { _, its := lastSentence(later); return end != "" && its == end }) {
			line = without
		}
		if !slices.Contains(lines[i+1:], line) {
			said = append(said, line)
		}
	}
	return head + strings.Join(said, "\n")
}

// lastSentence parts a text before its last sentence; "" where there is only one.
func lastSentence(text string) (without, end string) {
	if cut := strings.LastIndex(strings.TrimSuffix(text, "."), ". "); cut > 0 {
		return text[:cut+1], text[cut+2:]
	}
	return text, ""
}
