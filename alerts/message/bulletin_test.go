package message

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

var anybodysLitres = regexp.MustCompile(`(?i)litre|gallon|Fox Hollow|Odell`)

// A bulletin of an association's bushes takes a minute to read at most, says how many run,
// and names nobody, nor anybody's litres.
func TestBulletin(t *testing.T) {
	now := time.Date(2026, 3, 23, 18, 30, 0, 0, time.FixedZone("", -4*3600))
	var list []*forecast.Outlook
	for i, p := range []float64{0.9, 0.8, 0.3, 0.1} {
		o := outlook("Fox Hollow", p, forecast.StrongRun, 50, 100, 200, -4-float64(i), 6, 9, 18, 1)
		o.Season = forecast.Season{Stage: season.Opened, Tapped: true}
		o.Work.Dangers = []forecast.Danger{{What: forecast.DangerWind, From: now.Add(5 * time.Hour), To: now.Add(20 * time.Hour),
			LossL: 300}, {What: forecast.DangerCold, From: now, To: now.Add(9 * time.Hour)},
			{What: forecast.DangerFreezingRain, From: now, To: now.Add(9 * time.Hour)}}
		list = append(list, &o)
	}
	for language, says := range map[string][]string{"en": {"Monday 23 Mar", "tomorrow in 2 of 4 bushes", "1 more", "big run",
		"The season is under way"}, "fr": {"lundi 23 mars", "demain dans 2 érablières sur 4", "1 autre", "grosse coulée"}} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		text := w.Bulletin(list, now)
		for _, s := range says {
			if !strings.Contains(text, s) {
				t.Errorf("%s: no %q in %s", language, s, text)
			}
		}
		if anybodysLitres.MatchString(text) {
			t.Errorf("%s tells on somebody: %s", language, text)
		}
		aloud := w.In(Aloud).Bulletin(list, now)
		if n := SpokenWords(aloud); n*60 > BulletinSeconds*WordsPerMinute || strings.ContainsAny(aloud, "0123456789()%:;-") {
			t.Errorf("%s: %d words: %s", language, n, aloud)
		}
		if text := w.Bulletin(nil, now); text != "" {
			t.Errorf("of nothing: %s", text)
		}
		if text := w.Bulletin(list[3:], now.AddDate(0, 0, 3)); text != "" {
			t.Errorf("of an old outlook: %s", text)
		}
	}
}

// Full moons, from memory of almanacs (UTC): 27 March 2013 9:27, 5 March 2015 18:05,
// 25 January 2024 17:54, 31 July 2015 10:43, the second of that month.
func TestMoons(t *testing.T) {
	for _, want := range []time.Time{time.Date(2013, 3, 27, 9, 27, 0, 0, time.UTC), time.Date(2015, 3, 5, 18, 5, 0, 0, time.UTC),
		time.Date(2024, 1, 25, 17, 54, 0, 0, time.UTC), time.Date(2015, 7, 31, 10, 43, 0, 0, time.UTC)} {
		if got := nextFullMoon(want.AddDate(0, 0, -9)); got.Sub(want).Abs() > 15*time.Minute {
			t.Errorf("%s, want %s", got, want)
		}
	}
	w := &Words{tongues: []*side{{tag: "x", texts: Texts{"moon_3": {Other: "third"}, "moon_13": {Other: "second in a month"}}}}}
	if got := w.Moon(time.Date(2015, 3, 1, 12, 0, 0, 0, time.UTC)); got != "third" {
		t.Error(got)
	}
	if got := w.Moon(time.Date(2015, 7, 25, 12, 0, 0, 0, time.UTC)); got != "second in a month" {
		t.Error(got)
	}
	if got := w.Moon(time.Date(2015, 5, 1, 12, 0, 0, 0, time.UTC)); got != "" {
		t.Errorf("nobody named it: %s", got)
	}
}

// Large print takes half a page, parts no word that has room, and leaves out whole
// sentences.
func TestLargePrint(t *testing.T) {
	o := outlook("Fox Hollow", 0.9, forecast.Run, 50, 100, 200, -4, 6, 9, 18, 30)
	for _, language := range []string{"en", "fr"} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range []string{w.Evening(&o), strings.Repeat("Empty the tank tonight. ", 60), strings.Repeat("x", 300)} {
			page := LargePrint("Monday 23 Mar", text)
			lines := strings.Split(strings.TrimSuffix(page, "\n"), "\n")
			if len(lines) > LargeLines || !strings.HasPrefix(page, "Monday 23 Mar\n\n") {
				t.Errorf("%d lines:\n%s", len(lines), page)
			}
			for _, line := range lines {
				if n := len([]rune(line)); n > LargeColumns {
					t.Errorf("%d columns: %s", n, line)
				}
			}
		}
		if page := LargePrint("x", w.Evening(&o)); strings.Join(strings.Fields(page), " ") != "x "+w.Evening(&o) {
			t.Errorf("an evening has no room in half a page:\n%s", page)
		}
	}
}

// What is on the list of phrases is all that an evening is made of.
func TestPhrasesMakeAnyEvening(t *testing.T) {
	sites := []forecast.Site{{ID: "home", Name: "Fox Hollow",
		Groups: []forecast.Group{{ID: "ridge", Name: "Ridge pails"}, {ID: "n2", Name: "North 2"}}}}
	for _, language := range []string{"en", "fr"} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		known := map[string]bool{}
		for _, p := range w.Phrases(sites) {
			known[p] = true
		}
		if len(known) < 60 || len(known) > 250 {
			t.Errorf("%s: %d phrases to record", language, len(known))
		}
		for _, hours := range [][2]int{{9, 18}, {0, 14}, {13, 0}, {12, 17}} {
			for _, litres := range []float64{5, 100, 900, 4200} {
				for _, age := range []float64{1, 30} {
					o := outlook("Fox Hollow", 0.8, forecast.Run, litres/2, litres, litres*2, -14, 1, hours[0], hours[1], age)
					text := w.In(Aloud).Evening(&o)
					if _, missing := Spliced(text, func(p string) bool { return known[p] }); len(missing) > 0 {
						t.Errorf("%s: %q are not on the list: %s", language, missing, text)
					}
				}
			}
		}
	}
}
