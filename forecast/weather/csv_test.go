package weather

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thawline/testdata/beside"
)

func TestReadCSV(t *testing.T) {
	s, remarks, err := ReadCSV(strings.NewReader("\ufefftime,Temperature C,relative_humidity_pct,shortwave_w_m2,battery_v\r\n"+
		"2015-03-08T00:00:00-05:00,-9.36,104,-3,12.1\r\n"+
		"2015-03-08T06:00:00Z,,61.6,0,12.1\r\n"+
		"2015-03-08T09:00:00+01:00,-8,,150.5,\r\n"), "hill.csv")
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2015, 3, 8, 5, 0, 0, 0, time.UTC); !s.Start().Equal(want) || s.Hours() != 4 {
		t.Errorf("%d hours from %s", s.Hours(), s.Start())
	}
	gap := math.NaN()
	got := [][]float64{s.Col(TemperatureC), s.Col(RelativeHumidityPct), s.Col(ShortwaveWM2)}
	want := [][]float64{{-9.36, gap, gap, -8}, {100, 61.6, gap, gap}, {0, 0, gap, 150.5}}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Error(diff)
	}
	if s.Has(DewPointC) {
		t.Error("a dew point out of nowhere")
	}
	if diff := cmp.Diff([]Remark{{Kind: HoursMissing, Name: "hill.csv", Hours: 1, Of: 4},
		{Kind: ColumnsNotKnown, Name: "hill.csv", Why: "battery_v"}}, remarks); diff != "" {
		t.Error(diff)
	}
}

func TestBrokenCSV(t *testing.T) {
	const head = "time,temperature_c\n"
	const hour = "2015-01-01T05:00:00Z,-9\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "hill.csv: the file is empty; its first line must name the columns, such as time,temperature_c,dew_point_c,relative_humidity_pct,surface_pressure_hpa,shortwave_w_m2,cloud_cover_pct,wind_speed_m_s,precipitation_mm,snow_depth_m"},
		{"no rows", head, "hill.csv: no hours after the first line; add one row an hour"},
		{"no time", "hour,temperature_c\n1,2\n",
			"hill.csv:1: no column time; the first line must name it, as in time,temperature_c,relative_humidity_pct"},
		{"no temperature", "time,cloud_cover_pct\n2015-01-01T05:00:00Z,50\n",
			"hill.csv:1: no column temperature_c; the first line must name it, as in time,temperature_c,relative_humidity_pct"},
		{"nothing but gaps", head + "2015-01-01T05:00:00Z,\n", "hill.csv: temperature_c holds no value; nothing can be said without it"},
		{"other unit", "time,temperature_f\n" + hour,
			`hill.csv:1: temperature_f: no such column; did you mean "temperature_c"? If it is something else, give it a name that is less alike`},
		{"no hour", head + ",-9\n", "hill.csv:2: time: no time; write it with its offset from UTC, such as 2015-01-01T05:00:00Z or 2015-01-01T00:00:00-05:00"},
		{"local time", head + "2015-01-01 05:00:00,-9\n",
			"hill.csv:2: time: 2015-01-01 05:00:00: not an RFC 3339 time; write it with its offset from UTC, such as 2015-01-01T05:00:00Z or 2015-01-01T00:00:00-05:00"},
		{"ten minutes past", head + "2015-01-01T05:10:00Z,-9\n",
			"hill.csv:2: time: 2015-01-01T05:10:00Z: not on the whole hour; give one row an hour, on the hour in UTC; average or pick from finer readings"},
		{"typing error in the year", head + "0215-01-01T05:00:00Z,-9\n",
			"hill.csv:2: time: 0215-01-01T05:00:00Z: not a year of weather readings; check the year"},
		{"hour twice", head + hour + hour, "hill.csv:3: time: 2015-01-01T05:00:00Z: the hour of line 2 again; keep one of them"},
		{"out of order", head + hour + "2015-01-01T04:00:00Z,-9\n",
			"hill.csv:3: time: 2015-01-01T04:00:00Z: earlier than line 2; sort the file by time"},
		{"two winters", head + hour + "2016-01-01T05:00:00Z,-9\n",
			"hill.csv:3: time: 2016-01-01T05:00:00Z: 365 days after line 2; fill the hole, or make two files of it"},
		{"words", head + "2015-01-01T05:00:00Z,cold\n",
			"hill.csv:2: temperature_c: cold: not a number; write the number alone, or nothing where there is none"},
		{"degrees Fahrenheit", head + "2015-01-01T05:00:00Z,71\n",
			"hill.csv:2: temperature_c: 71: outside -70 to 60; it looks like degrees Fahrenheit; subtract 32 and divide by 1.8"},
		{"kelvins", head + "2015-01-01T05:00:00Z,271.3\n",
			"hill.csv:2: temperature_c: 271.3: outside -70 to 60; it looks like kelvins; subtract 273.15"},
		{"sentinel", head + "2015-01-01T05:00:00Z,-9999\n",
			"hill.csv:2: temperature_c: -9999: outside -70 to 60; check the value, or leave the cell empty for a gap"},
		{"pressure in inHg", "time,temperature_c,surface_pressure_hpa\n2015-01-01T05:00:00Z,-9,29.1\n",
			"hill.csv:2: surface_pressure_hpa: 29.1: outside 500 to 1100; it looks like inches of mercury; 1 inHg is 33.864 hPa"},
		{"pressure in kPa", "time,temperature_c,surface_pressure_hpa\n2015-01-01T05:00:00Z,-9,98.5\n",
			"hill.csv:2: surface_pressure_hpa: 98.5: outside 500 to 1100; it looks like kPa; 1 kPa is 10 hPa"},
		{"pressure in Pa", "time,temperature_c,surface_pressure_hpa\n2015-01-01T05:00:00Z,-9,98500\n",
			"hill.csv:2: surface_pressure_hpa: 98500: outside 500 to 1100; it looks like Pa; 100 Pa are 1 hPa"},
		{"snow in centimetres", "time,temperature_c,snow_depth_m\n2015-01-01T05:00:00Z,-9,45\n",
			"hill.csv:2: snow_depth_m: 45: outside 0 to 20; it looks like centimetres; 100 cm are 1 m"},
		{"all at once", "time,temperature_c,wind_speed_m_s,cloud_cover_pct\nyesterday,x,-1,101\n",
			"hill.csv:2: temperature_c: x: not a number; write the number alone, or nothing where there is none\n" +
				"hill.csv:2: cloud_cover_pct: 101: outside 0 to 100; check the value, or leave the cell empty for a gap\n" +
				"hill.csv:2: wind_speed_m_s: -1: outside 0 to 75; check the value, or leave the cell empty for a gap\n" +
				"hill.csv:2: time: yesterday: not an RFC 3339 time; write it with its offset from UTC, such as 2015-01-01T05:00:00Z or 2015-01-01T00:00:00-05:00"},
	} {
		if _, _, err := ReadCSV(strings.NewReader(c.text), "hill.csv"); err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.name, err, c.want)
		}
	}
}

