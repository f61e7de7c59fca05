package table

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

var known = []string{"date", "volume_l", "note"}

// read returns every known cell of every row, and all faults as text.
func read(text string) (rows [][]string, ignored []string, faults string) {
	t, err := NewReader(strings.NewReader(text), "log.csv", known)
	if err != nil {
		return nil, nil, err.Error()
	}
	for row := range t.Rows() {
		volume := ""
		if x := row.Number("volume_l"); !math.IsNaN(x) {
			volume = strconv.FormatFloat(x, 'g', -1, 64)
		}
		rows = append(rows, []string{row.Text("date"), volume, row.Raw("note")})
	}
	if err := t.Err(); err != nil {
		faults = err.Error()
	}
	return rows, t.Ignored(), faults
}

func TestFormsOfTheSameTable(t *testing.T) {
	want := [][]string{{"2013-02-24", "56.8", "ice, much"}, {"2013-02-25", "", ""}}
	for name, text := range map[string]string{
		"plain":             "date,volume_l,note\n2013-02-24,56.8,\"ice, much\"\n2013-02-25,,\n",
		"another order":     "note,date,volume_l\n\"ice, much\",2013-02-24,56.8\n,2013-02-25,\n",
		"mark and CRLF":     "\ufeffdate,volume_l,note\r\n2013-02-24,56.8,\"ice, much\"\r\n2013-02-25,,\r\n",
		"names as people":   "Date, Volume L ,NOTE\n 2013-02-24 , 56.8,\"ice, much\"\n2013-02-25,,\n",
		"no last newline":   "date,volume_l,note\n2013-02-24,56.8,\"ice, much\"\n2013-02-25,,",
		"a padded sheet":    "date,volume_l,note,,\n2013-02-24,56.8,\"ice, much\",,\n2013-02-25,,,,\n,,,,\n",
		"semicolons":        "date;volume_l;note\r\n2013-02-24;56,8;ice, much\r\n2013-02-25;;\r\n",
		"tabs":              "date\tvolume_l\tnote\n2013-02-24\t56.8\tice, much\n2013-02-25\t\t\n",
		"UTF-16 with tabs":  utf16("date\tvolume_l\tnote\r\n2013-02-24\t56,8\tice, much\r\n2013-02-25\t\t\r\n"),
		"with other things": "date,weather,volume_l,volume_pt,note\n2013-02-24,fair,56.8,120,\"ice, much\"\n2013-02-25,,,,\n",
	} {
		rows, ignored, faults := read(text)
		if diff := cmp.Diff(want, rows); diff != "" || faults != "" {
			t.Errorf("%s: %s%s", name, diff, faults)
		}
		if name == "with other things" && !cmp.Equal(ignored, []string{"weather", "volume_pt"}) {
			t.Errorf("ignored %v", ignored)
		}
	}
}

// utf16 writes as the spreadsheets do that call it "Unicode text": little-endian,
// with a mark.
func utf16(text string) string {
	out := "\xff\xfe"
	for _, b := range []byte(text) {
		out += string([]byte{b, 0})
	}
	return out
}

// Windows-1252 (the WHATWG Encoding Standard's index): e9 is é, 92 a closing quote.
func TestSheetsInWindows1252(t *testing.T) {
	for text, want := range map[string]string{
		"date;note\n2013-02-24;d\xe9gel l\x92apr\xe8s-midi\n": "dégel l’après-midi",
		"date,note\n2013-02-24,\"gel\xe9, \xe0 moiti\xe9\"\n": "gelé, à moitié",
		"date,note\n2013-02-24,dégel\n":                       "dégel",
	} {
		rows, _, faults := read(text)
		if faults != "" || len(rows) != 1 || rows[0][2] != want {
			t.Errorf("%q: %q %s", text, rows, faults)
		}
	}
}

// A comma between digits means a decimal only where columns are not parted by it.
func TestDecimalCommas(t *testing.T) {
	for text, want := range map[string]string{
		"date;volume_l\n2013-02-24;1,5\n":     "1.5",
		"date;volume_l\n2013-02-24;1.5\n":     "1.5",
		"date;volume_l\n2013-02-24;1.200,5\n": "log.csv:2: volume_l: 1.200,5: not a number; write the number alone, with a point or comma only before decimals",
		"date;volume_l\n2013-02-24;1,2,5\n":   "log.csv:2: volume_l: 1,2,5: not a number; write the number alone, with a point or comma only before decimals",
	} {
		rows, _, faults := read(text)
		if faults != want && (len(rows) != 1 || rows[0][1] != want) {
			t.Errorf("%q: %q %s", text, rows, faults)
		}
	}
}

