package weather

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"thawline/testdata/beside"
)

func TestBrokenDailyCSV(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "f.csv: the file is empty"},
		{"date,tmin_c\n2013-01-01,-3\n", "f.csv:1: no column tmax_c; the first line must name it"},
		{"date,tmin_c,tmax_f\n2013-01-01,-3,5\n", `f.csv:1: tmax_f: no such column; did you mean "tmax_c"?`},
		{"date,tmin_c,tmax_c\n", "f.csv: no days after the first line"},
		{"date,tmin_c,tmax_c\n2013-01-01,-3,5\n2013-01-01,-3,5\n", "f.csv:3: date: 2013-01-01: the day of line 2 again; keep one of them"},
		{"date,tmin_c,tmax_c\n2013-01-02,-3,5\n2013-01-01,-3,5\n", "f.csv:3: date: 2013-01-01: earlier than line 2; sort the file by date"},
		{"date,tmin_c,tmax_c\n2013-01-02,-3,5\n2073-01-01,-3,5\n", "days after line 2; check the year"},
		{"date,tmin_c,tmax_c\n2.1.2013,-3,5\n", "f.csv:2: date: 2.1.2013 is no date"},
		{"date,tmin_c,tmax_c\n2013-01-02,-3,5 C\n", "f.csv:2: tmax_c: 5 C: not a number"},
		{"date,tmin_c,tmax_c\n2013-01-02,263,275\n", "263 °C was never measured anywhere; check the value and its unit"},
		{"date,tmin_c,tmax_c\n" + fahrenheitJanuary(), "the columns look like °F, convert them to °C"},
		{"date,tmin_c,tmax_c\n2013-01-01,5,-3\n2013-01-02,5,-3\n2013-01-03,5,-3\n",
			"tmin_c is above tmax_c here and in 2 other lines; check that the columns are named right"},
	} {
		_, err := ReadDailyCSV(strings.NewReader(c.text), "f.csv")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q\n got  %v\n want %s", c.text, err, c.want)
		}
	}
}

func fahrenheitJanuary() string {
	var b strings.Builder
	for day := time.Date(2013, 1, 1, 0, 0, 0, 0, time.UTC); day.Month() == 1; day = day.AddDate(0, 0, 1) {
		b.WriteString(day.Format(time.DateOnly) + ",22,35\n")
	}
	return b.String()
}

func TestFillDailyGaps(t *testing.T) {
	d, err := ReadDailyCSV(strings.NewReader(
		"date,tmin_c,tmax_c\n2013-03-01,-4,4\n2013-03-02,-6,\n2013-03-03,,6\n2013-03-05,-2,8\n2013-03-25,0,10\n"), "f.csv")
	if err != nil {
		t.Fatal(err)
	}
	if filled := d.FillGaps(); filled != 3 {
		t.Errorf("%d days filled", filled)
	}
	// The mean range of March in the file is 28/3 K.
	for i, want := range [][2]float64{{-4, 4}, {-6, -6 + 28.0/3}, {6 - 28.0/3, 6}, {(6 - 28.0/3 - 2) / 2, 7}, {-2, 8}} {
		if low, high := d.At(i); math.Abs(low-want[0]) > 1e-9 || math.Abs(high-want[1]) > 1e-9 {
			t.Errorf("day %d: %.3f to %.3f, want %.3f", i, low, high, want)
		}
	}
	if low, _ := d.At(10); !math.IsNaN(low) {
		t.Error("a gap of nineteen days was bridged")
	}
}

