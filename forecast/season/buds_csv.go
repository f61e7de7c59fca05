package season

import (
	"fmt"
	"io"
	"math"
	"strings"

	"thawline/forecast/table"
)

// BudYear is the day of the year on which the buds of a species opened, as a
// mean over trees.
type BudYear struct {
	Year    int
	Species string
	LeafDOY float64 // NaN where not seen
}

// ReadBuds reads bud dates: columns year, species and leaf_bud_break_doy, a day
// of the year; other columns are not read. Errors call the file by name.
func ReadBuds(r io.Reader, name string) ([]BudYear, error) {
	columns := []string{"year", "species", "leaf_bud_break_doy"}
	t, err := table.NewReader(r, name, columns)
	if err != nil {
		return nil, err
	}
	t.Require(columns...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	var buds []BudYear
	seen := map[string]int{}
	for row := range t.Rows() {
		year, doy := row.Number("year"), row.Number("leaf_bud_break_doy")
		species := strings.ToLower(row.Text("species"))
		switch {
		case math.IsNaN(year) || year != math.Trunc(year) || year < 1800 || year > 2200:
			row.Fail("year", row.Text("year")+": not a year", "write it with four digits")
			continue
		case species == "":
			row.Fail("species", "no species", "write its name, such as sugar maple")
			continue
		case doy < 1 || doy > 366:
			row.Fail("leaf_bud_break_doy", row.Text("leaf_bud_break_doy")+": not a day of the year", "count from 1 for 1 January")
			continue
		}
		key := fmt.Sprint(year, species)
		if before, twice := seen[key]; twice {
			row.Fail("year", fmt.Sprintf("%g and %s again, as in line %d", year, species, before),
				"leave one of them out, or write their mean")
			continue
		}
		seen[key] = row.Line
		buds = append(buds, BudYear{int(year), species, doy})
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	if len(buds) == 0 {
		return nil, fmt.Errorf("%s: no years after the first line; add one row for each year and species", name)
	}
	return buds, nil
}
