package alerts

import (
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// After "the sap turns" no evening says to gather, though runs go on and pails hang; once
// somebody tastes that it is sweet, evenings tell again, and once it is off nothing does.
func TestTasteHoldsRunTextsBack(t *testing.T) {
	ended := past{}.and(EndHere, "2026", Facts{}, dusk.Add(-24*time.Hour))
	likely := func(o *forecast.Outlook) {
		o.Season.Stage = season.Late
		o.Days[1].RunProbability, o.Days[1].VolumeL.P50 = 0.9, 200
		hang(o, forecast.GroupWork{Group: "pails", AloneProbability: 0.9, AloneOverAt: at(21, 15), HeldL: litres(100),
			KeepsUntil: at(21, 8)})
	}
	tasted := func(said records.ObservationKind, on string) func(o *forecast.Outlook) {
		return func(o *forecast.Outlook) {
			o.Season.Taste = &forecast.Taste{OffBy: []forecast.OffBy{{Date: "2026-03-20", Chance: 0.6}}, Said: said, SaidOn: on}
			if said == records.Off {
				o.Season.Stage = season.Over
			}
		}
	}
	for _, c := range []struct {
		name   string
		memory past
		taste  func(o *forecast.Outlook)
		told   map[Kind]bool
	}{
		{"before the end", nil, tasted("", ""), map[Kind]bool{Evening: true, Overflow: true, BoilBy: true}},
		{"after the end was told", ended, tasted("", ""), map[Kind]bool{Evening: false}},
		{"tasted sweet before it was told", ended, tasted(records.Sweet, "2026-03-17"), map[Kind]bool{Evening: false}},
		{"tasted sweet since", ended, tasted(records.Sweet, "2026-03-20"), map[Kind]bool{Evening: true, Overflow: true}},
		{"tasted off, and the last pails emptied since", ended, func(o *forecast.Outlook) {
			tasted(records.Off, "2026-03-20")(o)
			o.Work.Groups[0].SinceVisit = at(20, 17)
		}, map[Kind]bool{Evening: false, QuietWeek: false}},
		{"tasted off", nil, tasted(records.Off, "2026-03-20"),
			map[Kind]bool{Evening: false, Overflow: false, BoilBy: false, TasteIt: false}},
	} {
		o := quiet()
		likely(o)
		c.taste(o)
		got := map[Kind]bool{}
		for _, d := range decide(t, o, c.memory, Moment{Now: dusk, Evening: true}) {
			got[d.Kind] = true
		}
		for kind, want := range c.told {
			if got[kind] != want {
				t.Errorf("%s: %s told %t, want %t", c.name, kind, got[kind], want)
			}
		}
	}
}
