package config

import (
	"strings"
	"testing"
	"time"
)

func TestLandAndSea(t *testing.T) {
	cases := []struct {
		name     string
		lat, lon float64
		sea      bool
	}{
		{"Mount Desert Island", 44.35, -68.2, false},
		{"Prince Edward Island", 46.2, -63.1, false},
		{"Cape Breton Island", 46.2, -60.5, false},
		{"Manitoulin Island", 45.7, -82.1, false},
		{"Grand Isle, Lake Champlain", 44.72, -73.29, false},
		{"Nantucket", 41.28, -70.05, false},
		{"Magdalen Islands", 47.4, -61.8, false},
		{"a hill in Massachusetts", 42.45, -72.68, false},
		{"Hokkaido", 43.5, 142.8, false},
		{"the date line in Chukotka", 66.5, 180, false},
		{"the south pole", -90, 0, false},
		{"the north pole", 90, 0, true},
		{"Gulf of Maine", 43.0, -68.0, true},
		{"the middle of the Atlantic", 42, -40, true},
		{"the Gulf of Guinea, where forgotten coordinates lie", 0, 0, true},
		{"the Indian Ocean", -44.21, 72.84, true},
	}
	for _, c := range cases {
		if got := atSea(c.lat, c.lon); got != c.sea {
			t.Errorf("%s: at sea %v, want %v", c.name, got, c.sea)
		}
	}
}

// Every zone people live by, but that of China's west, is near enough to the
// sun where it is kept.
func TestZonesOfRealPlacesPass(t *testing.T) {
	for _, c := range []struct {
		zone     string
		lat, lon float64
	}{
		{"America/New_York", 44.35, -68.2}, {"America/Detroit", 46.5, -89.9}, {"America/Menominee", 45.8, -90.1},
		{"America/Halifax", 46.2, -60.5}, {"America/Chicago", 44.9, -92.6}, {"America/St_Johns", 47.5, -53},
		{"America/Toronto", 48.4, -89.2}, {"America/Winnipeg", 49.9, -97.1}, {"America/Regina", 50.4, -109},
		{"Europe/Paris", 48.4, -4.5}, {"Europe/Madrid", 42.9, -9.2}, {"Asia/Tokyo", 43.3, 145.5},
		{"Pacific/Auckland", -45, 168}, {"Pacific/Fiji", -17, 179.5}, {"Pacific/Apia", -13.8, -172},
	} {
		zone, problem := LoadZone(c.zone)
		if problem != nil {
			t.Fatal(problem)
		}
		if got := CheckPlace(c.lat, c.lon, zone); len(got) > 0 {
			t.Errorf("%s: %v", c.zone, got)
		}
	}
}

func TestPlaceWithoutAZone(t *testing.T) {
	if got := CheckPlace(44.2, -72.8, nil); len(got) > 0 {
		t.Error(got)
	}
	got := CheckPlace(44.2, -72.8, time.FixedZone("UTC+4", 4*3600))
	if len(got) != 1 || got[0].String() != "zone: UTC+4 keeps clocks 8.9 h away from the sun at longitude -72.8; check the zone and the sign of the longitude" {
		t.Error(got)
	}
}

// A zone without a region has no summer time, or not that of the place.
func TestZonesWithoutARegionAreRefused(t *testing.T) {
	for name, remedy := range map[string]string{"EST": "America/Toronto", "EST5EDT": "America/Toronto", "CST6CDT": "America/Winnipeg",
		"UTC": "America/New_York", "Etc/GMT+5": "America/New_York", "EDT": "America/New_York"} {
		if zone, problem := LoadZone(name); problem == nil || !strings.Contains(problem.String(), remedy) {
			t.Errorf("%s: %v %v", name, zone, problem)
		}
	}
}
