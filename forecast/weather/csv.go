package weather

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/table"
)

// maxMissingDays is the longest hole in a weather file that can be a logger's
// fault rather than a file of two winters.
const maxMissingDays = 60

// ReadCSV reads hourly weather: a column time (RFC 3339, any offset, whole
// hours, rising) and any of the columns of Variables, of which temperature_c
// must be there. An empty cell or a missing hour is a gap; humidity above 100
// and sunshine below 0, as sensors give them, are set to those. Columns of
// other names are ignored and remarked. Errors call the file by name and tell
// everything that is wrong, with line, column and remedy.
func ReadCSV(r io.Reader, name string) (s Series, remarks []Remark, err error) {
	known := append([]string{"time"}, columnNames[:]...)
	t, err := table.NewReader(r, name, known)
	if err != nil {
		return Series{}, nil, err
	}
	for _, column := range []string{"time", TemperatureC.String()} {
		if !t.Has(column) {
			t.Fail(1, "", "no column "+column, "the first line must name it, as in time,temperature_c,relative_humidity_pct")
		}
	}
	if !t.Has("time") {
		return Series{}, nil, t.Err()
	}
	rows := readRows(t)
	if err := t.Err(); err != nil {
		return Series{}, nil, err
	}
	if len(rows) == 0 {
		return Series{}, nil, fmt.Errorf("%s: no hours after the first line; add one row an hour", name)
	}

	s = NewSeries(rows[0].at, int(rows[len(rows)-1].at.Sub(rows[0].at)/time.Hour)+1)
	for v := range variables {
		if !t.Has(v.String()) {
			continue
		}
		col := s.Col(v)
		for _, row := range rows {
			col[s.Index(row.at)] = row.values[v]
		}
	}
	if !s.Has(TemperatureC) {
		return Series{}, nil, fmt.Errorf("%s: temperature_c holds no value; nothing can be said without it", name)
	}
	if missing := s.Hours() - len(rows); missing > 0 {
		remarks = append(remarks, Remark{Kind: HoursMissing, Name: name, Hours: missing, Of: s.Hours()})
	}
	if ignored := t.Ignored(); len(ignored) > 0 {
		remarks = append(remarks, Remark{Kind: ColumnsNotKnown, Name: name, Why: strings.Join(ignored, ", ")})
	}
	return s, remarks, nil
}

// csvRow is one hour; values of absent columns are NaN.
type csvRow struct {
	at     time.Time
	values [variables]float64
}

func readRows(t *table.Reader) []csvRow {
	var rows []csvRow
	lastLine := 0
	for row := range t.Rows() {
		out := csvRow{}
		for v := range variables {
			out.values[v] = physical(row, v)
		}
		at, ok := wholeHour(row)
		if !ok {
			continue
		}
		out.at = at
		if len(rows) > 0 {
			switch step := at.Sub(rows[len(rows)-1].at); {
			case step == 0:
				row.Fail("time", fmt.Sprintf("%s: the hour of line %d again", row.Text("time"), lastLine), "keep one of them")
				continue
			case step < 0:
				row.Fail("time", fmt.Sprintf("%s: earlier than line %d", row.Text("time"), lastLine), "sort the file by time")
				continue
			case step > maxMissingDays*24*time.Hour:
				row.Fail("time", fmt.Sprintf("%s: %.0f days after line %d", row.Text("time"), step.Hours()/24, lastLine),
					"fill the hole, or make two files of it")
			}
		}
		rows = append(rows, out)
		lastLine = row.Line
	}
	return rows
}

func wholeHour(row table.Row) (time.Time, bool) {
	text := row.Text("time")
	const remedy = "write it with its offset from UTC, such as 2015-01-01T05:00:00Z or 2015-01-01T00:00:00-05:00"
	at, err := time.Parse(time.RFC3339, text)
	switch {
	case text == "":
		row.Fail("time", "no time", remedy)
	case err != nil:
		row.Fail("time", text+": not an RFC 3339 time", remedy)
	case !at.Equal(at.Truncate(time.Hour)):
		row.Fail("time", text+": not on the whole hour", "give one row an hour, on the hour in UTC; average or pick from finer readings")
	case at.Year() < 1900 || at.Year() > 2200:
		row.Fail("time", text+": not a year of weather readings", "check the year")
	default:
		return at.UTC(), true
	}
	return time.Time{}, false
}

// possible holds the least and greatest value of each column on earth, with
// what sensors are forgiven beyond.
var possible = [variables]struct{ low, high float64 }{
	TemperatureC:        {-70, 60},
	DewPointC:           {-90, 40},
	RelativeHumidityPct: {0, 105},
	SurfacePressureHPa:  {500, 1100},
	ShortwaveWM2:        {-20, 1500},
	CloudCoverPct:       {0, 100},
	WindSpeedMS:         {0, 75},
	PrecipitationMM:     {0, 200},
	SnowDepthM:          {0, 20},
}

// physical reads one value and holds it against what is possible.
func physical(row table.Row, v Variable) float64 {
	x, p := row.Number(v.String()), possible[v]
	if x < p.low || x > p.high {
		row.Fail(v.String(), fmt.Sprintf("%s: outside %v to %v", row.Text(v.String()), p.low, p.high), likelyUnit(v, x))
		return math.NaN()
	}
	switch v {
	case RelativeHumidityPct:
		return min(x, 100)
	case ShortwaveWM2:
		return max(x, 0)
	}
	return x
}

// otherUnits are units in which values that can't be were likely written, and between
// which numbers.
var otherUnits = []struct {
	variable Variable
	from, to float64
	unit     string
}{
	{SurfacePressureHPa, 20, 32.5, "inches of mercury; 1 inHg is 33.864 hPa"},
	{SurfacePressureHPa, 50, 110, "kPa; 1 kPa is 10 hPa"},
	{SurfacePressureHPa, 50_000, 110_000, "Pa; 100 Pa are 1 hPa"},
	{TemperatureC, 200, 335, "kelvins; subtract 273.15"},
	{DewPointC, 200, 335, "kelvins; subtract 273.15"},
	{TemperatureC, 0, 140, "degrees Fahrenheit; subtract 32 and divide by 1.8"},
	{DewPointC, 0, 140, "degrees Fahrenheit; subtract 32 and divide by 1.8"},
	{SnowDepthM, 0, 2000, "centimetres; 100 cm are 1 m"},
}

// likelyUnit guesses which unit an impossible value was written in.
func likelyUnit(v Variable, x float64) string {
	for _, other := range otherUnits {
		if v == other.variable && x >= other.from && x <= other.to {
			return "it looks like " + other.unit
		}
	}
	return "check the value, or leave the cell empty for a gap"
}

// WriteCSV writes a series as ReadCSV reads it: one row an hour in UTC, the
// temperature and every other column that holds a value, gaps as empty cells,
// and each number in full.
func WriteCSV(w io.Writer, s *Series) error {
	header := []string{"time"}
	var columns []Variable
	for _, v := range Variables() {
		if v == TemperatureC || s.Has(v) {
			columns = append(columns, v)
			header = append(header, v.String())
		}
	}
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return fmt.Errorf("writing weather: %w", err)
	}
	row := make([]string, len(header))
	for i := range s.Hours() {
		row[0] = s.Time(i).Format(time.RFC3339)
		for k, v := range columns {
			row[k+1] = ""
			if x := s.At(v, i); !math.IsNaN(x) {
				row[k+1] = strconv.FormatFloat(x, 'f', -1, 64)
			}
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("writing weather: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing weather: %w", err)
	}
	return nil
}
