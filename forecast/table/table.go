// Package table reads the files with separated columns that people, their sheets
// and loggers write: a row of column names, then rows. Whatever is wrong is told all at once, with
// the file, the line and the column.
package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/units"
)

// Reader reads one file. It takes a byte order mark, UTF-16 with one, Windows-1252,
// either line ending, columns parted by commas, semicolons or tabs (and decimal
// commas with the latter two), and column names in any case and order, with spaces
// for underscores.
type Reader struct {
	name    string
	csv     *csv.Reader
	parted  string // by what columns are, in words
	other   Names
	columns map[string]int
	width   int      // columns up to the last one with a name
	written []string // the first line
	ignored []string
	faults  []string
	more    bool
	most    int // rows that are read, 0 for all
	rows    int
	long    *longRow
}

// workbooks are how files of sheets begin: a ZIP archive (PKWARE's APPNOTE) in newer
// forms, an OLE2 file (Microsoft's MS-CFB) in older ones.
var workbooks = []string{"PK\x03\x04", "\xd0\xcf\x11\xe0"}

// maxFaults keeps a file in the wrong form from giving one fault a row: reading stops
// after them.
const maxFaults = 50

// maxRowBytes keeps a quote that is never closed from taking a whole file for one cell.
const maxRowBytes = 1 << 20

// maxFaultRunes keeps a cell without an end from flooding a fault.
const maxFaultRunes = 400

// NewReader reads the column names of the file, which errors call by name, and
// checks them against the known ones; other names of these may be given. Columns of
// unknown names are ignored, but one that looks like a known one that is missing is
// a fault.
func NewReader(r io.Reader, name string, known []string, other ...Names) (*Reader, error) {
	t := &Reader{name: name, columns: map[string]int{}}
	if len(other) > 0 {
		t.other = other[0]
	}
	in := unmarked(r)
	if start, _ := in.Peek(4); slices.Contains(workbooks, string(start)) {
		return nil, fmt.Errorf("%s: that is a workbook and not a table in plain text; open it and save it as CSV, then bring that file in", name)
	}
	comma, parted := t.separator(in, known)
	t.long = &longRow{r: in}
	t.csv, t.parted = csv.NewReader(t.long), parted
	t.csv.Comma = rune(comma)
	t.csv.FieldsPerRecord = -1 // counted here, to say so in words
	t.csv.ReuseRecord = true
	header, err := t.csv.Read()
	switch {
	case errors.Is(err, io.EOF):
		return nil, fmt.Errorf("%s: the file is empty; its first line must name the columns, such as %s", name, strings.Join(known, ","))
	case err != nil:
		return nil, t.broken(err)
	}
	t.names(header, known)
	return t, nil
}

// Names are other names of columns, such as those of another language, in lower
// case and with underscores.
type Names map[string]string

// named is the name of a column as the program knows it.
func (t *Reader) named(cell string) string {
	name := plainName(cell)
	if own, ok := t.other[name]; ok {
		return own
	}
	return name
}

func plainName(cell string) string {
	return strings.Join(strings.Fields(strings.ToLower(decoded(cell))), "_")
}

func (t *Reader) names(header, known []string) {
	names := make([]string, len(header))
	for i, cell := range header {
		names[i] = plainName(cell)
		t.written = append(t.written, strings.TrimSpace(decoded(cell)))
	}
	for i, name := range names { // a column that has a name itself comes before others that may have it
		if own, ok := t.other[name]; ok && !slices.Contains(names, own) {
			names[i] = own
		}
	}
	for i, name := range names {
		if name == "" {
			continue
		}
		t.width = i + 1
		if t.Has(name) {
			t.Fail(1, name, "the column is there twice", "keep one of them")
			continue
		}
		t.columns[name] = i
		if slices.Contains(known, name) {
			continue
		}
		if near := units.Nearest(name, known); near != "" && !slices.Contains(names, near) {
			t.Fail(1, name, "no such column",
				fmt.Sprintf("did you mean %q? If it is something else, give it a name that is less alike", near))
			t.columns[near] = i // so that it is not missed as well
		} else {
			t.ignored = append(t.ignored, t.written[i])
		}
	}
}

// Has reports whether the file has a column.
func (t *Reader) Has(column string) bool {
	_, ok := t.columns[column]
	return ok
}

// Require makes each column that the file lacks a fault.
func (t *Reader) Require(columns ...string) {
	for _, c := range columns {
		if !t.Has(c) {
			t.Fail(1, "", "no column "+c, "the first line must name it")
		}
	}
}

// Heading is what the file calls a column.
func (t *Reader) Heading(column string) string {
	if i, ok := t.columns[column]; ok {
		return t.written[i]
	}
	return column
}

// Ignored lists the columns of unknown names, as the file calls them.
func (t *Reader) Ignored() []string { return t.ignored }

// Row is one line of the file. It holds until the next is read.
type Row struct {
	Line  int
	t     *Reader
	cells []string
}

