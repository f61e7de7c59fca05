package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// The share of past springs in which sap dripped in school hours, by week, is calibrated:
// each spring of two towns from 1990 to 2020 (GHCN-Daily, US public domain) told by the
// others. It is flat, and no share is certain.
func TestDripSharesAreCalibrated(t *testing.T) {
	if testing.Short() {
		t.Skip("62 springs are looked back on in the long pass")
	}
	site := bush(t)
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	site.Zone = zone
	type bin struct{ told, came, n float64 }
	var bins [10]bin
	told, came, brier, n := 0.0, 0.0, 0.0, 0.0
	for _, town := range []struct {
		file  string
		place weather.Place
	}{{"data/madison-daily-1990-2020.csv", weather.Place{LatitudeDeg: 43.14, LongitudeDeg: -89.35, ElevationM: 264}},
		{"data/milwaukee-daily-1990-2020.csv", weather.Place{LatitudeDeg: 42.96, LongitudeDeg: -87.9, ElevationM: 206}}} {
		f := beside.Open(t, town.file)
		days, err := weather.ReadDailyCSV(f, f.Name())
		if err != nil {
			t.Fatal(err)
		}
		days.FillGaps()
		site.Place = town.place
		hourly := days.Hourly(site.Place)
		var springs []DripSpring
		for year := 1990; year <= 2020; year++ {
			from, to := time.Date(year-1, time.November, 1, 0, 0, 0, 0, zone), time.Date(year, time.May, 10, 0, 0, 0, 0, zone)
			past, err := LookBack(PastInputs{Site: site, Weather: hourly.Between(from, to), From: from, To: to})
			if err != nil {
				t.Fatal(err)
			}
			if s := DripsIn(&past, &site, year, 9*time.Hour, 12*time.Hour); len(s.Days) > 60 {
				springs = append(springs, s)
			}
		}
		if len(springs) < 25 {
			t.Fatalf("%s: %d springs", town.file, len(springs))
		}
		for i, left := range springs {
			others := append(append([]DripSpring{}, springs[:i]...), springs[i+1:]...)
			for day := 50; day <= 115; day++ {
				drips, known := left.Days[day]
				share, of := DripShare(others, day)
				if !known || of == 0 {
					continue
				}
				x := 0.0
				if drips {
					x = 1
				}
				b := &bins[min(int(share*10), 9)]
				b.told, b.came, b.n = b.told+share, b.came+x, b.n+1
				told, came, n = told+share, came+x, n+1
				brier += (share - x) * (share - x)
			}
		}
	}
	flat := came / n * (1 - came/n)
	t.Logf("told %.3f, came %.3f of %.0f days; Brier %.4f, always the mean %.4f", told/n, came/n, n, brier/n, flat)
	if math.Abs(told-came)/n > 0.02 {
		t.Errorf("shares of %.3f, and it dripped on %.3f", told/n, came/n)
	}
	if brier/n > flat {
		t.Errorf("worse than the mean: %.4f, %.4f", brier/n, flat)
	}
	for _, b := range bins {
		if b.n < 100 {
			continue
		}
		t.Logf("told %.2f: came %.2f of %.0f", b.told/b.n, b.came/b.n, b.n)
		if b.told < 0.03*b.n || b.told > 0.97*b.n {
			t.Errorf("%.0f shares are certain", b.n)
		}
		if math.Abs(b.told-b.came)/b.n > 0.08 {
			t.Errorf("told %.2f, came %.2f", b.told/b.n, b.came/b.n)
		}
	}
}

// Without springs there is no share; few springs lie near their mean.
func TestDripShareOfFew(t *testing.T) {
	if share, of := DripShare(nil, 80); !math.IsNaN(share) || of != 0 {
		t.Errorf("%.2f of %d", share, of)
	}
	one := DripSpring{Year: 2020, Days: map[int]bool{}}
	for day := 46; day <= 120; day++ {
		one.Days[day] = day >= 70 && day < 90
	}
	high, _ := DripShare([]DripSpring{one}, 80)
	low, of := DripShare([]DripSpring{one}, 110)
	if !(high > low && high < 0.6 && low > 0.1) || of != 1 {
		t.Errorf("one spring says %.2f and %.2f", high, low)
	}
}
