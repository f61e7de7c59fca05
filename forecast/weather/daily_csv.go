package weather

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/table"
)

// maxMissingYears is the longest hole in a file of days that is no slip of the
// pen.
const maxMissingYears = 30

// ReadDailyCSV reads lows and highs: columns date (2013-02-24), tmin_c and
// tmax_c. An empty cell, a missing day and a day whose low is above its high are
// gaps. Errors call the file by name and tell everything that is wrong, with
// line, column and remedy.
func ReadDailyCSV(r io.Reader, name string) (Daily, error) {
	columns := []string{"date", "tmin_c", "tmax_c"}
	t, err := table.NewReader(r, name, columns)
	if err != nil {
		return Daily{}, err
	}
	t.Require(columns...)
	if err := t.Err(); err != nil {
		return Daily{}, err
	}
	type day struct {
		date      time.Time
		low, high float64
	}
	var days []day
	lastLine := 0
	var swapped []int
	for row := range t.Rows() {
		date, ok := row.Date("date")
		low, high := celsius(row, "tmin_c"), celsius(row, "tmax_c")
		if low > high { // a slip of the logger: neither is known
			swapped = append(swapped, row.Line)
			low, high = math.NaN(), math.NaN()
		}
		if !ok {
			continue
		}
		if len(days) > 0 {
			switch step := int(date.Sub(days[len(days)-1].date).Hours() / 24); {
			case step == 0:
				row.Fail("date", fmt.Sprintf("%s: the day of line %d again", row.Text("date"), lastLine), "keep one of them")
				continue
			case step < 0:
				row.Fail("date", fmt.Sprintf("%s: earlier than line %d", row.Text("date"), lastLine), "sort the file by date")
				continue
			case step > maxMissingYears*366:
				row.Fail("date", fmt.Sprintf("%s: %d days after line %d", row.Text("date"), step, lastLine),
					"check the year, or make two files of it")
				continue
			}
		}
		days = append(days, day{date, low, high})
		lastLine = row.Line
	}
	if err := t.Err(); err != nil {
		return Daily{}, err
	}
	if len(days) == 0 {
		return Daily{}, fmt.Errorf("%s: no days after the first line; add one row a day", name)
	}
	if len(swapped) > 2 && len(swapped) > len(days)/20 {
		return Daily{}, fmt.Errorf("%s:%d: tmin_c is above tmax_c here and in %d other lines; check that the columns are named right",
			name, swapped[0], len(swapped)-1)
	}
	d := NewDaily(days[0].date, int(math.Round(days[len(days)-1].date.Sub(days[0].date).Hours()/24))+1)
	warm := 0
	for _, x := range days {
		i := d.Index(x.date)
		d.LowC[i], d.HighC[i] = x.low, x.high
		if m := x.date.Month(); (m <= 2 || m == 12) && x.low > 15 {
			warm++
		}
	}
	if warm > len(days)/12 {
		return Daily{}, fmt.Errorf("%s: tmin_c: winter nights above 15 °C; the columns look like °F, convert them to °C", name)
	}
	return d, nil
}

func celsius(row table.Row, column string) float64 {
	x := row.Number(column)
	if x < -70 || x > 60 {
		row.Fail(column, row.Text(column)+" °C was never measured anywhere", "check the value and its unit")
	}
	return x
}

// ReadDailySitesCSV reads lows and highs of several places from one file, as ReadDailyCSV
// does, by a further column site. Errors call the file and the site by name; their lines
// count those of the site.
func ReadDailySitesCSV(r io.Reader, name string) (map[string]*Daily, error) {
	in := csv.NewReader(r)
	header, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	site := slices.IndexFunc(header, func(cell string) bool {
		return slices.Contains([]string{"site", "station"}, strings.ToLower(strings.TrimSpace(cell)))
	})
	if site < 0 {
		return nil, fmt.Errorf("%s:1: no column site; the first line must name it", name)
	}
	files, order := map[string]*bytes.Buffer{}, []string{}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if files[row[site]] == nil {
			files[row[site]], order = bytes.NewBufferString(strings.Join(header, ",")+"\n"), append(order, row[site])
		}
		out := csv.NewWriter(files[row[site]])
		if err := out.Write(row); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		out.Flush()
	}
	days := map[string]*Daily{}
	for _, s := range order {
		d, err := ReadDailyCSV(files[s], name+" ("+s+")")
		if err != nil {
			return nil, err
		}
		days[s] = &d
	}
	return days, nil
}
