package season

import (
	"fmt"
	"io"
	"strings"
	"time"

	"thawline/forecast/table"
)

// Ended is the end of one season at a place, as its maker wrote it down.
type Ended struct {
	Place    string
	On       time.Time // at midnight UTC
	Kind     string    // in the maker's words
	Censored bool      // stopped while the sap was still good, or may have been
}

// stoppedEarly are the words of kinds that tell nothing of the sap.
var stoppedEarly = []string{"pulled", "down", "censored"}

// ReadEnds reads ends of seasons: columns date and kind, and place where there are several;
// other columns are not read, and openings are left out. Errors call the file by name.
func ReadEnds(r io.Reader, name string) ([]Ended, error) {
	t, err := table.NewReader(r, name, []string{"place", "kind", "date"})
	if err != nil {
		return nil, err
	}
	t.Require("date", "kind")
	if err := t.Err(); err != nil {
		return nil, err
	}
	var ends []Ended
	for row := range t.Rows() {
		date, ok := row.Date("date")
		kind := strings.ToLower(row.Text("kind"))
		if !ok || strings.Contains(kind, "opening") {
			continue
		}
		e := Ended{Place: row.Text("place"), On: date, Kind: kind}
		for _, word := range stoppedEarly {
			e.Censored = e.Censored || strings.Contains(kind, word)
		}
		ends = append(ends, e)
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	if len(ends) == 0 {
		return nil, fmt.Errorf("%s: no ends after the first line; add a row for each season", name)
	}
	return ends, nil
}
