package web_test

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/testdata"
)

// Entries by form: what is wrong is said in words, what is right is kept once.
func TestEntries(t *testing.T) {
	p := demoPages(t, nil)
	enter := func(form url.Values) (int, string) {
		w := p.ask("POST", "/site/kettle/entries", form, "Accept", "application/json")
		return w.Code, w.Body.String()
	}
	good := url.Values{"key": {"phone-0001"}, "group": {"ridge"}, "volume": {"12,5"}, "units": {"us"}, "brix": {"2.2"}, "full": {"1"},
		"ago": {"3600"}}
	change := func(name, value string) url.Values {
		out := url.Values{}
		for k, v := range good {
			out[k] = v
		}
		out.Set(name, value)
		return out
	}
	for _, bad := range []struct{ name, value, says string }{
		{"group", "none", "There is no group “none”"}, {"volume", "much", "How much"}, {"volume", "-3", "below zero"},
		{"volume", "NaN", "How much"}, {"volume", "1e300", "How much"},
		{"volume", "9000", "more than they can hold"}, {"not_checked", "1", "which is it?"},
		{"brix", "40", "40\u00a0% of sugar is more than sap has"}, {"ago", "-5", "time"}, {"ago", "99999999", "time"},
		{"key", "", "come through"},
		{"key", strings.Repeat("x", 99), "come through"}, {"note", strings.Repeat("x", 600), "too long"}, {"local", "yesterday", "time"},
	} {
		if status, said := enter(change(bad.name, bad.value)); status != 422 || !strings.Contains(said, bad.says) {
			t.Errorf("%s %s: %d %s", bad.name, bad.value, status, said)
		}
	}
	if status, said := enter(url.Values{"key": {"phone-0002"}, "group": {"ridge"}}); status != 422 ||
		!strings.Contains(said, "Nothing was entered") {
		t.Errorf("%d %s", status, said)
	}
	for i, state := range []string{"kept", "again", "again"} {
		if status, said := enter(good); status != 200 || !strings.Contains(said, state) {
			t.Errorf("%d: %d %s", i, status, said)
		}
	}
	visits, err := p.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-2*time.Hour), time.UTC)
	if err != nil || len(visits) != 1 || math.Abs(visits[0].VolumeL-12.5*3.785) > 0.01 || visits[0].Note != "full" ||
		testdata.Now().Sub(visits[0].CollectedAt) < 59*time.Minute {
		t.Fatalf("%v %+v", err, visits)
	}

	// Correcting, taking out, giving back; two at once are told.
	at := "/site/kettle/records/" + visits[0].ID
	p.must(200, "POST", at, url.Values{"do": {"ask"}})
	p.must(409, "POST", at, url.Values{"do": {"correct"}, "revision": {"7"}, "volume": {"3"}})
	p.must(422, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"9000"}})
	p.must(303, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"3"}, "note": {"looked again"}})
	p.must(303, "POST", at, url.Values{"do": {"remove"}})
	p.must(404, "POST", at, url.Values{"do": {"remove"}})
	p.must(303, "POST", at, url.Values{"do": {"undo"}})
	if visits, err = p.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-2*time.Hour), time.UTC); err != nil ||
		len(visits) != 1 || visits[0].Note != "looked again" {
		t.Errorf("%v %+v", err, visits)
	}
	p.must(404, "POST", "/site/kettle/records/none", url.Values{"do": {"undo"}})
	p.must(400, "POST", at, url.Values{"do": {"dance"}})
}

// bring sends a notebook to be imported.
func (p *pages) bring(name, text string) *httptest.ResponseRecorder {
	p.t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	part, err := form.CreateFormFile("file", name)
	if err != nil {
		p.t.Fatal(err)
	}
	_, _ = io.WriteString(part, text)
	_ = form.Close()
	r := httptest.NewRequest("POST", "http://127.0.0.1:8787/site/kettle/records/import", &b)
	p.from(r)
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Header.Set("Accept-Language", p.lang)
	w := httptest.NewRecorder()
	p.handler.ServeHTTP(w, r)
	return w
}

