package zone

import (
	"os"
	"strconv"
	"strings"
	"testing"
)

// Towns that lie within a few kilometres of a border of zones, by the rules of those who
// keep the clocks there (US: 49 CFR part 71; Canada: the provinces'; from memory).
func TestTownsAtBorders(t *testing.T) {
	for _, c := range []struct {
		town                string
		latitude, longitude float64
		want                string
	}{
		{"Madawaska, Maine", 47.3556, -68.3222, "America/New_York"},
		{"Edmundston, New Brunswick", 47.3737, -68.3251, "America/Moncton"},
		{"Dégelis, Québec", 47.5530, -68.6480, "America/Toronto"},
		{"Campbellton, New Brunswick", 48.0050, -66.6730, "America/Moncton"},
		{"Pointe-à-la-Croix, Québec", 48.0167, -66.6833, "America/Toronto"},
		{"Calais, Maine", 45.1847, -67.2787, "America/New_York"},
		{"St. Stephen, New Brunswick", 45.1942, -67.2764, "America/Moncton"},
		{"Ironwood, Michigan", 46.4547, -90.1710, "America/Menominee"},
		{"Iron Mountain, Michigan", 45.8202, -88.0660, "America/Menominee"},
		{"Marquette, Michigan", 46.5436, -87.3954, "America/Detroit"},
		{"Hurley, Wisconsin", 46.4497, -90.1868, "America/Chicago"},
		{"Houlton, Maine", 46.1262, -67.8403, "America/New_York"},
		{"Stanstead, Québec", 45.0167, -72.0990, "America/Toronto"},
		{"Derby Line, Vermont", 45.0042, -72.0995, "America/New_York"},
	} {
		t.Run(c.town, func(t *testing.T) {
			if got := At(c.latitude, c.longitude); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// The places that the tz database names for its zones (zone.tab, public domain) lie in them.
func TestPlacesOfTheTable(t *testing.T) {
	table, err := os.ReadFile("/usr/share/zoneinfo/zone.tab")
	if err != nil {
		t.Skip("no zone.tab here")
	}
	places, other := 0, []string{}
	for line := range strings.SplitSeq(string(table), "\n") {
		cells := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || len(cells) < 3 {
			continue
		}
		latitude, longitude := degrees(t, cells[1])
		places++
		if got := At(latitude, longitude); got != cells[2] {
			other = append(other, cells[2]+" as "+got)
		}
	}
	t.Logf("%d of %d: %s", len(other), places, strings.Join(other, ", "))
	if len(other)*50 > places {
		t.Errorf("%d of %d places lie in another zone: %v", len(other), places, other)
	}
}

// degrees reads ±DDMM±DDDMM or with seconds (ISO 6709).
func degrees(t *testing.T, text string) (latitude, longitude float64) {
	t.Helper()
	cut := strings.LastIndexAny(text, "+-")
	one := func(s string) float64 {
		digits := 2
		if len(s) == 6 || len(s) == 8 {
			digits = 3
		}
		n, sum := s[1:], 0.0
		for i, from := 0, 0; from < len(n); i++ {
			v, err := strconv.ParseFloat(n[from:from+digits], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += v / []float64{1, 60, 3600}[i]
			from, digits = from+digits, 2
		}
		if s[0] == '-' {
			return -sum
		}
		return sum
	}
	return one(text[:cut]), one(text[cut:])
}

// Nobody taps at sea: no zone is made up there.
func TestOpenSea(t *testing.T) {
	for _, c := range [][2]float64{{40, -50}, {0, -140}, {90, 0}, {-90, 0}, {91, 0}, {0, 500}} {
		if got := At(c[0], c[1]); got != "" && c[0] > -80 {
			t.Errorf("%v: %q", c, got)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	At(44, -72)
	for b.Loop() {
		At(44, -72)
	}
}

func BenchmarkUnpack(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		unpack()
	}
}
