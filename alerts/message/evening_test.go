package message

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thawline/forecast"
	"thawline/forecast/units"
)

var update = flag.Bool("update", false, "write the golden files anew")

func words(t testing.TB, language string, system units.System) *Words {
	t.Helper()
	w, err := NewWords(Reader{Language: language, Units: system})
	if err != nil {
		t.Fatal(err)
	}
	return w.In(Texted)
}

// hasRoom reports whether a text is one text message in the GSM 7-bit alphabet or, where
// it has other letters, at most two in UCS-2.
func hasRoom(text string) bool {
	if n, ok := Septets(text); ok {
		return n > 0 && n <= SMSLimit
	}
	return text != "" && len(utf16.Encode([]rune(text))) <= 2*ucs2Part
}

// outlook makes one whose tomorrow is as given.
func outlook(name string, p float64, class forecast.Class, low, mid, high, min, max float64, from, to int,
	ageHours float64) forecast.Outlook {
	zone := time.FixedZone("", -4*3600)
	o := forecast.Outlook{
		Site:     "home",
		Bush:     forecast.Bush{Name: name},
		IssuedAt: time.Date(2026, 3, 23, 18, 0, 0, 0, zone),
		Source:   forecast.Source{Name: "nws", AgeHours: ageHours},
		Days:     []forecast.Day{{Date: "2026-03-23"}},
	}
	d := forecast.Day{Date: "2026-03-24", RunProbability: p, Class: class,
		VolumeL: forecast.Range{P10: low, P50: mid, P90: high}, TemperatureC: forecast.MinMax{Min: min, Max: max}}
	if from != to {
		d.Window = &forecast.Window{Start: time.Date(2026, 3, 24, from, 0, 0, 0, zone), End: time.Date(2026, 3, 24, to, 0, 0, 0, zone)}
	}
	o.Days = append(o.Days, d)
	return o
}

// gatherAt sends people to groups tomorrow at an hour.
func gatherAt(o *forecast.Outlook, hour int, groups ...string) {
	o.Work.Until = time.Date(2026, 3, 24, 18, 30, 0, 0, o.IssuedAt.Location())
	for _, id := range groups {
		at := time.Date(2026, 3, 24, hour, 0, 0, 0, o.IssuedAt.Location())
		o.Work.Groups = append(o.Work.Groups,
			forecast.GroupWork{Group: id, Decision: forecast.Gather, GoAt: &at, Latest: &at, Why: "overflow",
				VolumeL: &forecast.Range{P10: 190, P50: 250, P90: 320}})
	}
	sendRounds(o)
}

// sendRounds has a round go to each group that is gathered.
func sendRounds(o *forecast.Outlook) {
	o.Work.Rounds = nil
	for i := range o.Work.Groups {
		if g := &o.Work.Groups[i]; g.Decision == forecast.Gather {
			o.Work.Rounds = append(o.Work.Rounds, forecast.CrewRound{Start: *g.GoAt, Who: g.Who, Groups: []forecast.RoundGroup{
				{Group: g.Group, Share: 1, LowL: g.VolumeL.P10, VolumeL: g.VolumeL.P50, HighL: g.VolumeL.P90}}})
		}
	}
}

// still is a warm day on which nothing runs, and why.
func still(p float64, why forecast.WhyStill, low, high float64) forecast.Outlook {
	o := outlook("Fox Hollow", p, forecast.Still, 0, 0, 1, low, high, 0, 0, 2)
	o.Days[1].Why = why
	return o
}

// group is work at one: gathered tomorrow at an hour, tipped out or left with 250 litres.
func group(id string, d forecast.Decision, hour int, who []string) forecast.GroupWork {
	var o forecast.Outlook
	o.IssuedAt = time.Date(2026, 3, 23, 18, 0, 0, 0, time.FixedZone("", -4*3600))
	gatherAt(&o, hour, id)
	g := o.Work.Groups[0]
	g.Decision, g.Who, g.HeldL.P50 = d, who, 250
	return g
}

// intoNight lets sap run on, at a bush with a long name.
func intoNight(o forecast.Outlook) forecast.Outlook {
	o.Bush.Name = "Sucrerie du Petit Rang"
	o.Days[1].Window.End = o.Days[1].Window.End.Truncate(24 * time.Hour).Add(28 * time.Hour)
	return o
}

