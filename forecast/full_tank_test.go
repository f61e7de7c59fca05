package forecast

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/records"
)

// Tubing whose tank was brim-full at each visit teaches what it teaches with the note that it was full:
// a lower bound, in proportion to its taps where groups share the tank. Without the tank's size the
// same litres were all that came, and the bush is taken to give less.
func TestABrimFullTankTeachesALowerBound(t *testing.T) {
	learnt := func(tank bool, note string) []Yield {
		site := bush(t)
		site.Groups = []Group{{ID: "lane", Taps: 150, Method: "tubing", TankID: "big"}, {ID: "ridge", Taps: 50, Method: "tubing", TankID: "big"}}
		if tank {
			site.Tanks = []Tank{{ID: "big", VolumeL: 200}}
		}
		site.ShareTanks()
		var visits []records.Visit
		for day := 8; day > 0; day -= 2 {
			at := march.Add(-time.Duration(day) * 24 * time.Hour)
			visits = append(visits, records.Visit{Site: "b", Group: "lane", CollectedAt: at, VolumeL: 150, Note: note, Taps: 150},
				records.Visit{Site: "b", Group: "ridge", CollectedAt: at, VolumeL: 50, Note: note, Taps: 50})
		}
		return mustMake(t, Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1, Visits: visits}).Yields
	}
	last := func(y []Yield, group int) float64 { s := y[group].Steps; return s[len(s)-1].SeasonLTap.P50 }
	full, noted, unknown := learnt(true, ""), learnt(true, "full"), learnt(false, "")
	if d := cmp.Diff(noted, full); d != "" {
		t.Errorf("what a full tank teaches differs from what the note does:\n%s", d)
	}
	for group := range full {
		if known, all := last(full, group), last(unknown, group); known < 1.2*all {
			t.Errorf("%s: %.2f L a tap where the tank was full, %.2f where that was all", full[group].Group, known, all)
		}
	}
}
