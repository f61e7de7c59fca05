package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Sap of several groups that keeps until nearly the same hour is one sentence: the earliest hour,
// the sum, rounded once, and who is meant; it fits one text message with any names, and nobody
// is told to gather what is bad.
func TestAlertOfGroups(t *testing.T) {
	zone := time.FixedZone("EDT", -4*3600)
	three := time.Date(2026, 3, 24, 15, 0, 0, 0, zone)
	list := func(what string, of int, names ...string) (out []alerts.Decision) {
		for i, name := range names {
			out = append(out, alerts.Decision{Kind: alerts.BoilBy, Facts: alerts.Facts{GroupID: name, Group: name, What: what,
				At: three.Add(time.Duration(i) * time.Hour), VolumeL: 8.3 * units.LitresPerUSGallon, OfGroups: of}})
		}
		return out
	}
	for _, c := range []struct {
		language string
		list     []alerts.Decision
		want     string
	}{
		{"en", list("", 5, "Ridge", "Lane"), "Hill: The sap in Ridge and Lane, about 17 gallons, keeps until about Tuesday 3 pm: gather and boil it. Weather 11 hours old."},
		{"en", list("", 5, "A", "B", "C", "D", "E"), "Hill: The sap in all 5 groups, about 40 gallons, keeps until about Tuesday 3 pm: gather and boil it. Weather 11 hours old."},
		{"en", list("tip_out", 3, "Ridge", "Lane"), "Hill: The sap in Ridge and Lane, about 17 gallons, has gone bad: tip it out, do not boil it. Weather 11 hours old."},
		{"fr", list("", 5, "Ridge", "Lane"), "Hill: L'eau se garde jusqu'à mardi 15 h environ : ramassez Ridge et Lane (17 gallons) et faites bouillir. Météo d'il y a 11 h."},
		{"fr", list("tip_out", 2, "Ridge", "Lane"), "Hill: Eau gatée, Ridge et Lane (17 gallons) : jetez-la, ne la faites pas bouillir. Météo d'il y a 11 h."},
	} {
		w := words(t, c.language, units.US)
		o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: three.Add(-20 * time.Hour), Source: forecast.Source{AgeHours: 11}}
		if got := w.AlertOfGroups(c.list, "Hill", zone, w.Alert(&c.list[0], o)); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
	long := []string{"Behind the sugarhouse", "Along the county road", "Grandfather's old orchard", "Upper ridge of the hill", "Down at the creek"}
	for _, language := range []string{"en", "fr"} {
		w := words(t, language, units.Imperial).In(Texted)
		for _, what := range []string{"", "tip_out"} {
			for _, of := range []int{5, 9} {
				text := w.AlertOfGroups(list(what, of, long...), "Odell's old sugarbush on the hill", zone, "")
				if n, plain := Septets(text); !plain || n > SMSLimit || !strings.HasSuffix(text, ".") || strings.Contains(text, "no value") {
					t.Errorf("%d septets: %s", n, text)
				}
			}
		}
	}
}

// To-dos and pages tip out in one sentence, by the reader's own names.
func TestTipOutIsOneSentence(t *testing.T) {
	o := worked(0.5, group("ridge", forecast.TipOut, 0, nil), group("lane", forecast.TipOut, 0, nil), group("hill", forecast.Leave, 0, nil))
	if got, want := words(t, "en", units.US).TipOut(&o), "Tip out Ridge and Lane: the sap has gone bad. Do not boil it."; got != want {
		t.Errorf("got %s", got)
	}
	o = worked(0.5, group("hill", forecast.Leave, 0, nil))
	if got := words(t, "en", units.US).TipOut(&o); got != "" {
		t.Errorf("of nothing: %s", got)
	}
}