func TestNotebookComesInAndOut(t *testing.T) {
	p := demoPages(t, nil)
	out := p.must(200, "GET", "/site/kettle/records.csv", nil)
	n := strings.Count(strings.TrimSpace(out), "\n")
	if w := p.bring("old.csv", out); w.Code != 200 ||
		!strings.Contains(w.Body.String(), fmt.Sprintf("0 added, %d already there, 0 corrected", n)) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := p.bring("new.csv", "date,group,taps,volume_l\n2022-03-20,ridge,60,100\n2022-03-21,ridge,60,99999\n"); w.Code != 422 ||
		!strings.Contains(w.Body.String(), "line 3: 26417 gallons from 60 taps is more than they can hold") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := p.bring("new.csv", "date,volume_l\n2022-03-20,much\n"); w.Code != 422 || !strings.Contains(w.Body.String(), "much") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	p.must(422, "POST", "/site/kettle/records/import", url.Values{})
	if after := p.must(200, "GET", "/site/kettle/records.csv", nil); after != out {
		t.Error("a refused file left something behind")
	}
}

// All that is wrong with a notebook is told at once, in the reader's language and by
// line; groups go by their names, and columns that are not read are named.
func TestNotebookInTheReadersWords(t *testing.T) {
	p := demoPages(t, nil)
	site := p.h.Daemon.Sites()[0]
	name := site.Groups[0].Name
	const head = "date,groupe,litres,sucre,Lune\n"
	p.lang = "fr"
	w := p.bring("cahier.csv", head+"2022-03-20,rigde,10,,\n2027-03-20,"+name+",10,,\n2022-03-22,"+name+",99999,,\n2022-03-23,"+name+",10,12,\n")
	for _, want := range []string{"Rien n&#39;a été gardé", "ligne 2\u00a0: il n&#39;y a pas de groupe «\u00a0rigde\u00a0»",
		"ligne 3\u00a0: le 2027-03-20 est dans l&#39;avenir", "ligne 4\u00a0: 26417\u00a0gallons pour 60 entailles",
		"ligne 5\u00a0: 12\u00a0% de sucre"} {
		if w.Code != 422 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%d: no %q in %s", w.Code, want, w.Body)
		}
	}
	for sheet, want := range map[string]string{"groupe,lune\n": "aucune de",
		head + "hier matin," + name + ",10,,\n": "ce n&#39;est pas une date", "PK\x03\x04": "enregistrez-le en CSV",
		"": "le fichier est vide"} {
		if w := p.bring("cahier.csv", sheet); w.Code != 422 || !strings.Contains(w.Body.String(), want) ||
			strings.Contains(w.Body.String(), "the first line") {
			t.Errorf("%q: %d: no %q in %s", sheet, w.Code, want, w.Body)
		}
	}
	if w := p.bring("cahier.csv", head+"2022-03-20,"+strings.ToUpper(name)+",10,,pleine\n"); w.Code != 200 ||
		!strings.Contains(w.Body.String(), "Notes ajoutées\u00a0: 1") || !strings.Contains(w.Body.String(), "pas lu\u00a0: Lune") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// What was ticked is shown in the reader's language, whoever ticked it, and a
// correction leaves it as it is kept; groups are called by their names.
func TestTicksInTheReadersWords(t *testing.T) {
	p := demoPages(t, nil)
	p.must(303, "POST", "/site/kettle/entries?lang=en",
		url.Values{"key": {"ticks-0001"}, "group": {"ridge"}, "volume": {"3"}, "full": {"1"}, "ice": {"1"}, "note": {"tipped"}})
	p.must(303, "POST", "/site/kettle/entries", url.Values{"key": {"ticks-0002"}, "group": {"hollow"}, "not_checked": {"1"}})
	if s := p.must(200, "GET", "/site/kettle/records?lang=fr", nil); !strings.Contains(s, "glace, plein, tipped") ||
		!strings.Contains(s, "sur la page") {
		t.Errorf("%s", s)
	}
	if s := p.must(200, "GET", "/site/kettle/rounds?lang=fr", nil); !strings.Contains(s, "\u00a0: pas vérifié") {
		t.Errorf("%s", s)
	}
	visits, err := p.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Minute), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	for i := range visits {
		if visits[i].Group != "ridge" {
			continue
		}
		at := "/site/kettle/records/" + visits[i].ID + "?lang=fr"
		name := p.h.Daemon.Sites()[0].Groups[0].Name
		if s := p.must(200, "POST", at, url.Values{"do": {"ask"}}); !strings.Contains(s, "glace, plein, tipped") ||
			!strings.Contains(s, ", "+name) {
			t.Errorf("%s", s)
		}
		p.must(303, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"4"}, "note": {"plein, glace"}})
		if one, err := p.h.Archive.Visit(t.Context(), visits[i].ID, time.UTC); err != nil || one.Note != "full, ice" {
			t.Errorf("%v %+v", err, one)
		}
	}
}

