package season

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"

	"thawline/forecast/table"
)

// PlaceBuds is the days on which buds opened at one place.
type PlaceBuds struct {
	Place       string
	LatitudeDeg float64
	Seen        []BudYear // of one species, ""
}

// AreBudPlaces reports whether a file that begins like this has bud dates of several
// places.
func AreBudPlaces(head []byte) bool {
	first, _, _ := bytes.Cut(bytes.ToLower(head), []byte("\n"))
	for _, column := range strings.Split(string(bytes.TrimSpace(first)), ",") {
		if column == "site" {
			return true
		}
	}
	return false
}

// ReadBudPlaces reads bud dates of several places: columns site, lat_deg, year and
// leaf_bud_break_doy or green_rise_doy, a day of the year; other columns are not read.
// Errors call the file by name.
func ReadBudPlaces(r io.Reader, name string) ([]PlaceBuds, error) {
	columns := []string{"site", "lat_deg", "year", "leaf_bud_break_doy"}
	t, err := table.NewReader(r, name, columns, table.Names{"green_rise_doy": "leaf_bud_break_doy"})
	if err != nil {
		return nil, err
	}
	t.Require(columns...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	var places []PlaceBuds
	index := map[string]int{}
	for row := range t.Rows() {
		year, doy, latitude, site := row.Number("year"), row.Number("leaf_bud_break_doy"), row.Number("lat_deg"), row.Text("site")
		switch {
		case !(year >= 1800 && year <= 2200) || year != math.Trunc(year):
			row.Fail("year", row.Text("year")+": not a year", "write it with four digits")
			continue
		case !(doy >= 1 && doy <= 366):
			row.Fail("leaf_bud_break_doy", row.Text("leaf_bud_break_doy")+": not a day of the year", "count from 1 for 1 January")
			continue
		case !(math.Abs(latitude) <= 90):
			row.Fail("lat_deg", row.Text("lat_deg")+": not a latitude", "write degrees north, such as 44.2")
			continue
		}
		k, known := index[site]
		if !known {
			k = len(places)
			index[site], places = k, append(places, PlaceBuds{Place: site, LatitudeDeg: latitude})
		}
		places[k].Seen = append(places[k].Seen, BudYear{Year: int(year), LeafDOY: doy})
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	if len(places) < 3 {
		return nil, fmt.Errorf("%s: %d places, and at least 3 are needed to leave one out", name, len(places))
	}
	return places, nil
}