func hung(g forecast.GroupWork, litres float64) forecast.GroupWork {
	g.HeldL.P50 = litres
	return g
}

func iced(g forecast.GroupWork, litres float64) forecast.GroupWork {
	g.IceL = litres
	return g
}

func six(d forecast.Decision, hour int) (groups []forecast.GroupWork) {
	for i, id := range []string{"north", "south", "east", "west", "brook", "lane"} {
		groups = append(groups, group(id, d, hour+i%2, nil))
	}
	return groups
}

func eachHelper() []forecast.GroupWork {
	groups := six(forecast.Gather, 8)
	for i, id := range []string{"ana", "ben", "cora", "dan", "eve", "fay"} {
		groups[i].Who = []string{id}
	}
	return groups
}

// worked is a run of a likelihood, with work.
func worked(p float64, groups ...forecast.GroupWork) forecast.Outlook {
	o := outlook("Fox Hollow", p, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	gatherAt(&o, 0)
	o.Work.Groups = groups
	sendRounds(&o)
	for _, id := range []string{"ana", "ben", "cora", "dan", "eve", "fay"} {
		o.Bush.People = append(o.Bush.People, forecast.PersonName{ID: id, Name: strings.ToUpper(id[:1]) + id[1:]})
	}
	for _, g := range groups {
		o.Bush.Groups = append(o.Bush.Groups, forecast.GroupName{ID: g.Group, Name: strings.ToUpper(g.Group[:1]) + g.Group[1:]})
	}
	return o
}

// twice has a second round go to the first group before the evening, and one after it.
func twice(o forecast.Outlook) forecast.Outlook {
	again, after := o.Work.Rounds[0], o.Work.Rounds[0]
	again.Start, after.Start = again.Start.Add(8*time.Hour), after.Start.Add(24*time.Hour)
	again.Groups = []forecast.RoundGroup{{Group: o.Work.Groups[0].Group, Share: 1, LowL: 20, VolumeL: 50, HighL: 80}}
	o.Work.Rounds = append(o.Work.Rounds, again, after)
	return o
}

func little(g forecast.GroupWork) forecast.Outlook {
	o := worked(0.02, g)
	o.Work.Groups[0].VolumeL = &forecast.Range{P50: 0.3, P90: 11}
	sendRounds(&o)
	return o
}

func aged(o forecast.Outlook, hours float64) forecast.Outlook {
	o.Source.AgeHours, o.Source.Kept = hours, true
	return o
}

func TestEveningGolden(t *testing.T) {
	strong := outlook("Fox Hollow", 0.97, forecast.StrongRun, 310, 610, 1190, -6, 8, 9, 20, 2)
	gatherAt(&strong, 15, "ridge")
	full := outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	gatherAt(&full, 9, "hollow", "ridge", "lane")
	kept := outlook("Fox Hollow", 0.6, forecast.Run, 40, 160, 400, -4, 6, 10, 19, 26)
	kept.Source.Kept = true
	none := outlook("Fox Hollow", 0.4, forecast.Run, 0, 1, 2, 0, 0, 0, 0, 3)
	none.Days = none.Days[:1]
	cases := []struct {
		what     string
		o        forecast.Outlook
		language string
		system   units.System
	}{
		{"strong run, pails to gather by three", strong, "en", units.US},
		{"a run, one group full tonight", full, "en", units.Metric},
		{"likely", outlook("Fox Hollow", 0.7, forecast.Run, 60, 190, 420, -5, 4, 11, 18, 1), "en", units.Imperial},
		{"may run", outlook("Fox Hollow", 0.4, forecast.Trickle, 0, 20, 190, -8, 2, 13, 17, 5), "en", units.US},
		{"hard cold", outlook("Fox Hollow", 0.01, forecast.Still, 0, 0, 1, -19, -6, 0, 0, 2), "en", units.US},
		{"old weather", kept, "en", units.US},
		{"no forecast reaches tomorrow", none, "en", units.US},
		{"a long name", outlook("The Old Upper Meadow and Brookside Sugarbush of the Hill Family", 0.95, forecast.Run, 1100, 2300, 4900,
			-6, 7, 9, 21, 1), "en", units.US},
		{"French", outlook("Érablière du Ruisseau", 0.97, forecast.StrongRun, 310, 610, 1190, -6, 8, 9, 20, 2), "fr", units.Metric},
		{"trees still frozen on a warm day", still(0.02, forecast.StillFrozen, -6, 7), "en", units.US},
		{"no frost", still(0.1, forecast.NoFrost, 4, 14), "en", units.US},
		{"tip out one", worked(0.7, group("pails", forecast.TipOut, 0, nil)), "en", units.US},
		{"tip out two, gather one", worked(0.7, group("pails", forecast.TipOut, 0, nil), group("bags", forecast.TipOut, 0, nil),
			group("lane", forecast.Gather, 8, nil)), "en", units.US},
		{"one helper", worked(0.9, group("north", forecast.Gather, 15, []string{"ana"})), "en", units.US},
		{"two helpers together", worked(0.9, group("north", forecast.Gather, 15, []string{"ana", "ben"}),
			group("south", forecast.Gather, 16, []string{"ana", "ben"})), "en", units.US},
		{"who goes where", worked(0.9, group("north", forecast.Gather, 8, []string{"ana"}),
			group("south", forecast.Gather, 8, []string{"ana"}), group("east", forecast.Gather, 15, []string{"ben"})), "en", units.US},
		{"a second round to one of two", twice(worked(0.9, group("north", forecast.Gather, 8, nil), group("south", forecast.Gather, 8, nil))),
			"en", units.US},
		{"all six groups", worked(0.9, six(forecast.Gather, 9)...), "en", units.US},
		{"all six groups, a helper each", worked(0.9, eachHelper()...), "en", units.US},
		{"four of six", worked(0.9, append(six(forecast.Gather, 9)[:4], six(forecast.Leave, 0)[4:]...)...), "en", units.US},
		{"hardly anything, before a frost", little(group("north", forecast.Gather, 16, nil)), "en", units.US},
		{"nothing due, and sap hangs", worked(0.7, group("north", forecast.Leave, 0, nil)), "en", units.US},
		{"nothing due, and some of it is ice", worked(0.7, iced(group("north", forecast.Leave, 0, nil), 200)), "en", units.US},
		{"nothing due, and all of it is ice", worked(0.1, iced(hung(group("north", forecast.Leave, 0, nil), 1), 200)), "en", units.US},
		{"nothing due, and a little hangs", worked(0.7, hung(group("north", forecast.Leave, 0, nil), 11)), "en", units.Imperial},
		{"old weather and a round", aged(worked(0.9, six(forecast.Gather, 9)...), 30), "en", units.US},
		{"weather of days ago and a round", aged(worked(0.9, six(forecast.Gather, 9)...), 75), "en", units.US},
		{"it began tonight", outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, 1, 9, 0, 15, 1), "en", units.US},
		{"French, frozen", still(0.02, forecast.StillFrozen, -6, 7), "fr", units.Metric},
		{"French, no frost", still(0.1, forecast.NoFrost, 4, 14), "fr", units.Metric},
		{"French, tip out", worked(0.7, group("pails", forecast.TipOut, 0, nil), group("lane", forecast.Gather, 8, nil)), "fr",
			units.Metric},
		{"French, who goes where", worked(0.9, group("north", forecast.Gather, 8, []string{"ana"}),
			group("south", forecast.Gather, 8, []string{"ana"}), group("east", forecast.Gather, 15, []string{"ben"})), "fr", units.Metric},
		{"French, all six groups", worked(0.9, six(forecast.Gather, 9)...), "fr", units.Metric},
		{"French, hardly anything", little(group("north", forecast.Gather, 16, nil)), "fr", units.Metric},
		{"French, ice hangs", worked(0.7, iced(group("north", forecast.Leave, 0, nil), 200)), "fr", units.Metric},
		{"French, sap hangs", worked(0.7, group("north", forecast.Leave, 0, nil)), "fr", units.Metric},
		{"French, old weather", aged(worked(0.9, six(forecast.Gather, 9)...), 30), "fr", units.Metric},
		{"French, into the night", outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, 1, 9, 9, 24, 1), "fr", units.Metric},
		{"French, into the night, hardly room", intoNight(worked(0.9, eachHelper()...)), "fr", units.Metric},
		{"French, it began tonight", outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, 1, 9, 0, 15, 1), "fr", units.Metric},
		{"French, unlikely", outlook("Érablière du Ruisseau", 0.12, forecast.Still, 0, 2, 60, -1, 12, 0, 0, 4), "fr", units.Metric},
	}
	var b strings.Builder
	for _, c := range cases {
		text := words(t, c.language, c.system).Evening(&c.o)
		for _, language := range []string{"en", "fr"} {
			for _, system := range []units.System{units.US, units.Imperial, units.Metric} {
				if n, ok := Septets(words(t, language, system).Evening(&c.o)); !ok || n > SMSLimit {
					t.Errorf("%s in %s: %d septets", c.what, language, n)
				}
			}
		}
		b.WriteString("# " + c.what + "\n" + text + "\n")
	}
	path := filepath.Join("testdata", "evening.golden")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), b.String()); d != "" {
		t.Errorf("texts changed; read them aloud, then run with -update:\n%s", d)
	}
}

