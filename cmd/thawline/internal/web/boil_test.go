package web

import (
	"strings"
	"testing"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Where nothing is known to put into a table, a sentence says so.
func TestNoBareHeads(t *testing.T) {
	v := speaking(t, "en", units.US)
	b := boilOf(v, &forecast.Outlook{})
	for page, body := range map[string]any{"boil": b, "wall": &wallBody{Boil: b}} {
		var out strings.Builder
		v.Body = body
		if err := templates[page].Execute(&out, v); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"The coming days are not known yet.", "how damp the air will be"} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%s does not say %q", page, want)
			}
		}
		if strings.Contains(out.String(), "<table") {
			t.Errorf("%s has a table without rows", page)
		}
	}
}
