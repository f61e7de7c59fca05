package web

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// Where nothing is known to put into a table, a sentence says so.
func TestNoBareHeads(t *testing.T) {
	v := speaking(t, "en", units.US)
	b := boilOf(atABush(v), &forecast.Outlook{})
	for page, body := range map[string]any{"boil": b} {
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

// The page of boiling says the same span for sugar as the command does, with its chance.
func TestHoursForSugarOnPages(t *testing.T) {
	day := time.Date(2026, 3, 21, 0, 0, 0, 0, time.UTC)
	o := &forecast.Outlook{Sugar: []boil.SugarSpan{{Date: "2026-03-21", From: day.Add(10 * time.Hour), To: day.Add(15 * time.Hour),
		Chance: 0.84, HumidityPct: 41, Grade: boil.Dry}}}
	for language, want := range map[string][2]string{"en": {"10 am to 3 pm", "8 in 10"}, "fr": {"de 10 h à 15 h", "8 fois sur 10"}} {
		v := speaking(t, language, units.US)
		for page, body := range map[string]any{"boil": boilOf(atABush(v), o)} {
			var out strings.Builder
			v.Body = body
			if err := templates[page].Execute(&out, v); err != nil {
				t.Fatal(err)
			}
			said := strings.Join(strings.Fields(out.String()), " ") // spaces that do not break too
			for _, w := range want {
				if !strings.Contains(said, w) {
					t.Errorf("%s in %s does not say %q", page, language, w)
				}
			}
		}
		var printed strings.Builder
		if err := sections.PrintFire(&printed, o, v.words, units.US); err != nil {
			t.Fatal(err)
		}
		plain := strings.Join(strings.Fields(printed.String()), " ")
		if !strings.Contains(plain, want[1]) || !strings.Contains(plain, strings.TrimPrefix(want[0], "de ")) {
			t.Errorf("the command in %s says %q", language, plain)
		}
	}
}

// atABush is a view of some bush's page.
func atABush(v *view) *view {
	v.Site = &forecast.Site{}
	return v
}