var saysAge = regexp.MustCompile(`(?i)(weather|m[ée]t[ée]o).*[0-9].*(hour|day|heure|jour|h)`)

// wrongNumber is one of many, or many of one.
var wrongNumber = regexp.MustCompile(`\b(?:Up to|up to|plus) 0 |[^0-9.]1 (gallons|litres|groups|groupes|hours|heures|days|jours)\b|[^0-9.]([2-9]|[0-9]{2,}) (gallon|litre|group|groupe|hour|heure|day|jour)\b`)

// long are names that are longer than any text message.
var long = []string{strings.Repeat("W", 170), strings.Repeat("Érablière du ruisseau ", 9), strings.Repeat("€", 90)}

func TestEveningAlwaysFitsOneMessage(t *testing.T) {
	readers := []*Words{}
	for _, l := range []string{"en", "fr", "xx"} {
		for _, s := range []units.System{units.US, units.Imperial, units.Metric} {
			readers = append(readers, words(t, l, s))
		}
	}
	// Thousands of texts: a thousand outlooks for each of nine readers.
	if err := flag.Set("rapid.checks", "1000"); err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		o := outlook(rapid.String().Draw(t, "name"), rapid.Float64Range(0, 1).Draw(t, "p"),
			rapid.SampledFrom([]forecast.Class{forecast.Still, forecast.Trickle, forecast.Run, forecast.StrongRun}).Draw(t, "class"),
			rapid.Float64Range(0, 1e6).Draw(t, "low"), rapid.Float64Range(0, 1e7).Draw(t, "mid"),
			rapid.Float64Range(0, 1e8).Draw(t, "high"),
			rapid.Float64Range(-50, 30).Draw(t, "min"), rapid.Float64Range(-50, 45).Draw(t, "max"),
			rapid.IntRange(0, 23).Draw(t, "from"), rapid.IntRange(0, 24).Draw(t, "to"), rapid.Float64Range(0, 400).Draw(t, "age"))
		o.Source.Kept = rapid.Bool().Draw(t, "kept")
		o.Days = o.Days[:rapid.IntRange(0, 2).Draw(t, "days")]
		gatherAt(&o, rapid.IntRange(0, 23).Draw(t, "hour"), rapid.SliceOfN(rapid.String(), 0, 30).Draw(t, "groups")...)
		for i := range o.Work.Groups {
			g := &o.Work.Groups[i]
			g.Who = rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.SampledFrom(long)), 0, 5).Draw(t, "who")
			g.Decision = rapid.SampledFrom([]forecast.Decision{forecast.Gather, forecast.TipOut, forecast.Leave}).Draw(t, "decision")
			*g.GoAt = g.GoAt.Add(time.Duration(rapid.IntRange(-24, 72).Draw(t, "later")) * time.Hour)
			g.HeldL.P50, g.IceL = rapid.Float64Range(0, 1e5).Draw(t, "held"), rapid.SampledFrom([]float64{0, 1, 11, 40, 1e5}).Draw(t, "ice")
		}
		o.Bush.People = append(o.Bush.People, forecast.PersonName{ID: long[0], Name: long[1]})
		for i := range o.Work.Groups { // some have names of their own
			if name := rapid.SampledFrom([]string{"", "North", long[0], long[1], long[2]}).Draw(t, "group"); name != "" {
				o.Bush.Groups = append(o.Bush.Groups, forecast.GroupName{ID: o.Work.Groups[i].Group, Name: name})
			}
			v := o.Work.Groups[i].VolumeL
			v.P10, v.P50, v.P90 = 0, rapid.SampledFrom([]float64{0, 1, 3.9, 250, 123456}).Draw(t, "mid"),
				rapid.SampledFrom([]float64{0, 1, 3.9, 250, 9876543}).Draw(t, "high")
		}
		sendRounds(&o)
		if len(o.Days) > 1 {
			o.Days[1].Why = rapid.SampledFrom([]forecast.WhyStill{"", forecast.StillFrozen, forecast.NoFrost}).Draw(t, "why")
		}
		for _, w := range readers {
			text := w.Evening(&o)
			n, ok := Septets(text)
			if !hasRoom(text) || strings.TrimSpace(text) == "" {
				t.Fatalf("%d septets, in the alphabet %v: %q", n, ok, text)
			}
			if (o.Source.Kept || o.Source.AgeHours >= staleHours+1) && !saysAge.MatchString(text) {
				t.Fatalf("does not say how old its weather is: %q", text)
			}
			if due := len(o.Work.Due()); due > 0 && !strings.Contains(text, "Gather") && !strings.Contains(gsm(text), "A ramasser") {
				t.Fatalf("%d groups are to be gathered, and it does not say so: %q", due, text)
			}
			if len(o.Work.ToTipOut()) > 0 && !strings.Contains(text, "Tip out ") && !strings.Contains(gsm(text), "A jeter ") {
				t.Fatalf("sap has gone bad, and it does not say so: %q", text)
			}
			if strings.Contains(text, "<no value>") || strings.Contains(text, "text_") || strings.Contains(text, "verdict_") ||
				wrongNumber.MatchString(text) {
				t.Fatalf("not words: %q", text)
			}
		}
	})
}

