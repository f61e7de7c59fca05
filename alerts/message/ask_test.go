package message

import (
	"strings"
	"testing"

	"thawline/forecast"
	"thawline/forecast/units"
)

// The evening text asks how full pails are where a word would decide, of the group that
// loses most, and still fits one message; else it asks nothing.
func TestEveningAsksHowFull(t *testing.T) {
	o := outlook("Fox Hollow", 0.9, "run", 20, 60, 150, -5, 5, 9, 17, 1)
	o.Bush.Groups = []forecast.GroupName{{ID: "n", Name: "North"}, {ID: "s", Name: "South"}}
	o.Work.Groups = []forecast.GroupWork{
		{Group: "n", Decision: forecast.Leave, AloneLossL: 10, AskLevel: true, HeldL: forecast.Range{P10: 20, P50: 60, P90: 150}},
		{Group: "s", Decision: forecast.Leave, AloneLossL: 40, AskLevel: true},
	}
	for language, want := range map[string]string{"en": "South: how full? Text: South half full.",
		"fr": "South : plein à combien? Textez : South à moitié."} {
		text := words(t, language, units.Metric).Evening(&o)
		if n, ok := Septets(text); !ok || n > SMSLimit || !strings.HasSuffix(text, want) {
			t.Errorf("%d: %s", n, text)
		}
	}
	for i := range o.Work.Groups {
		o.Work.Groups[i].AskLevel = false
	}
	if text := words(t, "en", units.Metric).Evening(&o); strings.Contains(text, "full") {
		t.Error(text)
	}
}

// What most likely is next to nothing and may be a tankful is told by how much at the most, in the text
// and to who says "I go".
func TestAmountsThatNobodyKnows(t *testing.T) {
	w := words(t, "en", units.Metric)
	for want, sum := range map[string]forecast.Range{"up to 700 litres": {P10: 0, P50: 60, P90: 700}, "60 litres": {P10: 20, P50: 60, P90: 700},
		"200 litres": {P10: 0, P50: 200, P90: 700}, "up to 40 litres": {P50: 0, P90: 40}} {
		if got := strings.ReplaceAll(w.Amount(sum), "\u00a0", " "); got != want {
			t.Errorf("%v: %q, want %q", sum, got, want)
		}
	}
}
