package web_test

import (
	"context"
	"html"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// asking counts how often the weather of a season is read, once for each that is worked out.
type asking struct {
	lookback.Archive
	times atomic.Int64
}

func (a *asking) Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error) {
	a.times.Add(1)
	return a.Archive.Hours(ctx, place, from, to)
}

// sumsOf are a year's sums in the table beneath the picture of the page of 2024.
func (p *pages) sumsOf(year string) (out []string) {
	page := html.UnescapeString(p.must(200, "GET", "/site/kettle/season?season=2024&lang=en&units=metric", nil))
	cell := regexp.MustCompile(`<t[hd][^>]*>([^<]*)</t[hd]>`)
	column := -1
	for _, row := range strings.Split(page, "<tr>") {
		cells := cell.FindAllStringSubmatch(row, -1)
		if at := slices.IndexFunc(cells, func(c []string) bool { return c[1] == year }); at >= 0 {
			column = at
		} else if column >= 0 && len(cells) > column {
			out = append(out, cells[column][1])
		}
		if column >= 0 && strings.Contains(row, "</table>") {
			break
		}
	}
	return out
}

// What seasons that are over gave is worked out once, and never shown once their records or
// weather have changed: not by this start, nor by the next.
func TestPastSeasonsAreKeptUntilTheyChange(t *testing.T) {
	p := demoPages(t, nil)
	site := p.h.Daemon.Sites()[0]
	counted := &asking{Archive: p.h.Pages.Past}
	p.h.Pages.Past = counted
	worked := func(do func()) int64 {
		before := counted.times.Load()
		do()
		return counted.times.Load() - before
	}
	var first, again []string
	if n := worked(func() { first = p.sumsOf("2024") }); n < 2 || len(first) < 50 || strings.Join(first, "") == "" {
		t.Fatalf("%d seasons worked out, %q", n, first)
	}
	if n := worked(func() { again = p.sumsOf("2024") }); n != 0 || !slices.Equal(again, first) {
		t.Errorf("%d seasons worked out at a second look, %q", n, again)
	}
	start := func() { p.h.Pages.ForgetSeasons() }
	start()
	if n := worked(func() { again = p.sumsOf("2024") }); n > 1 || !slices.Equal(again, first) { // this season, which goes on
		t.Errorf("%d seasons worked out after a start, %q", n, again)
	}

	visits, err := p.h.Archive.VisitsWithin(t.Context(), site.ID, time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC),
		time.Date(2024, 4, 1, 0, 0, 0, 0, time.UTC), site.Zone)
	if err != nil || len(visits) == 0 {
		t.Fatal(err)
	}
	others := p.sumsOf("2025")
	changed := func(what string, do func() error) {
		t.Helper()
		before := p.sumsOf("2024")
		if err := do(); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		now := p.sumsOf("2024")
		if slices.Equal(now, before) {
			t.Errorf("%s: the season's sums stay as they were", what)
		}
		if n := worked(start); n != 0 || !slices.Equal(p.sumsOf("2024"), now) {
			t.Errorf("%s: after a start the season is another", what)
		}
		if !slices.Equal(p.sumsOf("2025"), others) {
			t.Errorf("%s: the season after it has changed", what)
		}
	}
	changed("a visit is added", func() error {
		v := records.Visit{Site: site.ID, Group: visits[0].Group, CollectedAt: time.Date(2024, 3, 3, 17, 0, 0, 0, site.Zone),
			Taps: visits[0].Taps, VolumeL: 9 * float64(visits[0].Taps)}
		_, err := p.h.Archive.PutVisits(t.Context(), []records.Visit{v}, "Odell", testdata.Now())
		return err
	})
	changed("a visit is corrected", func() error {
		v := visits[len(visits)-1].Visit
		v.VolumeL = 3*v.VolumeL + 50
		_, err := p.h.Archive.Correct(t.Context(), archive.Entry{Site: site.ID, By: "Odell", Zone: site.Zone}, visits[len(visits)-1].ID,
			visits[len(visits)-1].Revision, v, testdata.Now())
		return err
	})
	changed("a visit is removed", func() error {
		return p.h.Archive.Remove(t.Context(), visits[0].ID, visits[0].Revision, "Odell", testdata.Now())
	})
	changed("taps are pulled early", func() error {
		_, err := p.h.Archive.PutTaps(t.Context(), []records.TapEvent{{Site: site.ID, Group: visits[0].Group, Kind: records.Pulled,
			On: time.Date(2024, 3, 12, 12, 0, 0, 0, site.Zone)}}, "Odell", testdata.Now())
		return err
	})
	changed("hours that are known come anew", func() error {
		days, err := p.h.Archive.Hours(t.Context(), app.PlaceKey(&site), time.Date(2024, 3, 5, 0, 0, 0, 0, time.UTC),
			time.Date(2024, 3, 15, 0, 0, 0, 0, time.UTC))
		if err != nil {
			return err
		}
		warmer := days.Col(weather.TemperatureC)
		for i := range warmer {
			warmer[i] += 8
		}
		return p.h.Archive.PutHours(t.Context(), app.PlaceKey(&site), &days)
	})
	changed("another version reckons", func() error { // as if it came to something else
		p.h.Pages.Version = "another"
		v := visits[1].Visit
		v.VolumeL = 2*v.VolumeL + 80
		_, err := p.h.Archive.PutVisits(t.Context(), []records.Visit{v}, "Odell", testdata.Now())
		return err
	})
	p.h.Pages.Version = "a third"
	start()
	if n := worked(func() { p.sumsOf("2024") }); n < 2 {
		t.Errorf("%d seasons worked out by another version: it shows what it did not work out", n)
	}
}

