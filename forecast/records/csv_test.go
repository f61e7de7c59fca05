package records

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thawline/testdata/beside"
)

var nan = math.NaN()

func newYork(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

func TestReadCSV(t *testing.T) {
	zone := newYork(t)
	day := func(month time.Month, day, hour, minute int) time.Time {
		return time.Date(2013, month, day, hour, minute, 0, 0, zone)
	}
	for _, c := range []struct {
		name, text string
		want       []Visit
	}{
		{"days", "date,taps,volume_l,note\n2013-02-22,50,,\"Set, 50 taps\"\n2013-03-24,50,0.0,\n2013-03-25,,56.8,Ice\n", []Visit{
			{CollectedAt: day(2, 22, UsualHour, 0), DateOnly: true, Taps: 50, VolumeL: nan, BrixPct: nan, Note: "Set, 50 taps", Line: 2},
			{CollectedAt: day(3, 24, UsualHour, 0), DateOnly: true, Taps: 50, VolumeL: 0, BrixPct: nan, Line: 3},
			{CollectedAt: day(3, 25, UsualHour, 0), DateOnly: true, VolumeL: 56.8, BrixPct: nan, Note: "Ice", Line: 4},
		}},
		{"times, gallons and sugar", "\ufeffBrix,Collected At,Volume Gal,Group,Taps,Site,weather\r\n2.1,2013-03-10T09:00:00Z,15,south,50,hill,fair\r\n,2013-03-11,,south,50,hill,\r\n", []Visit{
			{Site: "hill", Group: "south", CollectedAt: day(3, 10, 5, 0), Taps: 50, VolumeL: 15 * 3.785411784, BrixPct: 2.1, Line: 2},
			{Site: "hill", Group: "south", CollectedAt: day(3, 11, UsualHour, 0), DateOnly: true, Taps: 50, VolumeL: nan, BrixPct: nan,
				Line: 3},
		}},
		// The imperial gallon: UK Weights and Measures Act 1985.
		{"imperial gallons", "date,volume_imp_gal\n2013-03-01,10\n",
			[]Visit{{CollectedAt: day(3, 1, UsualHour, 0), DateOnly: true, VolumeL: 45.4609, BrixPct: nan, Line: 2}}},
		{"a sheet in French", "Date;Groupe;Entailles;Litres;Sucre;Remarques\r\n2013-03-01;nord;50;56,8;2,1;gel\xe9es\r\n", []Visit{
			{Group: "nord", CollectedAt: day(3, 1, UsualHour, 0), DateOnly: true, Taps: 50, VolumeL: 56.8, BrixPct: 2.1, Note: "gelées",
				Line: 2},
		}},
		{"units in cells", "Jour,US Gallons,Sugar,Remarks\n2013-03-01,150 L,1.7%,fair\n2013-03-02,15 gal,\"1,7 °Brix\",\n2013-03-03,2 qt,,\n", []Visit{
			{CollectedAt: day(3, 1, UsualHour, 0), DateOnly: true, VolumeL: 150, BrixPct: 1.7, Note: "fair", Line: 2},
			{CollectedAt: day(3, 2, UsualHour, 0), DateOnly: true, VolumeL: 15 * 3.785411784, BrixPct: 1.7, Line: 3},
			{CollectedAt: day(3, 3, UsualHour, 0), DateOnly: true, VolumeL: 0.5 * 3.785411784, BrixPct: nan, Line: 4},
		}},
		{"as little as there is", "date,volume_l\n2013-03-01,5\n",
			[]Visit{{CollectedAt: day(3, 1, UsualHour, 0), DateOnly: true, VolumeL: 5, BrixPct: nan, Line: 2}}},
	} {
		got, err := ReadCSV(strings.NewReader(c.text), "log.csv", zone)
		if diff := cmp.Diff(c.want, got, cmpopts.EquateNaNs()); diff != "" || err != nil {
			t.Errorf("%s: %v %s", c.name, err, diff)
		}
	}
	if (Visit{VolumeL: nan}).Collected() || !(Visit{VolumeL: 0}).Collected() {
		t.Error("a blank volume is none, a zero is one")
	}
}

func TestBrokenCSV(t *testing.T) {
	const head = "date,taps,volume_l,brix\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "log.csv: the file is empty; its first line must name the columns, such as date,collected_at,site,group,taps,volume_l,volume_gal,volume_imp_gal,brix,note,taps_event"},
		{"no visits", head, "log.csv: no visits after the first line; add one row for each"},
		{"no date", "taps,volume_l\n50,3\n", "log.csv:1: none of date, collected_at; the first line must name one of these columns"},
		{"no volume", "date,taps\n2013-02-24,50\n",
			"log.csv:1: none of volume_l, volume_gal, volume_imp_gal; the first line must name one of these columns"},
		{"two volumes", "date,volume_l,volume_gal\n2013-02-24,1,1\n", "log.csv:1: both volume_l and volume_gal; keep one of these columns"},
		{"misspelt column", "date,volume_lt\n2013-02-24,1\n",
			`log.csv:1: volume_lt: no such column; did you mean "volume_l"? If it is something else, give it a name that is less alike`},
		{"a day without its year", head + "Feb 24,50,1,\n",
			"log.csv:2: date: Feb 24: not a date; write year-month-day, such as 2013-02-24"},
		{"a date of two meanings", head + "3/8/2025,50,1,\n",
			"log.csv:2: date: 3/8/2025: not a date; write year-month-day: 2025-03-08 or 2025-08-03"},
		{"day that never comes", head + "2013-02-30,50,1,\n",
			"log.csv:2: date: 2013-02-30: not a date; write year-month-day, such as 2013-02-24"},
		{"time for a date", head + "2013-02-24T16:30:00Z,50,1,\n",
			"log.csv:2: date: 2013-02-24T16:30:00Z: more than a date; call the column collected_at, or write year-month-day, such as 2013-02-24"},
		{"local time", "collected_at,volume_l\n2013-02-24 16:30,1\n",
			"log.csv:2: collected_at: 2013-02-24 16:30: not a date; write it with its offset from UTC, such as 2013-02-24T16:30:00-05:00"},
		{"typing error in the year", head + "0213-02-24,50,1,\n", "log.csv:2: date: 0213-02-24: not a year of records; check the year"},
		{"no day", head + ",50,1,\n", "log.csv:2: date: no date; write year-month-day, such as 2013-02-24"},
		{"taps in parts", head + "2013-02-24,50.5,1,\n",
			"log.csv:2: taps: 50.5: not a number of taps; write how many taps were collected from, a whole number above zero, or nothing where it is not known"},
		{"no taps", head + "2013-02-24,0,1,\n",
			"log.csv:2: taps: 0: not a number of taps; write how many taps were collected from, a whole number above zero, or nothing where it is not known"},
		{"gallons of which country", head + "2013-02-24,50,30 gal,\n",
			`log.csv:2: volume_l: 30 gal: "gal" may be US or imperial; write 30 US gal, 30 imp gal or litres`},
		{"another unit", head + "2013-02-24,50,30 kg,\n",
			`log.csv:2: volume_l: 30 kg: "kg" is not a unit of volume; write a volume such as 7.5 L or 2 gal`},
		{"a guess", head + "2013-02-24,50,~60,\n",
			"log.csv:2: volume_l: ~60: more than a number; write 60, and in the note that it is a guess"},
		{"a guess with a unit", head + "2013-02-24,50,about 60 L,2?\n",
			"log.csv:2: volume_l: about 60 L: more than a number; write 60 L, and in the note that it is a guess\nlog.csv:2: brix: 2?: more than a number; write 2, and in the note that it is a guess"},
		{"gallons in the head", "date,Gallons\n2013-02-24,5\n",
			"log.csv:1: Gallons: US or imperial gallons?; call the column volume_gal for US gallons, volume_imp_gal for imperial ones"},
		{"a volume without a unit", "date,Volume\n2013-02-24,5\n",
			"log.csv:1: Volume: in which unit?; call the column volume_l for litres, volume_gal for US gallons, volume_imp_gal for imperial ones"},
		{"a workbook", "PK\x03\x04\x14\x00",
			"log.csv: that is a workbook and not a table in plain text; open it and save it as CSV, then bring that file in"},
		{"short row", head + "2013-02-24,50\n",
			"log.csv:2: 2 columns where the first line names 4; put quotes round a text with commas in it"},
		{"all at once", head + "2013-02-24,50,1,\nyesterday,x,much,-2\n2013-02-26,50,\"1,5\",\n",
			"log.csv:3: taps: x: not a number of taps; write how many taps were collected from, a whole number above zero, or nothing where it is not known\n" +
				"log.csv:3: volume_l: much: not a number; write the number alone, or nothing where there is none\n" +
				"log.csv:3: date: yesterday: not a date; write year-month-day, such as 2013-02-24\n" +
				"log.csv:4: volume_l: 1,5: not a number; write numbers with a decimal point"},
	} {
		if _, err := ReadCSV(strings.NewReader(c.text), "log.csv", time.UTC); err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.name, err, c.want)
		}
	}
}