// Five thousand rows in one file are brought in within a request's time, told twice
// they add nothing, and one bad row among them keeps all out and is named.
func TestFiveThousandRows(t *testing.T) {
	p := demoPages(t, nil)
	var rows strings.Builder
	rows.WriteString("date,group,taps,volume_l\n")
	for i := range 5000 {
		day := time.Date(1995, 2, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i%60).AddDate(i/180, 0, 0)
		fmt.Fprintf(&rows, "%s,%s,60,%d\n", day.Format(time.DateOnly), []string{"ridge", "hollow", "lane"}[i/60%3], 1+i%90)
	}
	bring := func(text string) string { return p.bring("old.csv", text).Body.String() }
	if page := bring(strings.Replace(rows.String(), ",60,40\n", ",60,forty\n", 1)); !strings.Contains(page, "forty") {
		t.Errorf("a bad row is not named: %.600s", page)
	}
	began := time.Now()
	first := bring(rows.String())
	took := time.Since(began)
	if !strings.Contains(first, "5000 added") {
		t.Errorf("%.1500s", first)
	}
	if again := bring(rows.String()); !strings.Contains(again, "0 added, 5000") {
		t.Errorf("%.1500s", again)
	}
	t.Logf("5,000 rows in %s", took)
}

// A sheet of eight megabytes is answered briefly, whatever is wrong with it, and a second
// one at the same time is sent away.
func TestHugeSheetIsAnsweredBriefly(t *testing.T) {
	p := demoPages(t, nil)
	for what, c := range map[string]struct{ head, row, says string }{
		"no volumes":     {"date,group,volume_l\n", "2022-03-20,ridge,much\n", "put these right first"},
		"to come":        {"date,group,volume_l\n", "2091-03-20,ridge,10\n", "20000 rows"},
		"short rows":     {"date,group,volume_l\n", "x\n", "put these right first"},
		"no such moment": {"at,temperature_c\n", "sometime,1\n", "put these right first"},
	} {
		w := p.bring(strings.Repeat("old", 200)+".csv", c.head+strings.Repeat(c.row, (7<<20)/len(c.row)))
		if w.Code != 422 || w.Body.Len() > 100_000 || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s: %d, %d bytes", what, w.Code, w.Body.Len())
		}
	}
	w := p.bring("to come.csv", "date,group,volume_l\n"+strings.Repeat("2091-03-20,ridge,10\n", 15_000))
	if w.Code != 422 || w.Body.Len() > 100_000 || !regexp.MustCompile(`And \d+ more`).MatchString(w.Body.String()) {
		t.Errorf("all in the future: %d, %d bytes, %.300s", w.Code, w.Body.Len(), w.Body)
	}
	// The first is being read: its form has begun, and is not at its end.
	in, out := io.Pipe()
	form := multipart.NewWriter(out)
	first := httptest.NewRequest("POST", "http://127.0.0.1:8787/site/kettle/records/import", in)
	p.from(first)
	first.Header.Set("Content-Type", form.FormDataContentType())
	ended := make(chan int)
	go func() {
		w := httptest.NewRecorder()
		p.handler.ServeHTTP(w, first)
		ended <- w.Code
	}()
	part, _ := form.CreateFormFile("file", "slow.csv")
	_, _ = io.WriteString(part, "date,group,volume_l\n")
	if w := p.bring("a.csv", "date,volume_l\n"); w.Code != 429 {
		t.Errorf("a second file meanwhile: %d", w.Code)
	}
	_ = out.CloseWithError(io.ErrUnexpectedEOF)
	if code := <-ended; code != 422 {
		t.Errorf("the first file: %d", code)
	}
}