// Hours made from lows and highs reach both, and give them back as days.
func TestHourlyReachesLowsAndHighs(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	place := Place{LatitudeDeg: 44, LongitudeDeg: -75, ElevationM: 300}
	d := NewDaily(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), 9)
	for i := range d.LowC {
		d.LowC[i], d.HighC[i] = -8+float64(i), 2+float64(i)
	}
	s := d.Hourly(place)
	back := s.Days(zone)
	for i := 1; i < 8; i++ {
		low, high := back.At(back.Index(d.Date(i)))
		if math.Abs(low-d.LowC[i]) > 0.5 || math.Abs(high-d.HighC[i]) > 0.2 {
			t.Errorf("%s: %.2f to %.2f, want %.1f to %.1f", d.Date(i).Format(time.DateOnly), low, high, d.LowC[i], d.HighC[i])
		}
	}
	if noon := s.At(ShortwaveWM2, s.Index(time.Date(2026, 3, 4, 17, 0, 0, 0, time.UTC))); noon < 200 || noon > 900 {
		t.Errorf("%.0f W/m² at noon", noon)
	}
	if night := s.At(ShortwaveWM2, s.Index(time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC))); night != 0 {
		t.Errorf("%.0f W/m² at one in the night", night)
	}
}

// Sunshine told from a day's range of temperature against what was measured on
// a hill in Massachusetts, January to April 2015 (CC0, Baumer et al., R package
// macleish): right on average and clearly going with it.
func TestSunshineFromRange(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(beside.File(t, "data/hill-station-2015-hourly.csv"))
	if err != nil {
		t.Fatal(err)
	}
	measured, _, err := ReadCSV(bytes.NewReader(data), "hill.csv")
	if err != nil {
		t.Fatal(err)
	}
	days := measured.Days(zone)
	made := days.Hourly(Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251})
	bias, n := 0.0, 0.0
	var a, b []float64
	for i := 32; i < 120; i++ {
		seen, told := 0.0, 0.0
		for h := range 24 {
			at := days.Date(i).Add(time.Duration(h+5) * time.Hour)
			seen += measured.At(ShortwaveWM2, measured.Index(at)) / 24
			told += made.At(ShortwaveWM2, made.Index(at)) / 24
		}
		if math.IsNaN(seen + told) {
			continue
		}
		bias += told - seen
		n++
		a, b = append(a, seen), append(b, told)
	}
	var ma, mb, ab, aa, bb float64
	for i := range a {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	for i := range a {
		ab, aa, bb = ab+(a[i]-ma)*(b[i]-mb), aa+(a[i]-ma)*(a[i]-ma), bb+(b[i]-mb)*(b[i]-mb)
	}
	t.Logf("%.0f days: bias %+.1f of %.0f W/m², correlation %.2f", n, bias/n, ma, ab/math.Sqrt(aa*bb))
	if math.Abs(bias/n) > 10 || ab/math.Sqrt(aa*bb) < 0.65 {
		t.Errorf("bias %.1f W/m², correlation %.2f", bias/n, ab/math.Sqrt(aa*bb))
	}
}

// A month without figures takes the mean of the same dates in other years, and
// one low alone is kept when days are joined.
func TestOtherYearsFillLongGaps(t *testing.T) {
	d := NewDaily(time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC), 3*365)
	for i := range d.LowC {
		if year := d.Date(i).Year(); year != 2011 || d.Date(i).Month() != time.February {
			d.LowC[i], d.HighC[i] = float64(year-2010), float64(year-2010)+8
		}
	}
	filled := d.FillFromOtherYears()
	if len(filled) != 28 {
		t.Fatalf("%d days filled", len(filled))
	}
	for _, i := range filled {
		if low, high := d.At(i); low != 1 || high != 9 { // of 2010 and 2012
			t.Errorf("%s: %.2f to %.2f", d.Date(i).Format(time.DateOnly), low, high)
		}
	}
	one := NewDaily(time.Date(2010, 1, 5, 0, 0, 0, 0, time.UTC), 1)
	one.LowC[0] = -7
	wide := one.Spanning(time.Date(2009, 11, 1, 0, 0, 0, 0, time.UTC), time.Date(2010, 2, 1, 0, 0, 0, 0, time.UTC))
	if low, high := wide.At(wide.Index(one.First)); low != -7 || !math.IsNaN(high) || wide.Days() != 93 {
		t.Errorf("%.1f %.1f, %d days", low, high, wide.Days())
	}
}