var sameVisits = cmp.Options{cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Visit{}, "Line")}

func TestVisitsGoOutAndComeBack(t *testing.T) {
	zone := newYork(t)
	rapid.Check(t, func(t *rapid.T) {
		var visits []Visit
		for range rapid.IntRange(1, 10).Draw(t, "visits") {
			at := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "at"), rapid.Int64Range(0, 999999999).Draw(t, "ns")).In(zone)
			v := Visit{
				Site:        rapid.StringMatching(`[a-z-]{0,8}`).Draw(t, "site"),
				Group:       rapid.StringMatching(`[a-z-]{0,8}`).Draw(t, "group"),
				CollectedAt: at, DateOnly: rapid.Bool().Draw(t, "day"),
				Taps:    rapid.IntRange(0, maxTaps).Draw(t, "taps"),
				VolumeL: nan, BrixPct: nan,
				Note: strings.ReplaceAll(rapid.String().Draw(t, "note"), "\r", ""), // a file has one kind of line ending
			}
			if v.DateOnly {
				v.CollectedAt = usualTime(at, zone)
			}
			if rapid.Bool().Draw(t, "collected") {
				v.VolumeL = rapid.Float64Range(0, 5e6).Draw(t, "volume")
				v.BrixPct = rapid.Float64Range(0, 20).Draw(t, "brix")
			}
			visits = append(visits, v)
		}
		var file bytes.Buffer
		inUTC := make([]Visit, len(visits)) // as a database would give them back
		for i, v := range visits {
			v.CollectedAt = v.CollectedAt.UTC()
			inUTC[i] = v
		}
		if err := WriteCSV(&file, inUTC, zone); err != nil {
			t.Fatal(err)
		}
		back, err := ReadCSV(&file, "back.csv", zone)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(visits, back, sameVisits); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestDayOnTheFarSideOfTheWorld(t *testing.T) {
	zone := time.FixedZone("", -10*3600) // 17:00 there is the next day in UTC
	text := "date,group,taps,volume_l,brix,note\n2013-02-24,,,1,,\n"
	visits, err := ReadCSV(strings.NewReader(text), "log.csv", zone)
	if err != nil {
		t.Fatal(err)
	}
	visits[0].CollectedAt = visits[0].CollectedAt.UTC()
	var file bytes.Buffer
	if err := WriteCSV(&file, visits, zone); err != nil || file.String() != text {
		t.Errorf("%v %q", err, file.String())
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWritingToAFullDiskFails(t *testing.T) {
	visits := make([]Visit, 1000)
	if err := WriteCSV(fullDisk{}, visits, time.UTC); err == nil || err.Error() != "writing records: disk full" {
		t.Error(err)
	}
}

// The R package macleish (Baumer and others), data set maple_sap, by hand from
// about 50 pails. Counts and sums were taken from the files by another program.
func TestMeasuredLogsRead(t *testing.T) {
	for _, c := range []struct {
		name                    string
		visits, blank, withNote int
		sumL                    float64
		note                    string
	}{
		{"tap-log-2013.csv", 37, 8, 14, 2555.3, "Little sap, all frozen"},
		{"tap-log-2014.csv", 40, 23, 4, 965.5, "A couple full buckets!"},
		{"tap-log-2017.csv", 17, 1, 0, 982.5, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			visits, err := ReadCSV(beside.Open(t, "data/"+c.name), c.name, newYork(t))
			if err != nil {
				t.Fatal(err)
			}
			blank, withNote, sum, found := 0, 0, 0.0, c.note == ""
			for _, v := range visits {
				if v.Collected() {
					sum += v.VolumeL
				} else {
					blank++
				}
				if v.Note != "" {
					withNote++
				}
				found = found || v.Note == c.note
				if v.Taps != 50 || !v.DateOnly || (v.CollectedAt.Hour() != UsualHour) != strings.Contains(v.Note, "AM") {
					t.Errorf("line %d: %+v", v.Line, v)
				}
			}
			if len(visits) != c.visits || blank != c.blank || withNote != c.withNote || math.Abs(sum-c.sumL) > 1e-6 || !found {
				t.Errorf("%d visits, %d of them blank, %d with a note, %.1f L, note kept: %v", len(visits), blank, withNote, sum, found)
			}
			var file bytes.Buffer
			if err := WriteCSV(&file, visits, newYork(t)); err != nil {
				t.Fatal(err)
			}
			back, err := ReadCSV(&file, "back.csv", newYork(t))
			if diff := cmp.Diff(visits, back, sameVisits); diff != "" || err != nil {
				t.Error(err, diff)
			}
		})
	}
}

func FuzzReadCSV(f *testing.F) {
	for _, s := range []string{
		"date,taps,volume_l,note\n2013-02-24,50,56.8,\"Ice, much\"\n2013-02-25,50,,\n",
		"\ufeffcollected_at,volume_gal,brix,site\r\n2013-02-24T16:30:00-05:00,15,2.1,hill\r\n2013-02-25,,,\r\n",
		"date,volume_l,note,group\n2013-02-24,5,'=1+1,''@x\n2013-02-25,5,-3 °C,+\n", "date;volume_l\n", "date,volume_l\n2013-02-30,x\n", "",
	} {
		f.Add(s)
	}
	zone := newYork(f)
	f.Fuzz(func(t *testing.T, text string) {
		visits, err := ReadCSV(strings.NewReader(text), "log.csv", zone)
		if err != nil {
			return
		}
		var file bytes.Buffer
		if err := WriteCSV(&file, visits, zone); err != nil {
			t.Fatal(err)
		}
		back, err := ReadCSV(&file, "back.csv", zone)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(visits, back, sameVisits, cmpopts.EquateApprox(1e-12, 0)); diff != "" {
			t.Fatal(diff)
		}
	})
}

// What somebody wrote as a note is no formula in a spreadsheet, and comes back as it
// was written (OWASP, CSV injection).
func TestNotesAreNoFormulas(t *testing.T) {
	zone := newYork(t)
	var visits []Visit
	notes := []string{`=HYPERLINK("http://x.example","y")`, "+1", "-3 °C in the night", "@SUM(A1)", "\t=1", "'=1", "''=1", "'tis cold",
		"plain", ""}
	for i, note := range notes {
		visits = append(visits, Visit{CollectedAt: time.Date(2026, 3, 1+i, 0, 0, 0, 0, zone), DateOnly: true, Group: "g", VolumeL: 5,
			BrixPct: math.NaN(), Note: note})
	}
	var file bytes.Buffer
	if err := WriteCSV(&file, visits, zone); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(file.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		if note := row[len(row)-1]; note != "" && strings.ContainsAny(note[:1], "=+-@\t\r") {
			t.Errorf("a spreadsheet works out %q", note)
		}
	}
	back, err := ReadCSV(&file, "back.csv", zone)
	if err != nil {
		t.Fatal(err)
	}
	for i, note := range notes {
		if back[i].Note != note {
			t.Errorf("%q came back as %q", note, back[i].Note)
		}
	}
}

// Columns that are not read are told by the names that the file gives them; where two
// could be the same, the one that has the name itself is read.
func TestColumnsThatAreNotRead(t *testing.T) {
	n, err := ReadNotebook(strings.NewReader("date,litres,note,Remarks,Moon Phase\n2013-03-01,5,ice,fair,full\n"), "log.csv", time.UTC)
	if err != nil || len(n.Visits) != 1 || n.Visits[0].Note != "ice" || !cmp.Equal(n.NotRead, []string{"Remarks", "Moon Phase"}) {
		t.Errorf("%v %+v", err, n)
	}
}

// Groups may be called by their names, in any case; what can't be told apart is asked.
func TestResolveGroups(t *testing.T) {
	at := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	groups := []Group{{"south", "South slope"}, {"ridge", "Ridge"}}
	visits := []Visit{{Group: "south slope", CollectedAt: at, Line: 2}, {Group: "RIDGE", CollectedAt: at, Line: 3},
		{Group: "south", VolumeL: 9, CollectedAt: at, Line: 4}, {Group: "ridge", CollectedAt: at, Line: 7},
		{Group: "rigde", CollectedAt: at, Line: 5}, {CollectedAt: at, Line: 6}, {Site: "far", Group: "ridge", CollectedAt: at, Line: 8}}
	doubts := ResolveGroups(visits, "hill", groups)
	if visits[0].Group != "south" || visits[1].Group != "ridge" || visits[0].Site != "hill" {
		t.Errorf("%+v", visits)
	}
	var kinds []Kind
	for i := range doubts {
		kinds = append(kinds, doubts[i].Kind)
		if !doubts[i].Refusal || !doubts[i].Blocking() {
			t.Errorf("%+v can be kept all the same", doubts[i])
		}
	}
	if !cmp.Equal(kinds, []Kind{SameTwice, UnknownGroup, NoGroup, OtherSite}) || doubts[0].Other != 2 || doubts[1].Near != "ridge" {
		t.Errorf("%+v", doubts)
	}
	one := []Visit{{CollectedAt: at}}
	if doubts := ResolveGroups(one, "hill", groups[:1]); len(doubts) != 0 || one[0].Group != "south" {
		t.Errorf("%v %+v", doubts, one)
	}
}
