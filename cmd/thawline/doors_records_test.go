package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
)

// kept are the records of the days around the clock, without who wrote them.
func (d *doors) kept(begin time.Time) string {
	d.t.Helper()
	stored, err := d.app.Archive.Visits(d.t.Context(), "hill", begin.Add(-time.Hour), d.site.Zone)
	if err != nil {
		d.t.Fatal(err)
	}
	var out []string
	for i := range stored {
		v := &stored[i]
		out = append(out, fmt.Sprintf("%s +%s %g taps %g L %g %% %q", v.Group, v.CollectedAt.Sub(begin).Truncate(time.Second),
			float64(v.Taps), v.VolumeL, v.BrixPct, v.Note))
	}
	return strings.Join(out, "; ")
}

// step is a round with what is to be answered.
type step struct {
	round
	taken  bool
	en, fr string
}

const inTime = 0

var none = math.NaN()

// casesOfDoors are rounds, each case on a day of its own.
var casesOfDoors = []struct {
	name    string
	steps   []step
	stays   string
	without string // a way that can't say it
}{
	{"a round", []step{{round{inTime, 0, "north", 120, 2.1, "full"}, true,
		"Noted: North slope 120 litres at 2.1 %. Full: counts as at least so much.",
		"Noté : North slope 120 litres à 2,1 %. Plein : compté comme au moins autant."}},
		`north +0s 60 taps 120 L 2.1 % "full"`, ""},
	{"by name", []step{{round{inTime, 0, "North Slope", 12.5, 0, ""}, true, "Noted: North slope 12.5 litres.",
		"Noté : North slope 12,5 litres."}}, `north +0s 60 taps 12.5 L NaN % ""`, ""},
	{"of a tank that two share", []step{{round{inTime, 0, "lane", 800, 0, ""}, true, "Noted: Lane 800 litres.", "Noté : Lane 800 litres."},
		{round{3 * time.Hour, 0, "brook", 700, 0, ""}, true, "Noted: Brook 700 litres.", "Noté : Brook 700 litres."},
		{round{3 * time.Hour, 0, "lane", 1501, 0, ""}, false,
			"1501 litres from 100 taps is more than they can hold (1000 litres). Was it another unit, or several rounds?",
			"1501 litres pour 100 entailles, c'est plus que les contenants n'en tiennent (1000 litres). Était-ce une autre unité, ou plusieurs tournées?"}},
		`lane +0s 100 taps 800 L NaN % ""; brook +3h0m0s 40 taps 700 L NaN % ""`, ""},
	{"the same again", []step{{round{inTime, 0, "north", 80, 0, ""}, true, "Noted: North slope 80 litres.",
		"Noté : North slope 80 litres."},
		{round{10 * time.Minute, 0, "north", 80, 0, ""}, true, "Already noted: North slope 80 litres, {when}. It counts once.",
			"Déjà noté : North slope 80 litres, {when}. Ça compte une seule fois."}},
		`north +0s 60 taps 80 L NaN % ""`, ""},
	{"loads", []step{{round{inTime, 0, "north", 80, 0, ""}, true, "Noted: North slope 80 litres.", "Noté : North slope 80 litres."},
		{round{90 * time.Minute, 0, "north", 40, 0, ""}, true, "Second load of North slope, 120 litres in all; UNDO if not.",
			"Deuxième voyage de North slope, 120 litres en tout; ANNULER si ce n'est pas ça."},
		{round{150 * time.Minute, 0, "north", 40, 0, ""}, true, "Third load of North slope, 160 litres in all; UNDO if not.",
			"Troisième voyage de North slope, 160 litres en tout; ANNULER si ce n'est pas ça."},
		{round{180 * time.Minute, 0, "north", 9, 0, ""}, true, "Load 4 of North slope, 169 litres in all; UNDO if not.",
			"Voyage 4 de North slope, 169 litres en tout; ANNULER si ce n'est pas ça."}},
		`north +0s 60 taps 80 L NaN % ""; north +1h30m0s 60 taps 40 L NaN % ""; north +2h30m0s 60 taps 40 L NaN % ""; north +3h0m0s 60 taps 9 L NaN % ""`, ""},
	{"another visit", []step{{round{inTime, 0, "north", 80, 0, ""}, true, "Noted: North slope 80 litres.", "Noté : North slope 80 litres."},
		{round{121 * time.Minute, 0, "north", 40, 0, ""}, true, "Noted: North slope 40 litres.", "Noté : North slope 40 litres."}},
		`north +0s 60 taps 80 L NaN % ""; north +2h1m0s 60 taps 40 L NaN % ""`, ""},
	{"as sweet as sap gets, and sweeter",
		[]step{{round{inTime, 0, "north", 80, 10, ""}, true, "Noted: North slope 80 litres at 10 %.",
			"Noté : North slope 80 litres à 10 %."},
			{round{3 * time.Hour, 0, "north", 80, 10.5, ""}, false,
				"10.5 % of sugar is more than sap has (1 to 5 %). Was it concentrate or syrup?",
				"10,5 % de sucre, c'est plus que l'eau n'en a (de 1 à 5 %). Était-ce du concentré ou du sirop?"}},
		`north +0s 60 taps 80 L 10 % ""`, ""},
	{"not checked", []step{{round{inTime, 0, "north", none, 0, "not checked"}, true,
		"Noted: no sap from North slope. Not checked: no figure, left to the next visit.",
		"Noté : North slope, rien de ramassé. Pas vérifié : pas de chiffre, ce sera compté au prochain ramassage."},
		{round{3 * time.Hour, 0, "north", 40, 0, "not checked"}, false, "40 litres and “not checked”: which is it?",
			"40 litres et « pas vérifié » : lequel des deux?"}},
		`north +0s 60 taps NaN L NaN % "not checked"`, ""},
	{"a little more than there is room for",
		[]step{{round{inTime, 0, "north", 960, 0, ""}, true,
			"Noted: North slope 960 litres. 960 litres is more than the 900 litres that the containers hold.",
			"Noté : North slope 960 litres. 960 litres, c'est plus que ce que tiennent les contenants (900 litres)."}},
		`north +0s 60 taps 960 L NaN % ""`, ""},
	{"no such group", []step{{round{inTime, 0, "nort", 40, 0, ""}, false, "There is no group “nort”; did you mean “north”?",
		"Il n'y a pas de groupe « nort »; est-ce « north »?"}}, "", "text"},
	{"to come", []step{{round{inTime, 2 * time.Hour, "north", 40, 0, ""}, false, "{date} lies in the future; check day and time.",
		"Le {date} est dans l'avenir; vérifiez le jour et l'heure."}}, "", "text"},
	{"empty", []step{{round{inTime, 0, "north", 0, 0, ""}, true, "Noted: North slope 0 litres.", "Noté : North slope 0 litre."}},
		`north +0s 60 taps 0 L NaN % ""`, ""},
}

