package sections

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// One of something is told as one.
func TestOneTrip(t *testing.T) {
	w, err := message.NewWords(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	for trips, want := range map[int]string{1: "1 round in the coming days, 1 trip in all",
		2: "1 round in the coming days, 2 trips in all"} {
		o := &forecast.Outlook{Work: forecast.Work{Rounds: []forecast.CrewRound{{Start: time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC),
			Trips: trips}}}}
		if parts := OfRounds(o, w, units.US); !strings.Contains(parts[0].Title, want) {
			t.Errorf("%s", parts[0].Title)
		}
	}
}

// What visits taught of the bush's air is said in the reader's degrees, and nothing before
// there was anything to learn from.
func TestOffsetIsSaid(t *testing.T) {
	said := func(language string, system units.System, offset forecast.BushOffset) string {
		w, err := message.NewWords(message.Reader{Language: language, Units: system})
		if err != nil {
			t.Fatal(err)
		}
		var lines []string
		for _, s := range OfSeason(&forecast.Outlook{Offset: offset}, w, system) {
			if s.Name == Yields {
				for _, l := range s.Lines {
					lines = append(lines, l.Text)
				}
			}
		}
		return strings.Join(lines, "\n")
	}
	colder := forecast.BushOffset{WarmerK: forecast.Range{P10: -1.7, P50: -1.1, P90: -0.5}, Visits: 14}
	if got, want := said("en", units.US, colder),
		"Your bush is about 2 °F colder than the weather services say, give or take 1 (from 14 visits)."; got != want {
		t.Errorf("%q", got)
	}
	if got, want := said("fr", units.Metric, colder),
		"Votre érablière est d'environ 1,0 °C plus froide que ne le dit la météo, à 0,5 près (d'après 14 ramassages)."; got != want {
		t.Errorf("%q", got)
	}
	dawn, day := -2.3, 0.1
	hollow := forecast.BushOffset{WarmerK: forecast.Range{P10: -1.7, P50: -1.1, P90: -0.5}, Visits: 1, Lows: 12, Highs: 1, Words: 3,
		DawnWarmerK: &dawn, DayWarmerK: &day}
	if got, want := said("en", units.US, hollow),
		"Your bush is about 2 °F colder than the weather services say, give or take 1 (from 1 visit, from 12 lows of your thermometer, from 1 high of your thermometer, from 3 words about dripping). At dawn it is about 4 °F colder than they say."; got != want {
		t.Errorf("%q", got)
	}
	if got, want := said("fr", units.Metric, hollow),
		"Votre érablière est d'environ 1,0 °C plus froide que ne le dit la météo, à 0,5 près (d'après 1 ramassage, d'après 12 minimums de votre thermomètre, d'après 1 maximum de votre thermomètre, d'après 3 mots sur la coulée). À l'aube, elle est d'environ 2,5 °C plus froide que ne le dit la météo."; got != want {
		t.Errorf("%q", got)
	}
	alike := forecast.BushOffset{WarmerK: forecast.Range{P10: -0.4, P50: 0.1, P90: 0.6}, EarlierSeasons: 2}
	if got, want := said("en", units.US, alike),
		"Your bush is about as warm as the weather services say, give or take 1 °F (from 2 earlier seasons)."; got != want {
		t.Errorf("%q", got)
	}
	if got := said("en", units.US, forecast.BushOffset{WarmerK: forecast.Range{P10: -1.2, P90: 1.2}}); got != "" {
		t.Errorf("before anything was learnt: %q", got)
	}
}

// The number of rounds that is said is the number that is listed, or counted below.
func TestRoundsThatAreNotListedAreCounted(t *testing.T) {
	for language, want := range map[string]string{"en": "and 2 more, later", "fr": "et 2 autres, plus tard"} {
		w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		at := time.Date(2026, 3, 20, 9, 0, 0, 0, time.UTC)
		o := &forecast.Outlook{IssuedAt: at}
		for i := range 8 {
			start := at.Add(time.Duration(i) * 6 * time.Hour)
			o.Work.Rounds = append(o.Work.Rounds, forecast.CrewRound{Start: start, End: start.Add(time.Hour), Trips: 1})
		}
		p := newPage(w, units.US)
		p.zone = time.UTC
		p.rounds(o, 6)
		if text := saidIn(p.sections, Rounds); !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
		p = newPage(w, units.US)
		p.zone = time.UTC
		p.rounds(o, 8)
		if text := saidIn(p.sections, Rounds); strings.Contains(text, want[:6]) {
			t.Errorf("all are listed, and %s", text)
		}
	}
}