// Pictures are kept too, and never shown once a visit or the weather has changed, nor in
// another's language and units.
func TestPicturesAreKeptUntilTheyChange(t *testing.T) {
	p := demoPages(t, nil)
	site := p.h.Daemon.Sites()[0]
	look := func(at, reads string) string {
		return p.must(200, "GET", "/site/kettle"+at+reads, nil)
	}
	picture := func(page string) string { // with its figures
		_, after, found := strings.Cut(page, `<div class="widepic">`)
		if !found {
			t.Fatal("no picture")
		}
		inside, _, _ := strings.Cut(after, "</details>")
		return inside
	}
	const en, fr = "&lang=en&units=us", "&lang=fr&units=metric"
	for _, at := range []string{"/flow?season=2024", "/flow?from=2024-03-10&days=10", "/flow?days=10", "/season?season=2025", "/season?a=b"} {
		english, french := picture(look(at, en)), picture(look(at, fr))
		if english == french || !strings.Contains(french, "coulée") &&
			!strings.Contains(french, "l&#39;eau") {
			t.Errorf("%s: French readers see %.300s", at, french)
		}
		if picture(look(at, en)) != english || picture(look(at, fr)) != french {
			t.Errorf("%s: another at a second look", at)
		}
	}
	const at = "/flow?from=2024-03-10&days=10"
	before := picture(look(at, en))
	v := records.Visit{Site: site.ID, Group: site.Groups[0].ID, CollectedAt: time.Date(2024, 3, 13, 17, 0, 0, 0, site.Zone), Taps: 50,
		VolumeL: 321}
	if _, err := p.h.Archive.PutVisits(t.Context(), []records.Visit{v}, "Odell", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	visited := picture(look(at, en))
	if visited == before {
		t.Error("a visit is not in the picture")
	}
	days, err := p.h.Archive.Hours(t.Context(), app.PlaceKey(&site), time.Date(2024, 3, 12, 0, 0, 0, 0, time.UTC),
		time.Date(2024, 3, 15, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	for i := range days.Col(weather.TemperatureC) {
		days.Col(weather.TemperatureC)[i] += 8
	}
	if err := p.h.Archive.PutHours(t.Context(), app.PlaceKey(&site), &days); err != nil {
		t.Fatal(err)
	}
	if picture(look(at, en)) == visited {
		t.Error("other weather is not in the picture")
	}
}

// What is kept of past springs for classes, and of the years with visits, changes with a
// visit and with weather too: pails that are pulled early drip no more, and a year that was
// first written down today can be chosen.
func TestSpringsAndYearsAreKeptUntilTheyChange(t *testing.T) {
	p := demoPages(t, nil)
	site := p.h.Daemon.Sites()[0]
	look := func(at string) string { return p.must(200, "GET", "/site/kettle"+at, nil) }
	school := func() string { // the shares by week, without the form's key and the moment
		_, after, _ := strings.Cut(look("/school"), "<table")
		inside, _, _ := strings.Cut(after, "</table>")
		return inside
	}
	before := school()
	if before == "" || school() != before || strings.Contains(look("/records"), "season=2011") {
		t.Fatalf("%.200s", before)
	}
	for _, year := range []int{2023, 2024, 2025} {
		days, err := p.h.Archive.Hours(t.Context(), app.PlaceKey(&site), time.Date(year, 2, 10, 0, 0, 0, 0, time.UTC),
			time.Date(year, 4, 25, 0, 0, 0, 0, time.UTC))
		if err != nil || days.Hours() == 0 {
			continue
		}
		for i := range days.Col(weather.TemperatureC) {
			days.Col(weather.TemperatureC)[i] = -20
		}
		if err := p.h.Archive.PutHours(t.Context(), app.PlaceKey(&site), &days); err != nil {
			t.Fatal(err)
		}
	}
	if school() == before {
		t.Error("springs that were frozen through drip as before")
	}
	v := records.Visit{Site: site.ID, Group: site.Groups[0].ID, CollectedAt: time.Date(2011, 3, 13, 17, 0, 0, 0, site.Zone), Taps: 50,
		VolumeL: 21}
	if _, err := p.h.Archive.PutVisits(t.Context(), []records.Visit{v}, "Odell", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(look("/records"), "season=2011") {
		t.Error("a year that was written down can't be chosen")
	}
}
