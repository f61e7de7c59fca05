package records

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/table"
	"thawline/forecast/units"
)

var (
	withUnit = regexp.MustCompile(`^[0-9][0-9.,]*\s*[^0-9.,\seE%].*$`)
	inSugar  = regexp.MustCompile(`(?i)^([0-9]+(?:[.,][0-9]+)?)\s*(?:%|°|°?\s*brix|°?\s*bx)$`)
	about    = regexp.MustCompile(`(?i)^(?:~|≈|<|>|about|approx\.?|ca\.?|env\.?|environ)\s*([0-9][0-9.,]*.*)$|^([0-9][0-9.,]*[^?+]*)[?+]+$`)
)

// gallonsOf are whose gallons and quarts a column's cells mean.
var gallonsOf = map[string]units.System{"volume_l": units.Metric, "volume_gal": units.US, "volume_imp_gal": units.Imperial}

// litres reads a volume, in the column's unit unless the cell names one.
func litres(row table.Row, column string) float64 {
	text := row.Text(column)
	if isAbout(row, column) {
		return 0
	}
	if !withUnit.MatchString(text) {
		return row.Number(column) * map[string]float64{"volume_l": 1, "volume_gal": units.LitresPerUSGallon,
			"volume_imp_gal": units.LitresPerImperialGallon}[column]
	}
	x, err := units.ParseVolume(text, gallonsOf[column])
	var wrong *units.ParseError
	if errors.As(err, &wrong) {
		row.Fail(column, text+": "+wrong.What, wrong.Remedy)
		return 0
	}
	return x
}

// sugar reads a share of sugar, with or without a sign for it.
func sugar(row table.Row) float64 {
	const column = "brix"
	if isAbout(row, column) {
		return 0
	}
	if m := inSugar.FindStringSubmatch(row.Text(column)); m != nil {
		if x, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64); err == nil {
			return x
		}
	}
	return row.Number(column)
}

// isAbout is true of a cell that says how sure somebody was as well, which is a fault.
func isAbout(row table.Row, column string) bool {
	text := row.Text(column)
	m := about.FindStringSubmatch(text)
	if m == nil {
		return false
	}
	row.Fail(column, text+": more than a number", fmt.Sprintf("write %s, and in the note that it is a guess", strings.TrimSpace(m[1]+m[2])))
	return true
}

var (
	yearLast  = regexp.MustCompile(`^(\d{1,2})[/. -](\d{1,2})[/. -](\d{4})$`)
	yearFirst = regexp.MustCompile(`^(\d{4})[/. -](\d{1,2})[/. -](\d{1,2})$`)
)

// asWanted shows how a day that is written in another way is to be written; example
// where it is not known which day it is.
func asWanted(text, example string) string {
	var days []string
	take := func(year, month, day string) {
		if t, err := time.Parse("2006-1-2", year+"-"+month+"-"+day); err == nil && !slices.Contains(days, t.Format(time.DateOnly)) {
			days = append(days, t.Format(time.DateOnly))
		}
	}
	if m := yearLast.FindStringSubmatch(text); m != nil {
		take(m[3], m[1], m[2])
		take(m[3], m[2], m[1])
	}
	if m := yearFirst.FindStringSubmatch(text); m != nil {
		take(m[1], m[2], m[3])
	}
	if len(days) == 0 {
		return example
	}
	return "write year-month-day: " + strings.Join(days, " or ")
}
