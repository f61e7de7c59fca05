package sections

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// What keeps beyond the known weather is said to keep until its end at least, by stock and fire
// alike; what goes bad within it by its hour.
func TestSaysHowFarTheForecastReaches(t *testing.T) {
	zone := time.FixedZone("EDT", -4*3600)
	end, nine, ten := time.Date(2026, 3, 28, 0, 0, 0, 0, zone), time.Date(2026, 3, 18, 9, 0, 0, 0, zone),
		time.Date(2026, 3, 18, 10, 0, 0, 0, zone)
	told := func(language string, longer bool) string {
		w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		until := end
		if !longer {
			until = end.Add(-8 * time.Hour)
		}
		o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: nine,
			Stock: forecast.Stock{Sap: []forecast.SapBatch{{Litres: 100, RanOn: "2026-03-17", GatheredAt: nine, BoilBy: until, KeepsLonger: longer}}},
			Boil: []forecast.BoilDay{{Date: "2026-03-18", SapL: 100, Start: &nine, End: &ten, Batch: &boil.Batch{SapL: 100}, LeftL: 40,
				KeepsUntil: &until, KeepsLonger: longer}, {Date: "2026-03-19", TooLittle: true, LeftL: 40, KeepsUntil: &until, KeepsLonger: longer}}}
		var b strings.Builder
		if err := Print(&b, o, w, units.US); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	for language, want := range map[string][2]string{
		"en": {"at least until Friday 27 Mar (the forecast goes no further)", "until Friday 27 Mar 4 pm"},
		"fr": {"au moins jusqu'à vendredi 27 mars (la météo ne va pas plus loin)", "jusqu'à vendredi 27 mars 16 h"},
	} {
		for i, longer := range []bool{true, false} {
			text := strings.ReplaceAll(told(language, longer), "\u00a0", " ")
			text = strings.Join(strings.Fields(text), " ")
			if n := strings.Count(text, want[i]); n != 3 {
				t.Errorf("%d times %q, want 3, in\n%s", n, want[i], text)
			}
		}
	}
}
