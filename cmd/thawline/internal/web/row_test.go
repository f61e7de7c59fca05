package web

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// Beside several pans the page says what each comes to, what is moved on when, what stays
// in them and who is needed; beside one it says nothing of the kind.
func TestSeveralPansOnThePage(t *testing.T) {
	words, err := message.NewWords(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	site := &forecast.Site{ID: "hill", Name: "Hill", Zone: time.UTC}
	site.Boiling = forecast.Boiling{Watches: 1,
		Row: boil.Row{{ID: "back", Pan: boil.Pan{Kind: boil.Flue, AreaM2: 0.75}}, {ID: "front", Pan: boil.Pan{AreaM2: 0.55}}}}
	v := &view{words: words.Open(), system: units.US, Site: site}
	o := &forecast.Outlook{Boil: []forecast.BoilDay{{Brix: 2, PressureHPa: 980}},
		House: forecast.HouseNow{HoldBackL: 33, Watchers: 2, SyrupLost: 0.04,
			Pans: []forecast.PanNow{{ID: "back", RateLH: 50}, {ID: "front", RateLH: 20}}}}
	b := &panBody{}
	b.row(v, o, time.Time{})
	if len(b.Row) != 3 || b.Row[1][0] != "back" || !strings.Contains(b.Row[2][1], "66") {
		t.Errorf("%q", b.Row)
	}
	said := strings.Join(b.RowSays, " ")
	for _, want := range []string{"2 pans boil at once: that takes 2 people", "draw off 1.8 gal", "8.7 gal", "about 4 %"} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in %s", want, said)
		}
	}
	site.Boiling.FinishM2 = 0.2
	apart := &panBody{}
	apart.row(v, o, time.Time{})
	if !strings.Contains(strings.Join(apart.RowSays, " "), "to the finishing pan") || !strings.Contains(apart.Row[2][1], "55") {
		t.Errorf("%q %q", apart.RowSays, apart.Row)
	}
	site.Boiling, o.House = forecast.Boiling{}, forecast.HouseNow{Pans: []forecast.PanNow{{RateLH: 40}}}
	one := &panBody{}
	if one.row(v, o, time.Time{}); len(one.Row)+len(one.RowSays) > 0 {
		t.Errorf("one pan: %q %q", one.Row, one.RowSays)
	}
}
