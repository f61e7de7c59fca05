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
)

var columns = []string{"date", "collected_at", "site", "group", "taps", "volume_l", "volume_gal", "volume_imp_gal", "brix", "note",
	"taps_event"}

// whichGallons and whichUnit stand for columns of which nobody can know the unit.
const (
	whichGallons = "gallons"
	whichUnit    = "sap"
)

// otherNames are names that notebooks give the columns, in English and French.
var otherNames = table.Names{
	"day": "date", "jour": "date", "when": "collected_at", "quand": "collected_at",
	"bush": "site", "érablière": "site", "erabliere": "site",
	"groupe": "group", "secteur": "group", "section": "group",
	"entailles": "taps", "number_of_taps": "taps", "nombre_d'entailles": "taps", "nb_entailles": "taps",
	"l": "volume_l", "litres": "volume_l", "liters": "volume_l", "litre": "volume_l", "volume_(l)": "volume_l",
	"volume_litres": "volume_l", "volume_liters": "volume_l", "volume_en_litres": "volume_l", "sap_l": "volume_l",
	"sap_(l)": "volume_l", "eau_(l)": "volume_l",
	"us_gallons": "volume_gal", "us_gal": "volume_gal", "gallons_us": "volume_gal", "volume_us_gal": "volume_gal",
	"gallons_américains": "volume_gal",
	"imperial_gallons":   "volume_imp_gal", "imp_gallons": "volume_imp_gal", "imp_gal": "volume_imp_gal",
	"gallons_impériaux": "volume_imp_gal", "gallons_imperiaux": "volume_imp_gal", "gal_imp": "volume_imp_gal",
	"gallon": whichGallons, "gal": whichGallons, "volume_gallons": whichGallons, "volume_(gal)": whichGallons, "sap_gal": whichGallons,
	"sap_(gal)": whichGallons,
	"volume":    whichUnit, "sap_volume": whichUnit, "eau": whichUnit, "eau_d'érable": whichUnit, "quantity": whichUnit,
	"quantité": whichUnit, "amount": whichUnit,
	"sugar": "brix", "sucre": "brix", "sugar_%": "brix", "sugar_pct": "brix", "sucre_%": "brix", "brix_%": "brix", "brix_pct": "brix",
	"°brix": "brix", "degrés_brix": "brix",
	"notes": "note", "remark": "note", "remarks": "note", "remarque": "note", "remarques": "note", "comment": "note",
	"comments": "note", "commentaire": "note", "commentaires": "note",
}

// maxTaps is how many taps a record may speak of; more is a slip of the pen.
const maxTaps = 1_000_000

// mostRows is how many rows a file of records may have: twenty seasons of twenty groups.
const mostRows = 20_000

// Notebook is what a file of records holds.
type Notebook struct {
	Visits  []Visit
	Taps    []TapEvent // when taps were put in and pulled
	NotRead []string   // columns, as the file calls them
}

// ReadCSV reads the visits of a notebook.
func ReadCSV(r io.Reader, name string, zone *time.Location) ([]Visit, error) {
	n, err := ReadNotebook(r, name, zone)
	return n.Visits, err
}

// ReadNotebook reads visits, in the order of the file: a column date (2013-02-24, a
// day in the zone) or collected_at (RFC 3339, or a day), one of volume_l,
// volume_gal (US gallons) and volume_imp_gal, and if need be site, group, taps,
// brix and note, or other names of these. A row whose column taps_event says tapped or
// pulled is no visit. A blank volume
// stays NaN, never 0. Whether the figures can be is for Validate. Columns of other
// names are not read. Errors call the file
// by name and tell everything that is wrong, with line, column and remedy.
func ReadNotebook(r io.Reader, name string, zone *time.Location) (Notebook, error) {
	t, err := table.NewReader(r, name, columns, otherNames)
	if err != nil {
		return Notebook{}, err
	}
	t.Limit(mostRows)
	when := oneColumn(t, "date", "collected_at")
	volume := volumeColumn(t)
	if !t.Has(when) || !t.Has(volume) {
		return Notebook{}, t.Err()
	}
	var visits []Visit
	var events []TapEvent
	for row := range t.Rows() {
		if e, is := tapEvent(row, when, zone); is {
			events = append(events, e)
			continue
		}
		v := Visit{
			Site: plainText(row.Text("site")), Group: plainText(row.Text("group")), Note: plainText(row.Raw("note")), Line: row.Line,
			Taps:    taps(row),
			VolumeL: litres(row, volume),
			BrixPct: sugar(row),
		}
		v.CollectedAt, v.DateOnly = moment(row, when, zone)
		if v.DateOnly {
			v.CollectedAt = hourFromNote(v.CollectedAt, v.Note)
		}
		visits = append(visits, v)
	}
	if err := t.Err(); err != nil {
		return Notebook{}, err
	}
	if len(visits)+len(events) == 0 {
		return Notebook{}, fmt.Errorf("%s: no visits after the first line; add one row for each", name)
	}
	return Notebook{visits, events, t.Ignored()}, nil
}