func sameSeries(a, b *Series) string {
	if !a.Start().Equal(b.Start()) || a.Hours() != b.Hours() {
		return a.Start().String() + " and " + b.Start().String()
	}
	for _, v := range Variables() {
		if diff := cmp.Diff(a.Col(v), b.Col(v), cmpopts.EquateNaNs()); diff != "" {
			return v.String() + ": " + diff
		}
	}
	return ""
}

func TestWeatherGoesOutAndComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := NewSeries(time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "start"), 0), rapid.IntRange(1, 60).Draw(t, "hours"))
		for _, v := range Variables() {
			if v != TemperatureC && rapid.Bool().Draw(t, "without "+v.String()) {
				continue
			}
			low, high := possible[v].low, possible[v].high
			switch v { // what sensors are forgiven does not come back
			case ShortwaveWM2:
				low = 0
			case RelativeHumidityPct:
				high = 100
			}
			value := rapid.Float64Range(low, high)
			col := s.Col(v)
			for i := range col {
				if i == 0 || rapid.IntRange(0, 3).Draw(t, "gap") > 0 {
					col[i] = value.Draw(t, v.String())
				}
			}
		}
		var file bytes.Buffer
		if err := WriteCSV(&file, &s); err != nil {
			t.Fatal(err)
		}
		back, remarks, err := ReadCSV(&file, "back.csv")
		if err != nil || len(remarks) > 0 {
			t.Fatal(err, remarks)
		}
		if diff := sameSeries(&s, &back); diff != "" {
			t.Fatal(diff)
		}
	})
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWritingToAFullDiskFails(t *testing.T) {
	s := NewSeries(time.Unix(0, 0), 1000)
	if err := WriteCSV(fullDisk{}, &s); err == nil || err.Error() != "writing weather: disk full" {
		t.Error(err)
	}
}

// The R package macleish (Baumer and others), data set whately_2015: an hour
// every hour from January to June.
func TestMeasuredWeatherReads(t *testing.T) {
	s, remarks, err := ReadCSV(beside.Open(t, "data/hill-station-2015-hourly.csv"), "hill-station-2015-hourly.csv")
	if err != nil || len(remarks) > 0 {
		t.Fatal(err, remarks)
	}
	if want := time.Date(2015, 1, 1, 5, 0, 0, 0, time.UTC); !s.Start().Equal(want) || s.Hours() != 4339 {
		t.Errorf("%d hours from %s", s.Hours(), s.Start())
	}
	if first, last := s.unbroken(TemperatureC, 0); first != 0 || last != s.Hours() {
		t.Errorf("temperature from hour %d to %d", first, last)
	}
	for _, v := range []Variable{RelativeHumidityPct, DewPointC, SurfacePressureHPa, ShortwaveWM2, WindSpeedMS, PrecipitationMM} {
		if _, last := s.unbroken(v, 0); last != s.Hours() {
			t.Errorf("%s ends at hour %d", v, last)
		}
	}
	var file bytes.Buffer
	if err := WriteCSV(&file, &s); err != nil {
		t.Fatal(err)
	}
	back, _, err := ReadCSV(&file, "back.csv")
	if err != nil {
		t.Fatal(err)
	}
	if diff := sameSeries(&s, &back); diff != "" {
		t.Error(diff)
	}
}

func FuzzReadCSV(f *testing.F) {
	for _, s := range []string{
		"time,temperature_c\n2015-01-01T05:00:00Z,-9.36\n2015-01-01T06:00:00Z,\n",
		"\ufefftime,temperature_c,snow_depth_m\r\n2015-01-01T00:00:00-05:00,1e1,0.4\r\n",
		"time;temperature_c\n", "time,temperature_c\n2015-01-01T05:00:00Z,\"-9\n", "",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, _, err := ReadCSV(strings.NewReader(text), "hill.csv")
		if err != nil {
			return
		}
		var file bytes.Buffer
		if err := WriteCSV(&file, &s); err != nil {
			t.Fatal(err)
		}
		back, _, err := ReadCSV(&file, "back.csv")
		if err != nil {
			t.Fatal(err)
		}
		if diff := sameSeries(&s, &back); diff != "" {
			t.Fatal(diff)
		}
	})
}