func TestBrokenTables(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "log.csv: the file is empty; its first line must name the columns, such as date,volume_l,note"},
		{"misspelt column", "date,volum_l\n2013-02-24,1\n",
			`log.csv:1: volum_l: no such column; did you mean "volume_l"? If it is something else, give it a name that is less alike`},
		{"column twice", "date,Date\n1,2\n", "log.csv:1: date: the column is there twice; keep one of them"},
		{"short row", "date,volume_l,note\n2013-02-24,1\n",
			"log.csv:2: 2 columns where the first line names 3; put quotes round a text with commas in it"},
		{"long row", "date,volume_l,note\n2013-02-24,1,ice, much\n",
			"log.csv:2: 4 columns where the first line names 3; put quotes round a text with commas in it"},
		{"open quote", "date,volume_l,note\n2013-02-24,1,\"ice\n",
			`log.csv:2: a quote (") is left open or stands amid a text; close it, or double a quote that is part of the text`},
		{"quote in the header", "da\"te,volume_l\n",
			`log.csv:1: a quote (") is left open or stands amid a text; close it, or double a quote that is part of the text`},
		{"words for a number", "date,volume_l\n2013-02-24,much\n",
			"log.csv:2: volume_l: much: not a number; write the number alone, or nothing where there is none"},
		{"not a number", "date,volume_l\n2013-02-24,NaN\n",
			"log.csv:2: volume_l: NaN: not a number; write the number alone, or nothing where there is none"},
		{"decimal comma", "date,volume_l\n2013-02-24,\"56,8\"\n",
			"log.csv:2: volume_l: 56,8: not a number; write numbers with a decimal point"},
		{"line after a long note", "date,volume_l,note\n2013-02-24,1,\"two\nlines\"\n2013-02-25,x,\n",
			"log.csv:4: volume_l: x: not a number; write the number alone, or nothing where there is none"},
		{"everything", "date,volume_l\n" + strings.Repeat("2013-02-24,x\n", 53),
			strings.TrimSuffix(repeated(), "\n") + "\nlog.csv: and more; put these right first"},
	} {
		if _, _, faults := read(c.text); faults != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, faults, c.want)
		}
	}
}

func repeated() string {
	t := &Reader{name: "log.csv"}
	for line := 2; line < 52; line++ {
		t.Fail(line, "volume_l", "x: not a number", "write the number alone, or nothing where there is none")
	}
	return t.Err().Error()
}

func TestBrokenDisk(t *testing.T) {
	broken := errors.New("disk gone")
	if _, err := NewReader(iotest.ErrReader(broken), "log.csv", known); !errors.Is(err, broken) {
		t.Error(err)
	}
	r, err := NewReader(iotest.DataErrReader(iotest.TimeoutReader(iotest.OneByteReader(strings.NewReader("date\n1\n2\n")))), "log.csv",
		known)
	if err == nil {
		for range r.Rows() {
			continue
		}
		err = r.Err()
	}
	if !errors.Is(err, iotest.ErrTimeout) && (err == nil || err.Error() != "reading log.csv: timeout") {
		t.Error(err)
	}
}

// endless is a file without an end, made as it is read.
type endless struct {
	head, row string
	rest      string
	given     int
}

func (e *endless) Read(b []byte) (int, error) {
	if e.rest == "" {
		e.rest = e.row
		if e.given == 0 {
			e.rest = e.head
		}
	}
	n := copy(b, e.rest)
	e.rest = e.rest[n:]
	e.given += n
	return n, nil
}

// A file is not read to its end once it is known to be no good, however long it is.
func TestReadingStops(t *testing.T) {
	for _, c := range []struct {
		what, row, want string
		limit, most     int
	}{
		{"faults without end", "2013-02-24,x,\n", "put these right first", 0, 1 << 16},
		{"rows without end", "2013-02-24,1,\n", "more than 1000 rows", 1000, 1 << 16},
		{"a quote without end", "2013-02-24,1,\n", "a row without an end", 0, maxRowBytes + 1<<16},
		{"short rows without end", "2013-02-24\n", "put these right first", 0, 1 << 16},
	} {
		in := &endless{head: "date,volume_l,note\n", row: c.row}
		if strings.Contains(c.what, "quote") {
			in.head += "\""
		}
		r, err := NewReader(in, "log.csv", known)
		if err != nil {
			t.Fatal(err)
		}
		r.Limit(c.limit)
		for row := range r.Rows() {
			row.Number("volume_l")
		}
		if err := r.Err(); err == nil || !strings.Contains(err.Error(), c.want) || len(err.Error()) > 20_000 {
			t.Errorf("%s: %v", c.what, err)
		}
		if in.given > c.most {
			t.Errorf("%s: %d bytes were read", c.what, in.given)
		}
	}
}

func FuzzReader(f *testing.F) {
	for _, s := range []string{"date,volume_l,note\n2013-02-24,56.8,\"a\"\n", "\ufeffdate\r\n1\r\n", "date,,note\n,,\n", "a;b\n",
		"date\n\"", "\n\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := NewReader(strings.NewReader(text), "log.csv", known)
		if err != nil {
			return
		}
		for row := range r.Rows() {
			if v := row.Number("volume_l"); math.IsInf(v, 0) || row.Line < 2 {
				t.Errorf("line %d: %v", row.Line, v)
			}
		}
		if err := r.Err(); err != nil && strings.Count(err.Error(), "\n") > maxFaults {
			t.Errorf("too long: %s", err)
		}
	})
}
