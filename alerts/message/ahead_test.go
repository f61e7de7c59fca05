package message

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thawline/alerts"
	"thawline/forecast/units"
)

// Every text of a big run is one message, whatever the bush is called: it names its one
// day or both, and says how old its weather is.
func TestBigRunsFitOneMessage(t *testing.T) {
	monday := time.Date(2026, 3, 23, 0, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		name := strings.ReplaceAll(rapid.String().Draw(t, "name"), "{{", "")
		o := outlook(name, 0.5, "run", 1, 2, 3, -5, 5, 9, 17, rapid.Float64Range(0, 400).Draw(t, "age"))
		o.Source.Kept = rapid.Bool().Draw(t, "kept")
		from := rapid.IntRange(0, 6).Draw(t, "from")
		to := from + rapid.IntRange(0, 1).Draw(t, "more")
		chance, sees := rapid.Float64Range(0, 1).Draw(t, "chance"), rapid.IntRange(1, 7).Draw(t, "sees")
		for _, kind := range []alerts.Kind{alerts.LookingAhead, alerts.GetReady} {
			row, _ := alerts.ProfileOf(kind)
			for _, what := range row.Says {
				d := alerts.Decision{Kind: kind,
					Facts: alerts.Facts{What: what, Chance: chance, Days: sees, From: monday.AddDate(0, 0, from).Format(time.DateOnly),
						To: monday.AddDate(0, 0, to).Format(time.DateOnly)}}
				for _, language := range []string{"en", "fr", "xx"} {
					w, err := NewWords(Reader{Language: language, Units: units.Metric})
					if err != nil {
						t.Fatal(err)
					}
					w = w.In(Texted)
					text := w.Alert(&d, &o)
					if n, ok := Septets(text); !hasRoom(text) || strings.Contains(text, "{{") || strings.Contains(text, "no value") {
						t.Fatalf("%d septets, in the alphabet %v: %q", n, ok, text)
					}
					for day := from; day <= to && language != "xx"; day++ {
						if name := w.Weekday(monday.AddDate(0, 0, day)); !strings.Contains(text, name) &&
							!strings.Contains(text, gsm(name)) {
							t.Fatalf("does not say %s: %q", name, text)
						}
					}
					if language != "xx" && (o.Source.Kept || o.Source.AgeHours >= staleHours+1) && !saysAge.MatchString(text) {
						t.Fatalf("does not say how old its weather is: %q", text)
					}
				}
			}
		}
	})
}

func TestBigRunsInWords(t *testing.T) {
	o := outlook("Fox Hollow", 0.5, "run", 1, 2, 3, -5, 5, 9, 17, 1)
	for _, c := range []struct {
		language string
		d        alerts.Decision
		want     string
	}{
		{"en", alerts.Decision{Kind: alerts.LookingAhead, Facts: alerts.Facts{From: "2026-03-26", To: "2026-03-27", Days: 4}},
			"Fox Hollow: Big run likely Thursday or Friday: empty the tanks, split wood, line up help. Reliable up to 4 days ahead here."},
		{"en", alerts.Decision{Kind: alerts.GetReady, Facts: alerts.Facts{From: "2026-03-26", To: "2026-03-26", Chance: 0.4}},
			"Fox Hollow: Get ready: big run likely Thursday. Empty the tanks, bring in wood, call the crew."},
		{"en", alerts.Decision{Kind: alerts.GetReady, Facts: alerts.Facts{From: "2026-03-26", To: "2026-03-27", Chance: 0.39}},
			"Fox Hollow: Get ready: big run possible Thursday or Friday. Empty the tanks, bring in wood, call the crew."},
		{"fr", alerts.Decision{Kind: alerts.GetReady, Facts: alerts.Facts{From: "2026-03-26", To: "2026-03-26", Chance: 0.2}},
			"Fox Hollow: Préparez-vous : grosse coulée possible jeudi. Videz les bassins, rentrez du bois, appelez l'équipe."},
		{"en", alerts.Decision{Kind: alerts.GetReady,
			Facts: alerts.Facts{What: "called_off", From: "2026-03-26", To: "2026-03-27", Chance: 0.1}},
			"Fox Hollow: Stand down: the big run of Thursday or Friday is not likely now, chance 10 %."},
		{"fr", alerts.Decision{Kind: alerts.LookingAhead, Facts: alerts.Facts{From: "2026-03-26", To: "2026-03-27", Days: 4}},
			"Fox Hollow: Grosse coulée probable jeudi ou vendredi : videz les bassins, fendez du bois, appelez du renfort. Fiable à 4 jours ici."},
		{"fr", alerts.Decision{Kind: alerts.GetReady,
			Facts: alerts.Facts{What: "moved", From: "2026-03-26", To: "2026-03-27", Chance: 0.6}},
			"Fox Hollow: La grosse coulée est décalée : elle est maintenant probable jeudi ou vendredi."},
	} {
		if got := words(t, c.language, units.Metric).Alert(&c.d, &o); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}
