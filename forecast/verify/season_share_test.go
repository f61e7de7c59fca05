package verify

import (
	"bytes"
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// The share of sap that the best fifth of days gives, where it was measured:
// 74 % (Kurokawa et al. 2024, iForest 17:323-330).
func TestBestFifthOfDays(t *testing.T) {
	for name, c := range map[string]struct {
		open  func(t *testing.T) (weather.Series, error)
		place weather.Place
		from  time.Time
		days  int
	}{
		"hill 2015 (CC0, Baumer et al.)": {func(t *testing.T) (weather.Series, error) {
			f := beside.Open(t, "data/hill-station-2015-hourly.csv")
			s, _, err := weather.ReadCSV(f, f.Name())
			return s, err
		}, hill, time.Date(2015, 2, 15, 5, 0, 0, 0, time.UTC), 75},
		"demonstration": {func(*testing.T) (weather.Series, error) {
			data, err := testdata.Files.ReadFile("weather.csv")
			if err != nil {
				return weather.Series{}, err
			}
			s, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
			return s, err
		}, weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420}, time.Date(2026, 2, 15, 5, 0, 0, 0, time.UTC), 75},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := c.open(t)
			if err != nil {
				t.Fatal(err)
			}
			f, err := newSeasonFlow(&s, &SapOptions{Place: c.place, Zone: newYork(t), Canopy: trunk.Closed, TreeDiameterM: 0.3})
			if err != nil {
				t.Fatal(err)
			}
			days := f.days(f.weather.Index(c.from), sap.Usual, 0)[:c.days]
			slices.Sort(days)
			share := total(days[len(days)-len(days)/5:]) / total(days)
			t.Logf("season %.1f L a tap, best fifth %.2f", total(days), share)
			if share < 0.6 || share > 0.85 || math.IsNaN(share) {
				t.Errorf("the best fifth of days carries %.2f of the sap", share)
			}
		})
	}
}

// Moving one parameter to the end of its range changes a season's volume by
// less than half and hardly the rank of its days.
func TestSensitivities(t *testing.T) {
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	s, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	rows, err := Sensitivities(&s, hillOptions(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		t.Logf("%-17s %6.4g (%.4g to %.4g) volume %+.0f %% %+.0f %%, rank %.3f %.3f", r.Parameter, r.Value, r.Low, r.High,
			r.VolumePct[0], r.VolumePct[1], r.DayRank[0], r.DayRank[1])
		if r.Value < r.Low || r.Value > r.High || r.Source == "" || r.Unit == "" {
			t.Errorf("%+v", r)
		}
		for k := range 2 {
			if math.Abs(r.VolumePct[k]) > 55 || r.DayRank[k] < 0.95 {
				t.Errorf("%s: volume %+.0f %%, rank %.3f", r.Parameter, r.VolumePct[k], r.DayRank[k])
			}
		}
	}
}
