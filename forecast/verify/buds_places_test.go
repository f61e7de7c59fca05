package verify

import (
	"context"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// daysBySite reads a file of daily lows and highs of several sites.
func daysBySite(t *testing.T, path string) map[string]*weather.Daily {
	t.Helper()
	f := beside.Open(t, path)
	days, err := weather.ReadDailySitesCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return days
}

// Buds at places and in years left out: the one way to count is closer than the blend of
// all, plain degree days and the mean date, and one noted spring takes much of the error
// at an unknown place. Cameras: PhenoCam (CC BY) and Daymet, by bluegreen-labs/phenor.
func TestBudsEarnTheirPlace(t *testing.T) {
	days := daysBySite(t, "data/camera-sites-daily.csv")
	f := beside.Open(t, "data/camera-green-up.csv")
	seen, err := season.ReadBudPlaces(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	var places []BudPlace
	for _, p := range seen {
		places = append(places, BudPlace{p.Place, p.LatitudeDeg, days[p.Place], p.Seen})
	}
	r, err := BacktestBudPlaces(context.Background(), places, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d places, %d springs; own years %+v; unknown %+v, one noted %+v", r.Places, r.Springs, r.OwnYears, r.Unknown, r.Noted)
	if o := r.OwnYears; r.Places != 36 || o.Places < 18 || o.RMSEDays > o.BlendDays-0.4 || o.RMSEDays > o.PlainDays-0.8 ||
		o.RMSEDays > o.MeanDateDays-3 || o.Worse > 2 || o.Worse >= o.BlendWorse {
		t.Errorf("own years: %+v", o)
	}
	if r.Unknown.MedianDays > 4.7 || r.Noted.MedianDays > 3.9 || r.Noted.RMSEDays > 5.0 || r.Noted.RMSEDays > 0.65*r.Unknown.RMSEDays {
		t.Errorf("unknown %+v, one noted %+v", r.Unknown, r.Noted)
	}
}

// Hubbard Brook, each spring of 1989 to 2002 from the others: leaves of 1 cm, the mean of
// eight plots by the air of the north slope (LTER data sets 51 and 59, CC BY).
func TestBudsAtHubbardBrook(t *testing.T) {
	air := daysBySite(t, "data/hubbard-brook-daily-1988-2002.csv")["STA14"]
	rows, err := csv.NewReader(beside.Open(t, "data/hubbard-brook-leaf-out-1989-2002.csv")).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sum, n := map[int]float64{}, map[int]float64{}
	for _, row := range rows[1:] {
		doy, err := strconv.ParseFloat(row[3], 64)
		if year, _ := strconv.Atoi(row[0]); err == nil && row[1] != "HQ" {
			sum[year] += doy
			n[year]++
		}
	}
	var seen []season.BudYear
	for year := range sum {
		seen = append(seen, season.BudYear{Year: year, Species: "sugar maple", LeafDOY: sum[year] / n[year]})
	}
	slices.SortFunc(seen, func(a, b season.BudYear) int { return a.Year - b.Year })
	r, err := BacktestBuds(context.Background(), air, seen, BudOptions{Species: "sugar maple", LatitudeDeg: 43.95})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d springs: RMSE %.2f d, blend %.2f, plain %.2f, mean date %.2f", r.NTest, r.RMSEDays, r.BlendRMSE, r.PlainRMSE,
		r.ClimatologyRMSE)
	if r.NTest != 14 || r.RMSEDays > 2.0 || r.RMSEDays > r.BlendRMSE || r.RMSEDays > r.PlainRMSE {
		t.Errorf("%d springs: RMSE %.2f d, blend %.2f, plain %.2f, mean date %.2f", r.NTest, r.RMSEDays, r.BlendRMSE, r.PlainRMSE,
			r.ClimatologyRMSE)
	}
}

// Notes move the level with shrinkage: one spring four fifths of the way, more come ever
// closer, and a spring that began unseen teaches nothing.
func TestNotedBudsShrink(t *testing.T) {
	first := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	known := weather.NewDaily(first, 242)
	for i := range known.LowC {
		known.LowC[i] = -12 + 20*math.Sin(math.Pi*float64(i)/600)
		known.HighC[i] = known.LowC[i] + 12
	}
	s := season.Spring{Known: known}
	usual := season.SugarMaple(44)
	opening, err := usual.Opening(2026, []weather.Daily{known})
	if err != nil {
		t.Fatal(err)
	}
	late := dayIn(2026, opening.Mean()+10)
	level, ok := usual.Noted(late, &s, 300)
	if !ok {
		t.Fatal("a whole spring teaches nothing")
	}
	moved := []float64{}
	for n := range 4 {
		b := season.SugarMaple(44)
		b.Learn(slices.Repeat([]float64{level}, n))
		o, err := b.Opening(2026, []weather.Daily{known})
		if err != nil {
			t.Fatal(err)
		}
		moved = append(moved, o.Mean()-opening.Mean())
		if n > 0 && !(o.Quantile(0.9)-o.Quantile(0.1) < opening.Quantile(0.9)-opening.Quantile(0.1)) {
			t.Errorf("%d springs noted: %.1f days wide, %.1f before", n, o.Quantile(0.9)-o.Quantile(0.1),
				opening.Quantile(0.9)-opening.Quantile(0.1))
		}
	}
	if moved[0] != 0 || moved[1] < 7 || moved[1] > 9 || moved[2] < moved[1] || moved[3] < moved[2] || moved[3] > 10 {
		t.Errorf("buds that opened 10 days late once, twice and three times move it by %.1f days", moved[1:])
	}
	if _, ok := usual.Noted(late, &season.Spring{Known: known.Between(time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), late)}, 300); ok {
		t.Error("a spring of which March is not known teaches a level")
	}
}
