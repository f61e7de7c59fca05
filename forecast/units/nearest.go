package units

import (
	"fmt"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Nearest returns the known word that a misspelt one most likely means, or ""
// where none is close: at most one letter wrong in three, two in seven, three
// in longer words. Case does not count, and the first of equals wins.
func Nearest(word string, known []string) string {
	word = strings.ToLower(strings.TrimSpace(word))
	if word == "" || len(word) > 64 {
		return ""
	}
	best, bestDistance := "", min(1+len(word)/4, 3)+1
	for _, k := range known {
		d := levenshtein.ComputeDistance(word, strings.ToLower(k))
		if d < bestDistance && d < len(k) {
			best, bestDistance = k, d
		}
	}
	return best
}

// Suggest words the remedy for an unknown word: the nearest known one, or the
// general advice where none is close.
func Suggest(word string, known []string, otherwise string) string {
	if n := Nearest(word, known); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return otherwise
}
