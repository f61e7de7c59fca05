package daemon

import (
	"context"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
)

// A line of the sugarhouse's book comes by text, once, in both languages, from those who
// may write; undo takes back what was written last, be it a visit or a line.
func TestSugarhouseByText(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for role, writes := range map[auth.Role]bool{auth.Viewer: false, auth.Crew: true} {
		d, box := crewAndKeepers(t, now, func(s *Settings) { s.People[0].Role = string(role) })
		p, site := &d.settings.People[0], &d.settings.Sites[0]
		at := now
		says := func(text string) string {
			t.Helper()
			box.got = nil
			at = at.Add(11 * time.Minute)
			for range 2 { // a gateway may call twice
				if err := d.heard(ctx, site, p, text, text+at.String(), at); err != nil {
					t.Fatal(err)
				}
			}
			d.deliver(ctx, at)
			return box.said()
		}
		book := func() string {
			t.Helper()
			lines, err := House(ctx, d.Archive, site, at)
			if err != nil {
				t.Fatal(err)
			}
			var kinds []string
			for _, l := range lines {
				kinds = append(kinds, string(l.Kind))
			}
			return strings.Join(kinds, " ")
		}
		if !writes {
			if said := says("boiled 220 L 5.1 L syrup"); !strings.Contains(said, "Nothing was written down") || book() != "" {
				t.Errorf("%s: %s, %s", role, said, book())
			}
			continue
		}
		for _, c := range []struct{ text, says, book string }{
			{"20 L 2.1", "", ""},
			{"boiled 220 L 5.1 L syrup", "Noted: boiled", "boiled"},
			{"bouilli 100 L", "Noted: boiled", "boiled boiled"},
			{"wood 0.4 cord", "0.40 cords of wood", "boiled boiled wood_left"},
			{"boiled 40 L 30 L syrup", "more than a quarter", "boiled boiled wood_left"},
			{"boiled", "Write it like", "boiled boiled wood_left"},
			{"undo", "Taken back: 0.40 cords", "boiled boiled"},
			{"undo", "Taken back: a boil of", "boiled"},
			{"undo", "Taken back: a boil of", ""},
			{"undo", "Taken back: pails Mon 9 Mar", ""},
		} {
			if said := says(c.text); !strings.Contains(said, c.says) || book() != c.book || len(box.got) != 1 {
				t.Errorf("%q: %s; the book: %s, want %q and %s", c.text, said, book(), c.says, c.book)
			}
		}
	}
}