// volumeColumn is which of the columns of volumes the file has. One whose unit
// nobody can know is asked about.
func volumeColumn(t *table.Reader) string {
	known := []string{"volume_l", "volume_gal", "volume_imp_gal"}
	if slices.ContainsFunc(known, t.Has) {
		return oneColumn(t, known...)
	}
	switch {
	case t.Has(whichGallons):
		t.Fail(1, t.Heading(whichGallons), "US or imperial gallons?",
			"call the column volume_gal for US gallons, volume_imp_gal for imperial ones")
		return whichGallons
	case t.Has(whichUnit):
		t.Fail(1, t.Heading(whichUnit), "in which unit?",
			"call the column volume_l for litres, volume_gal for US gallons, volume_imp_gal for imperial ones")
		return whichUnit
	}
	return oneColumn(t, known...)
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
	if plain := plainWords(text); dayErr != nil && namesYear.MatchString(plain) {
		if read, found, err := dayOf(plain, day, false); err == nil && found {
			day, dayErr = read, nil
		}
	}
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
		row.Fail(column, text+": not a date", asWanted(text, example))
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
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05"} {
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
		row.Fail("taps", text+": not a number of taps",
			"write how many taps were collected from, a whole number above zero, or nothing where it is not known")
	}
	return n
}

// WriteCSV writes visits as ReadCSV reads them, in the order given: days and
// times by the zone's clock, volumes in litres, every number in full.
func WriteCSV(w io.Writer, visits []Visit, zone *time.Location) error {
	return WriteNotebook(w, Notebook{Visits: visits}, zone)
}

// WriteNotebook writes a notebook as ReadNotebook reads it: the visits as WriteCSV does,
// then what was done to the taps.
func WriteNotebook(w io.Writer, n Notebook, zone *time.Location) error {
	visits := slices.Clone(n.Visits)
	for _, e := range n.Taps {
		visits = append(visits, Visit{Site: e.Site, Group: e.Group, CollectedAt: e.On, DateOnly: e.DateOnly, VolumeL: math.NaN(),
			BrixPct: math.NaN()})
	}
	header := []string{"date", "group", "taps", "volume_l", "brix", "note"}
	if slices.ContainsFunc(visits, func(v Visit) bool { return !v.DateOnly }) {
		header[0] = "collected_at"
	}
	if slices.ContainsFunc(visits, func(v Visit) bool { return v.Site != "" }) {
		header = slices.Insert(header, 1, "site")
	}
	if len(n.Taps) > 0 {
		header = append(header, "taps_event")
	}
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return fmt.Errorf("writing records: %w", err)
	}
	for i, v := range visits {
		row := []string{written(v, zone), NoFormula(v.Group), "", number(v.VolumeL), number(v.BrixPct), NoFormula(v.Note)}
		if v.Taps != 0 {
			row[2] = strconv.Itoa(v.Taps)
		}
		if slices.Contains(header, "site") {
			row = slices.Insert(row, 1, NoFormula(v.Site))
		}
		if event := i - len(n.Visits); event >= 0 {
			row = append(row, string(n.Taps[event].Kind))
		} else if len(n.Taps) > 0 {
			row = append(row, "")
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

// NoFormula keeps a spreadsheet from working out what somebody wrote as a note: an
// apostrophe before it makes it a text there, and plainText takes it off again.
func NoFormula(cell string) string {
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