func TestSeptets(t *testing.T) {
	// 3GPP TS 23.038: the extension table costs two septets.
	for text, want := range map[string]int{"abc": 3, "[€]": 6, "éèùìòÇ": 6} {
		if n, ok := Septets(text); !ok || n != want {
			t.Errorf("%q: %d %v, want %d", text, n, ok, want)
		}
	}
	if _, ok := Septets("10°"); ok {
		t.Error("the degree sign is not in the alphabet")
	}
	if got := gsm("Forêt « Boisé » – 5° çà 🍁"); got != "Foret \"Boisé\" - 5 cà " {
		t.Errorf("%q", got)
	}
	// A letter is never lost: not an accent that counts, not one of another script.
	for _, text := range []string{"ᐊᓂ Ridge", "סוכר", "Чага"} {
		if got, whole := ToGSM7(text, true); whole {
			t.Errorf("%q became %q", text, got)
		}
	}
	if got, whole := ToGSM7("Forêt", false); whole {
		t.Errorf("an accent was lost: %q", got)
	}
}

// gsm is a text in the GSM 7-bit alphabet, as English and French are sent; letters that it
// lacks are left out.
func gsm(text string) string {
	plain, whole := ToGSM7(text, true)
	if !whole {
		plain, _ = ToGSM7(strings.Map(func(r rune) rune {
			if _, has := ToGSM7(string(r), true); !has {
				return -1
			}
			return r
		}, text), true)
	}
	return plain
}

