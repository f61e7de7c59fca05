package setup

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/weather"
)

// The zones of the two countries are those of the tz database, where it is at hand.
func TestCountryOfAZone(t *testing.T) {
	table, err := os.ReadFile("/usr/share/zoneinfo/zone.tab")
	if err != nil {
		t.Skip("no zone.tab here")
	}
	for line := range strings.SplitSeq(string(table), "\n") {
		cells := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || len(cells) < 3 {
			continue
		}
		want := ""
		if cells[0] == "US" || cells[0] == "CA" {
			want = cells[0]
		}
		zone, err := time.LoadLocation(cells[2])
		if err != nil {
			t.Logf("%s: %v", cells[2], err)
			continue
		}
		if got := countryOf(zone); got != want {
			t.Errorf("%s: %q, want %q", cells[2], got, want)
		}
	}
}

// A service is asked only where it can answer.
func TestNearbyServices(t *testing.T) {
	for _, c := range []struct {
		latitude, longitude float64
		want                []string
	}{
		{44.62, -72.31, []string{"nws", "met_norway"}},
		{45.9, -71.2, []string{"environment_canada", "met_norway"}},
		{46.2, -60.5, []string{"environment_canada", "met_norway"}},
		{45.8, -90.1, []string{"nws", "met_norway"}},
		{43.5, 142.8, []string{"met_norway"}},
	} {
		zone, err := cli.ZoneOf("", weather.Place{LatitudeDeg: c.latitude, LongitudeDeg: c.longitude})
		if err != nil {
			t.Fatal(err)
		}
		if got := nearbyServices(zone); !slices.Equal(got, c.want) {
			t.Errorf("%v in %s: %v", c, zone, got)
		}
	}
}

func TestIDOfAName(t *testing.T) {
	for name, want := range map[string]string{"René": "rene", "Marie-Ève Côté": "marie-eve-cote", "Aunt  Lou!": "aunt-lou",
		"Œdipe": "oedipe", "李": "keeper", "lou_2": "lou_2", strings.Repeat("a", 60): strings.Repeat("a", 40)} {
		if got := idFrom(name); got != want {
			t.Errorf("%s: %s", name, got)
		}
	}
}
