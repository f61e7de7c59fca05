package message

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thawline/forecast"
	"thawline/forecast/units"
)

var update = flag.Bool("update", false, "write the golden files anew")

func words(t testing.TB, language string, system units.System) *Words {
	t.Helper()
	w, err := NewWords(Reader{language, system})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// outlook makes one whose tomorrow is as given.
func outlook(name string, p float64, class forecast.Class, low, mid, high, min, max float64, from, to int, ageHours float64) forecast.Outlook {
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
		o.Work.Groups = append(o.Work.Groups, forecast.GroupWork{Group: id, Decision: forecast.Gather, GoAt: &at, Latest: &at, Why: "overflow", VolumeL: &forecast.Range{P10: 190, P50: 250, P90: 320}})
	}
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
		{"a long name", outlook("The Old Upper Meadow and Brookside Sugarbush of the Hill Family", 0.95, forecast.Run, 1100, 2300, 4900, -6, 7, 9, 21, 1), "en", units.US},
		{"French", outlook("Érablière du Ruisseau", 0.97, forecast.StrongRun, 310, 610, 1190, -6, 8, 9, 20, 2), "fr", units.Metric},
		{"French, unlikely", outlook("Érablière du Ruisseau", 0.12, forecast.Still, 0, 2, 60, -1, 12, 0, 0, 4), "fr", units.Metric},
	}
	var b strings.Builder
	for _, c := range cases {
		text := words(t, c.language, c.system).Evening(&c.o)
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
			rapid.Float64Range(0, 1e6).Draw(t, "low"), rapid.Float64Range(0, 1e7).Draw(t, "mid"), rapid.Float64Range(0, 1e8).Draw(t, "high"),
			rapid.Float64Range(-50, 30).Draw(t, "min"), rapid.Float64Range(-50, 45).Draw(t, "max"),
			rapid.IntRange(0, 23).Draw(t, "from"), rapid.IntRange(0, 24).Draw(t, "to"), rapid.Float64Range(0, 400).Draw(t, "age"))
		o.Source.Kept = rapid.Bool().Draw(t, "kept")
		o.Days = o.Days[:rapid.IntRange(0, 2).Draw(t, "days")]
		gatherAt(&o, rapid.IntRange(0, 23).Draw(t, "hour"), rapid.SliceOfN(rapid.String(), 0, 30).Draw(t, "groups")...)
		for i := range o.Work.Groups {
			g := &o.Work.Groups[i]
			g.Who = rapid.SliceOfN(rapid.String(), 0, 5).Draw(t, "who")
			g.Decision = rapid.SampledFrom([]forecast.Decision{forecast.Gather, forecast.TipOut, forecast.Leave}).Draw(t, "decision")
			*g.GoAt = g.GoAt.Add(time.Duration(rapid.IntRange(-24, 72).Draw(t, "later")) * time.Hour)
			g.HeldL.P50 = rapid.Float64Range(0, 1e5).Draw(t, "held")
		}
		for _, w := range readers {
			text := w.Evening(&o)
			n, ok := Septets(text)
			if !ok || n == 0 || n > SMSLimit || strings.TrimSpace(text) == "" {
				t.Fatalf("%d septets, in the alphabet %v: %q", n, ok, text)
			}
			if (o.Source.Kept || o.Source.AgeHours >= staleHours+1) && !saysAge.MatchString(text) {
				t.Fatalf("does not say how old its weather is: %q", text)
			}
			if due := len(o.Work.Due()); due > 0 && !strings.Contains(text, "Gather ") && !strings.Contains(text, "Ramasser ") {
				t.Fatalf("%d groups are to be gathered, and it does not say so: %q", due, text)
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
	if got := ToGSM7("Forêt « Boisé » – 5° çà"); got != "Foret \" Boisé \" - 5 cà" {
		t.Errorf("%q", got)
	}
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
	if text := w.Evening(&o); !strings.HasPrefix(text, "morgau la suko") || len(text) > SMSLimit {
		t.Errorf("%q", text)
	}
}