// A tongue whose words are too long for a text message is cut, not left out: the
// evening never falls silent.
func TestWordsThatAreTooLong(t *testing.T) {
	file := filepath.Join(t.TempDir(), "eo.toml")
	if err := os.WriteFile(file, []byte("verdict_sure = \""+strings.Repeat("morgau la suko fluos ", 20)+"\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := LoadCatalogue(file)
	if err != nil {
		t.Fatal(err)
	}
	w, err := c.Words(Reader{Language: "eo", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	o := outlook("Kettle", 0.9, forecast.Run, 10, 20, 30, -4, 6, 9, 18, 1)
	o.Days[1].Window = nil
	if text := w.Evening(&o); !strings.HasPrefix(text, "morgau la suko") || len(text) > SMSLimit {
		t.Errorf("%q", text)
	}
}

func TestNamesAreCutAtWords(t *testing.T) {
	for name, want := range map[string]string{"Chaudières du haut": "Chaudières", "Pails of the hill": "Pails", "Fox Hollow": "Fox Hollow",
		"Sugar Mountain Road": "Sugar Mountain", "Kettle and pan works": "Kettle and pan", "Lac-aux-Loups-Blancs": "Lac-aux-Loups", "Incomprehensibilities": "Incomprehensibil"} {
		if got := shorten(name, 16); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}
