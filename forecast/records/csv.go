package records

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/table"
	"thawline/forecast/units"
)

var columns = []string{"date", "collected_at", "site", "group", "taps", "volume_l", "volume_gal", "volume_imp_gal", "brix", "note"}

// inFrench are names that notebooks in French give the columns.
var inFrench = table.Names{"groupe": "group", "entailles": "taps", "litres": "volume_l", "sucre": "brix", "remarque": "note", "remarques": "note"}

// What a record may say; more is a slip of the pen.
const (
	maxTaps    = 1_000_000
	maxVolumeL = 5_000_000
	maxBrixPct = 20 // sap has 1 to 5, syrup 66
)

// ReadCSV reads visits, in the order of the file: a column date (2013-02-24, a
// day in the zone) or collected_at (RFC 3339, or a day), one of volume_l,
// volume_gal (US gallons) and volume_imp_gal, and if need be site, group, taps,
// brix and note. A blank volume
// stays NaN, never 0. Columns of other names are not read. Errors call the file
// by name and tell everything that is wrong, with line, column and remedy.
func ReadCSV(r io.Reader, name string, zone *time.Location) ([]Visit, error) {
	t, err := table.NewReader(r, name, columns, inFrench)
	if err != nil {
		return nil, err
	}
	when := oneColumn(t, "date", "collected_at")
	volume := oneColumn(t, "volume_l", "volume_gal", "volume_imp_gal")
	if !t.Has(when) || !t.Has(volume) {
		return nil, t.Err()
	}
	litresPerUnit := map[string]float64{"volume_l": 1, "volume_gal": units.LitresPerUSGallon, "volume_imp_gal": units.LitresPerImperialGallon}[volume]

	var visits []Visit
	for row := range t.Rows() {
		v := Visit{
			Site: plainText(row.Text("site")), Group: plainText(row.Text("group")), Note: plainText(row.Raw("note")), Line: row.Line,
			Taps:    taps(row),
			VolumeL: bounded(row, volume, maxVolumeL/litresPerUnit, "a volume") * litresPerUnit,
			BrixPct: bounded(row, "brix", maxBrixPct, "the sugar of sap in per cent"),
		}
		v.CollectedAt, v.DateOnly = moment(row, when, zone)
		if v.DateOnly {
			v.CollectedAt = hourFromNote(v.CollectedAt, v.Note)
		}
		visits = append(visits, v)
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	if len(visits) == 0 {
		return nil, fmt.Errorf("%s: no visits after the first line; add one row for each", name)
	}
	return visits, nil
}

// oneColumn returns which of some columns the file has; it must have one.
func oneColumn(t *table.Reader, names ...string) string {
	has := slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !t.Has(n) })
	switch len(has) {
	case 0:
		t.Fail(1, "", "none of "+strings.Join(names, ", "), "the first line must name one of these columns")
		return names[0]
	case 1:
	default:
		t.Fail(1, "", "both "+strings.Join(has, " and "), "keep one of these columns")
	}
	return has[0]
}

// moment reads when a visit was. In the column date only a day may stand.
func moment(row table.Row, column string, zone *time.Location) (at time.Time, dateOnly bool) {
	text := row.Text(column)
	day, dayErr := time.Parse(time.DateOnly, text)
	at, timeErr := time.Parse(time.RFC3339, text)
	example := "write year-month-day, such as 2013-02-24"
	if column == "collected_at" {
		example = "write it with its offset from UTC, such as 2013-02-24T16:30:00-05:00"
	}
	switch {
	case dayErr == nil:
		at, dateOnly = usualTime(day, zone), true
	case text == "":
		row.Fail(column, "no date", example)
		return time.Time{}, false
	case timeErr != nil:
		row.Fail(column, text+": not a date", example)
		return time.Time{}, false
	case column == "date":
		row.Fail(column, text+": more than a date", "call the column collected_at, or "+example)
		return time.Time{}, false
	}
	if y := at.Year(); y < 1900 || y > 2200 {
		row.Fail(column, text+": not a year of records", "check the year")
	}
	return at.In(zone), dateOnly
}

// ParseMoment reads when a visit was: a day, a local time of the zone, or an
// instant in RFC 3339.
func ParseMoment(text string, zone *time.Location) (at time.Time, dateOnly bool, err error) {
	text = strings.TrimSpace(text)
	if day, err := time.Parse(time.DateOnly, text); err == nil {
		return usualTime(day, zone), true, nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.In(zone), false, nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04"} {
		if at, err := time.ParseInLocation(layout, text, zone); err == nil {
			return at, false, nil
		}
	}
	return time.Time{}, false, errors.New("write a day like 2026-03-20 or a time like 2026-03-20 17:30")
}

func taps(row table.Row) int {
	text := row.Text("taps")
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > maxTaps {
		row.Fail("taps", text+": not a number of taps", "write how many taps were collected from, a whole number above zero, or nothing where it is not known")
	}
	return n
}

// bounded reads a number from 0 to high, NaN where there is none.
func bounded(row table.Row, column string, high float64, what string) float64 {
	x := row.Number(column)
	switch {
	case x < 0:
		row.Fail(column, row.Text(column)+": "+what+" can't be below zero", "check the value; leave it empty where nothing was collected or measured")
	case x > high:
		row.Fail(column, row.Text(column)+": too much for "+what, "check the value and its unit")
	}
	return x
}

// WriteCSV writes visits as ReadCSV reads them, in the order given: days and
// times by the zone's clock, volumes in litres, every number in full.
func WriteCSV(w io.Writer, visits []Visit, zone *time.Location) error {
	header := []string{"date", "group", "taps", "volume_l", "brix", "note"}
	if slices.ContainsFunc(visits, func(v Visit) bool { return !v.DateOnly }) {
		header[0] = "collected_at"
	}
	if slices.ContainsFunc(visits, func(v Visit) bool { return v.Site != "" }) {
		header = slices.Insert(header, 1, "site")
	}
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return fmt.Errorf("writing records: %w", err)
	}
	for _, v := range visits {
		row := []string{written(v, zone), noFormula(v.Group), "", number(v.VolumeL), number(v.BrixPct), noFormula(v.Note)}
		if v.Taps != 0 {
			row[2] = strconv.Itoa(v.Taps)
		}
		if len(header) > len(row) {
			row = slices.Insert(row, 1, noFormula(v.Site))
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("writing records: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing records: %w", err)
	}
	return nil
}

// noFormula keeps a spreadsheet from working out what somebody wrote as a note: an
// apostrophe before it makes it a text there, and plainText takes it off again.
func noFormula(cell string) string {
	if looksLikeFormula(cell) {
		return "'" + cell
	}
	return cell
}

func plainText(cell string) string {
	if rest, marked := strings.CutPrefix(cell, "'"); marked && looksLikeFormula(rest) {
		return rest
	}
	return cell
}

func looksLikeFormula(cell string) bool {
	rest := strings.TrimLeft(cell, "'")
	return rest != "" && strings.ContainsRune("=+-@\t\r\n", rune(rest[0]))
}

func written(v Visit, zone *time.Location) string {
	if v.DateOnly {
		return v.CollectedAt.In(zone).Format(time.DateOnly)
	}
	return v.CollectedAt.In(zone).Format(time.RFC3339Nano)
}

func number(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
