package report_test

import (
	"bytes"
	"encoding/csv"
	"log/slog"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/demo"
	"thawline/cmd/thawline/internal/report"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/testdata"
)

// The invented season's report is one file with nothing outside of it, in both languages, and
// its boil a lot that names where its sap came from.
func TestReport(t *testing.T) {
	settings, err := demo.Settings()
	if err != nil {
		t.Fatal(err)
	}
	h, err := demo.New(t.Context(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler)}, settings, t.TempDir(), 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Archive.Close() })
	site, nan := &settings.Sites[0], math.NaN()
	boil := records.HouseEntry{Site: site.ID, Kind: records.Boiled, At: testdata.Now().Add(-24 * time.Hour), SapL: 400, SyrupL: 9,
		SugarKg: nan, WoodCords: nan, Hours: nan, Note: "=1+1; filter: wool; jars: 18 x 500 mL"}
	if _, _, err := h.Archive.PutHouse(t.Context(), boil, "", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	s, err := report.Gather(t.Context(), h.Archive, app.Taught(h.Archive), site, app.PlaceKey(site), 2026, testdata.Now())
	if err != nil {
		t.Fatal(err)
	}
	catalogue, err := message.LoadCatalogue()
	if err != nil {
		t.Fatal(err)
	}
	for lang, wants := range map[string][]string{
		"en": {`<html lang="en"`, "Boils by lot", "wool", "18 x 500 mL", "How often the forecast was right", "<svg", "@media print",
			"2026-03-19-1"},
		"fr": {`<html lang="fr"`, "Bouillées par lot", "wool", "Tournées", "<svg"},
	} {
		words, err := catalogue.Words(message.Reader{Language: lang, Units: units.Metric})
		if err != nil {
			t.Fatal(err)
		}
		page, err := report.HTML(s, words, units.Metric)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range wants {
			if !strings.Contains(string(page), want) {
				t.Errorf("%s: no %q", lang, want)
			}
		}
		for _, not := range []string{"NaN", "<no value>", "src=", "href=", "<script", "url("} {
			if strings.Contains(string(page), not) {
				t.Errorf("%s holds %q", lang, not)
			}
		}
	}
	table, err := report.CSV(s)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	for _, row := range rows[1:] {
		kinds[row[0]]++
		if strings.HasPrefix(row[len(row)-1], "=") {
			t.Errorf("a note that a spreadsheet works out: %q", row)
		}
	}
	if kinds["day"] < 30 || kinds["hour"] < 20*kinds["day"] || kinds["lot"] != 1 {
		t.Errorf("%v", kinds)
	}
}
