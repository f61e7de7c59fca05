package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
)

// A lot names the groups and days whose sap went into it, the oldest first, and nothing that
// was carried in after its fire.
func TestLots(t *testing.T) {
	site := bush(t)
	site.Groups = []Group{{ID: "north", Taps: 50, Method: "pail"}, {ID: "south", Taps: 50, Method: "pail"}}
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, site.Zone) }
	visit := func(group string, day int, litres, brix float64) records.Visit {
		return records.Visit{Group: group, CollectedAt: at(day, 10), VolumeL: litres, BrixPct: brix}
	}
	nan := math.NaN()
	boil := func(day, hour int, litres float64, note string) records.HouseEntry {
		return records.HouseEntry{Kind: records.Boiled, At: at(day, hour), SapL: litres, SyrupL: nan, SugarKg: nan, WoodCords: nan,
			Hours: nan, Note: note}
	}
	lots := Lots(&site, []records.Visit{visit("north", 10, 100, 2), visit("south", 11, 100, 3), visit("north", 13, 80, 2.5)},
		[]records.HouseEntry{boil(11, 20, 150, "Filter: wool; jars: 24 x 500 mL; dark"), boil(11, 22, 30, ""), boil(14, 20, 60, "")},
		at(20, 0))
	if len(lots) != 3 {
		t.Fatalf("%d lots", len(lots))
	}
	first, second, third := lots[0], lots[1], lots[2]
	if first.ID != "2026-03-11-1" || first.From != "2026-03-10" || first.To != "2026-03-11" ||
		!slices.Equal(first.Groups, []string{"north", "south"}) || math.Abs(first.Brix-(200.0+150)/150) > 1e-9 {
		t.Errorf("%+v", first)
	}
	if first.Filter != "wool" || first.Containers != "24 x 500 mL" || first.Note != "dark" {
		t.Errorf("of its note: %+v", first)
	}
	if second.ID != "2026-03-11-2" || !slices.Equal(second.Groups, []string{"south"}) || second.From != "2026-03-11" {
		t.Errorf("%+v", second)
	}
	if third.From != "2026-03-11" || third.To != "2026-03-13" || !slices.Equal(third.Groups, []string{"north", "south"}) {
		t.Errorf("%+v", third)
	}
}