// Rows reads the rows, but for empty ones.
func (t *Reader) Rows() iter.Seq[Row] {
	return func(yield func(Row) bool) {
		for {
			t.long.read = 0
			cells, err := t.csv.Read()
			if errors.Is(err, io.EOF) || t.stopped() {
				return
			}
			if err != nil {
				t.add(t.broken(err).Error())
				return
			}
			line, _ := t.csv.FieldPos(0)
			for len(cells) > t.width && strings.TrimSpace(cells[len(cells)-1]) == "" {
				cells = cells[:len(cells)-1]
			}
			switch {
			case len(strings.TrimSpace(strings.Join(cells, ""))) == 0:
			case len(cells) != t.width:
				t.add(fmt.Sprintf("%s:%d: %d columns where the first line names %d; put quotes round a text with %s in it", t.name,
					line, len(cells), t.width, t.parted))
			default:
				if !yield(Row{line, t, cells}) {
					return
				}
			}
		}
	}
}

// Limit bounds how many rows are read: a file with more is a fault.
func (t *Reader) Limit(rows int) { t.most = rows }

// stopped reports whether a further row is one too many, and says so.
func (t *Reader) stopped() bool {
	t.rows++
	if t.more = t.more || len(t.faults) >= maxFaults; t.more {
		return true
	}
	if t.most > 0 && t.rows > t.most {
		t.Fail(0, "", fmt.Sprintf("more than %d rows", t.most), "make several files of it, and bring them in one after the other")
		return true
	}
	return false
}

// longRow reads until a row is too long to be one.
type longRow struct {
	r    io.Reader
	read int
}

var errLongRow = errors.New("a row without an end")

func (l *longRow) Read(b []byte) (int, error) {
	if l.read > maxRowBytes {
		return 0, errLongRow
	}
	n, err := l.r.Read(b)
	l.read += n
	return n, err
}

// Raw returns the cell as it stands, "" where the column is absent.
func (r Row) Raw(column string) string {
	if i, ok := r.t.columns[column]; ok {
		return decoded(r.cells[i])
	}
	return ""
}

// Text returns the cell without the spaces around it.
func (r Row) Text(column string) string { return strings.TrimSpace(r.Raw(column)) }

// Fail tells of a fault in one cell of the row.
func (r Row) Fail(column, what, remedy string) { r.t.Fail(r.Line, column, what, remedy) }

// Number returns the number in a cell, NaN where the cell is empty or, which is
// a fault, holds something else.
func (r Row) Number(column string) float64 {
	text := r.Text(column)
	if text == "" {
		return math.NaN()
	}
	value, err := strconv.ParseFloat(r.t.pointed(text), 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) {
		remedy := "write the number alone, or nothing where there is none"
		if strings.Contains(text, ",") {
			remedy = "write numbers with a decimal point"
			if r.t.csv.Comma != ',' {
				remedy = "write the number alone, with a point or comma only before decimals"
			}
		}
		r.Fail(column, text+": not a number", remedy)
		return math.NaN()
	}
	return value
}

// Date returns the date in a cell, at midnight UTC; it is a fault if there is
// none.
func (r Row) Date(column string) (date time.Time, ok bool) {
	text := r.Text(column)
	date, err := time.Parse(time.DateOnly, text)
	switch {
	case text == "":
		r.Fail(column, "no date", "write year-month-day, such as 2021-03-05")
	case err != nil:
		r.Fail(column, text+" is no date", "write it like 2021-03-05")
	case date.Year() < 1800 || date.Year() > 2200:
		r.Fail(column, text+": not a year of measurements", "check the year")
	default:
		return date, true
	}
	return time.Time{}, false
}

// Fail tells of a fault in a line of the file, or, at line 0, in all of it.
func (t *Reader) Fail(line int, column, what, remedy string) {
	at := t.name
	if line > 0 {
		at += ":" + strconv.Itoa(line)
	}
	if column != "" {
		at += ": " + column
	}
	t.add(at + ": " + what + "; " + remedy)
}

func (t *Reader) add(fault string) {
	if len(t.faults) == maxFaults {
		t.more = true
		return
	}
	fault = strings.Join(strings.Fields(fault), " ")
	if runes := []rune(fault); len(runes) > maxFaultRunes {
		fault = string(runes[:maxFaultRunes]) + "…"
	}
	t.faults = append(t.faults, fault)
}

// Err returns all faults, one a line, or nil.
func (t *Reader) Err() error {
	if len(t.faults) == 0 {
		return nil
	}
	text := strings.Join(t.faults, "\n")
	if t.more {
		text += "\n" + t.name + ": and more; put these right first"
	}
	return errors.New(text)
}

// broken words what the csv package says about a row.
func (t *Reader) broken(err error) error {
	var e *csv.ParseError
	if errors.Is(err, errLongRow) {
		return fmt.Errorf(`%s: %w: a quote (") may be left open; close it`, t.name, err)
	}
	if errors.As(err, &e) {
		return fmt.Errorf(`%s:%d: a quote (") is left open or stands amid a text; close it, or double a quote that is part of the text`,
			t.name, e.StartLine)
	}
	return fmt.Errorf("reading %s: %w", t.name, err)
}