// plain are words without what the alphabet of texts leaves out, and without capitals: a
// line of a file, and what stands after an option, begin small.
func plain(words string) string {
	return strings.ToLower(strings.Join(strings.Fields(gsm(words)), " "))
}

// asked is what is to be answered by a way in.
func (s *step) asked(w *way, lang string, begin time.Time) []string {
	words, when := s.en, begin.Format("Mon 2 Jan 3 pm")
	if lang == "fr" {
		words = s.fr
		months := map[time.Month]string{time.February: "févr.", time.March: "mars", time.April: "avr.", time.May: "mai"}
		days := []string{"dim.", "lun.", "mar.", "mer.", "jeu.", "ven.", "sam."}
		day := strconv.Itoa(begin.Day())
		if begin.Day() == 1 {
			day = "1er"
		}
		when = fmt.Sprintf("%s %s %s 15 h", days[begin.Weekday()], day, months[begin.Month()])
	}
	words = strings.NewReplacer("{when}", when, "{date}", begin.Format(time.DateOnly)).Replace(words)
	if !w.sheet {
		return []string{words}
	}
	if !s.taken {
		return []string{words}
	}
	counts := map[string]string{"en": "1 added, 0 already there, 0 corrected",
		"fr": "Notes ajoutées : 1; déjà connues : 0; corrigées : 0"}[lang]
	switch {
	case strings.HasPrefix(s.en, "Already"):
		return []string{strings.NewReplacer("1 added, 0 already", "0 added, 1 already", "ajoutées : 1; déjà connues : 0",
			"ajoutées : 0; déjà connues : 1").Replace(counts)}
	case strings.Contains(s.en, "oad "):
		return []string{counts, strings.TrimSuffix(words, ".")}
	}
	if _, odd, more := strings.Cut(words, ". "); more {
		return []string{counts, strings.TrimSuffix(odd, ".")}
	}
	return []string{counts}
}

// The same record gets the same answer, in the same words, whichever way it comes, and is
// kept as the same.
func TestOneRecordThroughAllDoors(t *testing.T) {
	for _, lang := range []string{"en", "fr"} {
		t.Run(lang, func(t *testing.T) {
			d := openDoors(t, lang)
			day := d.now
			for _, c := range casesOfDoors {
				for i := range ways {
					w := &ways[i]
					if w.name == c.without {
						continue
					}
					day = day.AddDate(0, 0, 1)
					day = time.Date(day.Year(), day.Month(), day.Day(), 15, 0, 0, 0, day.Location())
					for k := range c.steps {
						s := &c.steps[k]
						d.now = day.Add(s.after)
						got := w.send(d, auth.Keeper, &s.round)
						if got.taken != s.taken {
							t.Errorf("%s, %s: taken %t, want %t: %s", c.name, w.name, got.taken, s.taken, got.words)
						}
						for _, want := range s.asked(w, lang, day) {
							if !strings.Contains(plain(got.words), plain(want)) {
								t.Errorf("%s, %s:\n got %s\nwant %s", c.name, w.name, plain(got.words), plain(want))
							}
						}
					}
					if got := d.kept(day); got != c.stays {
						t.Errorf("%s, %s:\nkept %s\nwant %s", c.name, w.name, got, c.stays)
					}
				}
			}
		})
	}
}

// What somebody entered by one way and somebody else by another within ten minutes counts
// once, and other litres are a load, whichever the ways are.
func TestDoorsKnowOfEachOther(t *testing.T) {
	d := openDoors(t, "en")
	day := d.now
	for i := range ways {
		for k := range ways {
			day = day.AddDate(0, 0, 1)
			day = time.Date(day.Year(), day.Month(), day.Day(), 15, 0, 0, 0, day.Location())
			for _, s := range []struct {
				w     *way
				after time.Duration
				r     round
			}{{&ways[i], 0, round{group: "north", litres: 80}}, {&ways[k], 7 * time.Minute, round{group: "north", litres: 80}},
				{&ways[k], time.Hour, round{group: "north", litres: 40}}} {
				d.now = day.Add(s.after)
				if got := s.w.send(d, auth.Keeper, &s.r); !got.taken {
					t.Errorf("%s after %s: %s", s.w.name, ways[i].name, got.words)
				}
			}
			if got := d.kept(day); got != `north +0s 60 taps 80 L NaN % ""; north +1h0m0s 60 taps 40 L NaN % ""` {
				t.Errorf("%s, then %s: %s", ways[i].name, ways[k].name, got)
			}
		}
	}
}

// gsm is a text as a text message has it.
func gsm(text string) string {
	plain, _ := message.ToGSM7(text, true)
	return plain
}
