package inbound

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

// Every row has its words in every language, and an answer where it is a text of its
// own.
func TestTheTableIsWhole(t *testing.T) {
	c, err := message.BuiltIn()
	if err != nil {
		t.Fatal(err)
	}
	english, err := message.English()
	if err != nil {
		t.Fatal(err)
	}
	for i := range Table {
		row := &Table[i]
		if row.Words != "" && len(c.InEach(row.Words)) != len(c.Languages()) {
			t.Errorf("%s has words in %v", row.Kind, c.InEach(row.Words))
		}
		if _, has := english[row.Answer]; row.Right != "" && !has {
			t.Errorf("%s: no answer %q", row.Kind, row.Answer)
		}
		if _, has := english["reply_unclear_"+string(row.Measure)]; row.Right != "" && row.Measure != "" && !has {
			t.Errorf("%s: nothing is asked back where %s is missing", row.Kind, row.Measure)
		}
		if row.Right == "" && (row.Answer != "" || row.Group) {
			t.Errorf("%s is a part of a text and is answered", row.Kind)
		}
	}
}

// No word means two things, in one language or in two.
func TestNoWordMeansTwoThings(t *testing.T) {
	if _, clashes := spoken(t, Table); len(clashes) > 0 {
		t.Error(clashes)
	}
}

func ownWords(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A community's words are added to those that came with the program; one that has a
// meaning already keeps it, and is told of.
func TestWordsOfACommunity(t *testing.T) {
	l, clashes := spoken(t, Table, ownWords(t, "es.toml",
		"word_stop = \"basta\"\nword_empty = \"Vacío, nada\"\nword_litre = \"litro, litros\""),
		ownWords(t, "fr.toml", "word_empty = \"sec\"\nword_stop = \"ok, fini\""))
	for text, want := range map[string]Kind{"basta": Stop, "north vacio": Collected, "10 litros north": Collected,
		"north sec": Collected, "north vide": Collected, "north rien": Collected, "ok": Seen, "fini": Stop, "stop": Stop, "arrêter": Stop} {
		if u := l.Understand(text, two, units.US); u.Kind != want || u.VolumeL > 10 {
			t.Errorf("%q: %+v, want %s", text, u, want)
		}
	}
	if len(clashes) != 1 || clashes[0].String() != `word_stop: "ok" has a meaning already (word_seen)` || clashes[0].Tag != "fr" {
		t.Errorf("%v", clashes)
	}
}

func TestWishes(t *testing.T) {
	l, _ := spoken(t, Table)
	day := func(d time.Weekday) *time.Weekday { return &d }
	for text, want := range map[string]Understood{
		"👍": {Kind: Seen}, "👍🏽": {Kind: Seen}, "👍🏿👍🏿": {Kind: Seen}, "👌🏻": {Kind: Seen}, "✔️": {Kind: Seen}, "👍 thanks": {Kind: Seen},
		"Thank you!": {Kind: Seen}, "ok merci": {Kind: Seen}, "thanks, got it": {Kind: Seen}, "D’accord.": {Kind: Seen},
		"C’est beau": {Kind: Seen},
		"Liked “South pails will run over: 95 gallons.”": {Kind: Seen}, "👍 to “North 40 gal 2.1”": {Kind: Seen},
		"A aimé « Vider North ce soir »": {Kind: Seen},
		"Y":                              {Kind: Yes}, "yes": {Kind: Yes}, "Oui merci": {Kind: Yes}, "o": {Kind: Yes}, "N": {Kind: No},
		"non": {Kind: No},
		"👎🏼":  {Kind: No}, "no thanks": {Kind: No},
		"STOP": {Kind: Stop}, "Arrêtez svp": {Kind: Stop}, "Start": {Kind: Start}, "REPRENDRE": {Kind: Start},
		"undo": {Kind: Undo}, "Annuler": {Kind: Undo}, "tomorrow?": {Kind: Tomorrow}, "Demain ?": {Kind: Tomorrow},
		"where?": {Kind: Where}, "Où?": {Kind: Where}, "HELP": {Kind: Help}, "aide": {Kind: Help},
		"pause 5 days": {Kind: Pause, Value: 5}, "5 days pause": {Kind: Pause, Value: 5}, "pause 5 jours": {Kind: Pause, Value: 5},
		"5 jours de pause": {Kind: Pause, Value: 5}, "Pause 5": {Kind: Pause, Value: 5}, "pause for 5d": {Kind: Pause, Value: 5},
		"pause 2 weeks": {Kind: Pause, Value: 14}, "pause pendant 2 semaines": {Kind: Pause, Value: 14},
		"pause -3 days": {Kind: Pause, Value: -3}, "pause −3 days": {Kind: Pause, Value: -3},
		"pause 4000 days": {Kind: Pause, Value: 4000}, "pause 1,5 jours": {Kind: Pause, Value: 1.5},
		"pause until Friday": {Kind: Pause, Until: day(time.Friday)}, "until Fri pause": {Kind: Pause, Until: day(time.Friday)},
		"pause jusqu’à vendredi": {Kind: Pause, Until: day(time.Friday)}, "Pause jusqu'au dim.": {Kind: Pause, Until: day(time.Sunday)},
		"pause": {Kind: Question, Unclear: "days"}, "pause five days": {Kind: Question, Unclear: "days"},
		"pause until 5": {Kind: Question, Unclear: "days"}, "pause 5 gal": {Kind: Question, Unclear: "days"},
		"pause 5 6": {Kind: Question, Unclear: "days"}, "pause 5 days until friday": {Kind: Question, Unclear: "days"},
		"5": {Kind: Question, Unclear: "group"}, "5 days": {Kind: Question, Unclear: "group", Word: "5"},
		"friday": {Kind: Question, Unclear: "group", Word: "friday"}, "ok 5": {Kind: Question, Unclear: "group", Word: "ok"},
		"where tomorrow": {Kind: Question, Unclear: "group", Word: "where"},
		"north pulled":   {Kind: Pulled, Group: "north"}, "Pulled north.": {Kind: Pulled, Group: "north"},
		"north taps are pulled": {Kind: Pulled, Group: "north"}, "Brook désentaillé": {Kind: Pulled, Group: "brook"},
		"désentaillées, brook": {Kind: Pulled, Group: "brook"}, "brook entailles enlevées": {Kind: Pulled, Group: "brook"},
		"Brook: chalumeaux sortis": {Kind: Pulled, Group: "brook"}, "on a fini de désentailler": {Kind: Pulled},
		"les entailles sont enlevées partout": {Kind: Pulled, All: true}, "désentaillage terminé": {Kind: Pulled},
		"brook chalumeaux posés": {Kind: Tapped, Group: "brook"}, "j'ai entaillé brook": {Kind: Tapped, Group: "brook"},
		"entaillage fini": {Kind: Tapped},
		"pulled":          {Kind: Pulled}, "Désentaillé": {Kind: Pulled}, "all pulled": {Kind: Pulled, All: true},
		"everything is pulled": {Kind: Pulled, All: true}, "Tout est désentaillé!": {Kind: Pulled, All: true},
		"taps out all": {Kind: Pulled, All: true}, "ok all pulled": {Kind: Pulled, All: true},
		"north tapped": {Kind: Tapped, Group: "north"}, "tapped again north": {Kind: Tapped, Group: "north"}, "tapped": {Kind: Tapped},
		"brook entaillé de nouveau": {Kind: Tapped, Group: "brook"}, "all tapped": {Kind: Tapped, All: true},
		"north 40 pulled":                    {Kind: Question, Unclear: "words", Group: "north", Word: "pulled"},
		"north pulled tapped":                {Kind: Question, Unclear: "words", Group: "north", Word: "pulled"},
		"all north pulled":                   {Kind: Question, Unclear: "words", Group: "north", Word: "all"},
		"Liked “North: the taps are pulled”": {Kind: Seen}, "A aimé « North désentaillé »": {Kind: Seen},
		"stop all": {Kind: Question, Unclear: "group", Word: "stop"}, "all": {Kind: Question, Unclear: "group", Word: "all"},
		"pulled 5":       {Kind: Question, Unclear: "group", Word: "pulled"},
		"stop north":     {Kind: Question, Unclear: "words", Group: "north", Word: "stop"},
		"tomorrow north": {Kind: Question, Unclear: "words", Group: "north", Word: "tomorrow"},
		"please":         {Kind: Question, Unclear: "group"}, "nroth 40": {Kind: Question, Unclear: "group", Word: "nroth"},
		"north 40 brook 30": {Kind: Question, Unclear: "words", Group: "north", Word: "brook"},
		"north -40":         {Kind: Question, Unclear: "words", Group: "north", Word: "-40"},
	} {
		for _, system := range []units.System{units.US, units.Imperial, units.Metric} {
			got := l.Understand(text, two, system)
			alike := got.Kind == want.Kind && got.Value == want.Value && got.Unclear == want.Unclear && got.Group == want.Group &&
				got.Word == want.Word && got.All == want.All && (got.Until == nil) == (want.Until == nil)
			if !alike || want.Until != nil && *got.Until != *want.Until {
				t.Errorf("%q (%s): %+v, want %+v", text, system, got, want)
			}
		}
	}
}

// Names that are words: what they are beside is a record, what is alone is the word.
func TestGroupsCalledLikeWords(t *testing.T) {
	l, _ := spoken(t, Table)
	groups := []Group{{"pause", "Pause"}, {"n2", "North 2"}, {"ok", "OK"}, {"l", "L"}, {"7", "Full moon"}, {"n", "Glace"}}
	for text, want := range map[string]Understood{
		"Pause 5 L": {Kind: Collected, Group: "pause", VolumeL: 5}, "5 L pause": {Kind: Collected, Group: "pause", VolumeL: 5},
		"pause 5":      {Kind: Collected, Group: "pause", VolumeL: 5},
		"pause 5 days": {Kind: Pause, Value: 5}, "5 jours pause": {Kind: Pause, Value: 5}, "pause empty": {Kind: Collected, Group: "pause"},
		"North 2 5 L": {Kind: Collected, Group: "n2", VolumeL: 5}, "5 L north 2": {Kind: Collected, Group: "n2", VolumeL: 5},
		"north 2: 180": {Kind: Collected, Group: "n2", VolumeL: 180}, "north 2, 180": {Kind: Collected, Group: "n2", VolumeL: 180},
		"north 2,180": {Kind: Question, Unclear: "group"}, "north 2 L": {Kind: Question, Unclear: "group"},
		"north 2": {Kind: Question, Unclear: "volume", Group: "n2"},
		"ok":      {Kind: Seen}, "ok 40 L": {Kind: Collected, Group: "ok", VolumeL: 40}, "n": {Kind: No},
		"n 40": {Kind: Collected, Group: "n", VolumeL: 40},
		"40 L": {Kind: Question, Unclear: "group"}, "l 40": {Kind: Collected, Group: "l", VolumeL: 40},
		"L 40 L":       {Kind: Collected, Group: "l", VolumeL: 40},
		"40 full moon": {Kind: Collected, Group: "7", VolumeL: 40}, "40 full": {Kind: Question, Unclear: "group"},
		"40 7": {Kind: Question, Unclear: "group"}, "7 40": {Kind: Collected, Group: "7", VolumeL: 40},
		"40 glace": {Kind: Question, Unclear: "group"}, "glace 40": {Kind: Collected, Group: "n", VolumeL: 40},
	} {
		got := l.Understand(text, groups, units.Metric)
		if got.Kind != want.Kind || got.Group != want.Group || got.Unclear != want.Unclear || got.Kind == Collected &&
			got.VolumeL != want.VolumeL || got.Value != want.Value {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
	if u := l.Understand("Est désentaillé", []Group{{"e", "Est"}, {"o", "Ouest"}}, units.Metric); u.Kind != Pulled || u.Group != "e" {
		t.Errorf("of the east: %+v", u)
	}
	// A volume belongs to no group that a part of it would make up.
	alike := []Group{{"r", "Ridge"}, {"r2", "Ridge 2"}}
	for text, want := range map[string]Understood{"ridge 2 L": {Group: "r", VolumeL: 2}, "2 L ridge": {Group: "r", VolumeL: 2},
		"ridge 2,5": {Group: "r", VolumeL: 2.5}, "ridge 2 5": {Group: "r2", VolumeL: 5}, "5 ridge 2": {Group: "r2", VolumeL: 5}} {
		if got := l.Understand(text, alike, units.Metric); got.Kind != Collected || got.Group != want.Group || got.VolumeL != want.VolumeL {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
}

// A record says the same with its group first or last.
func TestEitherOrder(t *testing.T) {
	l, _ := spoken(t, Table)
	rng := rand.New(rand.NewPCG(17, 4))
	pick := func(of ...string) string { return of[rng.IntN(len(of))] }
	groups := []Group{{"north", "North slope"}, {"brook", "Along the brook"}, {"n2", "North 2"}, {"haut", "Chaudières du haut"},
		{"pause", "Pause"}, {"bas", "D'en bas"}}
	one := groups[:1]
	for range 4000 {
		g := groups[rng.IntN(len(groups))]
		name := pick(g.ID, g.Name, strings.ToUpper(g.Name))
		parts := []string{pick("0", "5", "12,5", "40", "180", "1200", "7.25", "1\u00a0200") + pick("", " ", "  ") +
			pick("", "L", "litres", "gal", "US gal", "imp gal", "gallons impériaux")}
		if rng.IntN(2) == 0 {
			parts = append(parts, pick("", "à ", "at ")+pick("2", "2.1", "3,4", "14")+pick("", "%", " %", " brix"))
		}
		for range rng.IntN(3) {
			parts = append(parts, pick("full", "pleines", "ice", "gelé", "not checked", "pas vérifiées"))
		}
		if rng.IntN(20) == 0 {
			parts = []string{pick("empty", "rien", "not checked")}
		}
		said, parting := strings.Join(parts, pick(" ", ", ")), pick(" ", ": ", ", ", " - ")
		system := []units.System{units.US, units.Imperial, units.Metric}[rng.IntN(3)]
		first, last := l.Understand(name+parting+said, groups, system), l.Understand(said+" "+name, groups, system)
		if first.Kind != last.Kind || first.Group != last.Group || first.VolumeL != last.VolumeL || first.BrixPct != last.BrixPct ||
			first.Note != last.Note || first.Unclear != last.Unclear {
			t.Fatalf("%q: %+v\n%q: %+v", name+parting+said, first, said+" "+name, last)
		}
		if first.Kind == Collected && first.Group != g.ID {
			t.Fatalf("%q: %+v", name+parting+said, first)
		}
		if alone := l.Understand(said, one, system); first.Kind == Collected &&
			(alone.VolumeL != first.VolumeL || alone.BrixPct != first.BrixPct || alone.Note != first.Note) {
			t.Fatalf("%q: %+v, want %+v", said, alone, first)
		}
		if u := l.Understand(said, groups, system); u.Kind == Collected { // without a group it is asked back
			t.Fatalf("%q: %+v", said, u)
		}
	}
}

// What says that somebody has seen a message, and any other wish, is never a record,
// whatever groups are called and however many there are.
func TestWishesAreNoRecords(t *testing.T) {
	l, _ := spoken(t, Table)
	c, err := message.BuiltIn()
	if err != nil {
		t.Fatal(err)
	}
	for _, groups := range [][]Group{two, two[:1], {{"ok", "OK"}}, {{"merci", "Merci"}, {"n", "Yes"}}} {
		for i := range Table {
			row := &Table[i]
			if row.Right == "" || row.Words == "" {
				continue
			}
			for _, in := range c.InEach(row.Words) {
				for _, word := range strings.Split(in.Text, ",") {
					texts := []string{word, strings.ToUpper(word) + "!", word + " " + word, word + " 👍🏾"}
					if row.Alone { // nothing goes with them
						texts = texts[:2]
					}
					for _, text := range texts {
						u := l.Understand(text, groups, units.US)
						if u.Kind != row.Kind && u.Unclear != string(row.Measure) || u.Kind == Collected {
							t.Errorf("%q: %+v, want %s", text, u, row.Kind)
						}
					}
				}
			}
		}
	}
}

// What is to be understood beside: one row, and its words.
func TestOneMoreRow(t *testing.T) {
	table := slices.Concat(Table, []Row{
		{Kind: "low", Words: "word_stop", Measure: Temperature, Right: Anybody, Answer: "reply_stop"},
		{Kind: "pulled", Words: "word_start", Group: true, Right: WriteRecords, Answer: "reply_start"},
	})
	table = slices.DeleteFunc(table, func(r Row) bool { return r.Kind == Stop || r.Kind == Start })
	l, _ := spoken(t, table)
	for text, want := range map[string]Understood{
		"stop 24": {Kind: "low", Value: -40 / 9.}, "24F stop": {Kind: "low", Value: -40 / 9.}, "stop -4 °C": {Kind: "low", Value: -4},
		"arrêt -4c": {Kind: "low", Value: -4},
		"stop":      {Kind: Question, Unclear: "temperature"}, "stop 24 gal": {Kind: Question, Unclear: "temperature"},
		"start north": {Kind: "pulled", Group: "north"}, "Along the brook start": {Kind: "pulled", Group: "brook"},
		"start": {Kind: "pulled"}, "start north 40": {Kind: Question, Unclear: "words", Group: "north"},
	} {
		if got := l.Understand(text, two, units.US); got.Kind != want.Kind || math.Abs(got.Value-want.Value) > 1e-9 ||
			got.Group != want.Group || got.Unclear != want.Unclear {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
}

// What the ledger keeps tells what was understood.
func TestUnderstoodIsTold(t *testing.T) {
	l, _ := spoken(t, Table)
	for text, want := range map[string]string{"north 40 L": "collected north 40 L 0 % ", "ok": "seen", "pause 5 days": "pause 5 days",
		"pause until fri": "pause until Friday", "north": "question north 0 L 0 % volume"} {
		said := fmt.Sprint(l.Understand(text, two, units.Metric))
		if got := strings.Join(strings.Fields(said), " "); got != strings.TrimSpace(want) {
			t.Errorf("%q: %q, want %q", text, said, want)
		}
	}
}

// The tables of the guides have every kind of text, in words that are understood.
func TestGuidesTellTheWords(t *testing.T) {
	l, _ := spoken(t, Table)
	code := regexp.MustCompile("`([^`]+)`")
	for _, guide := range []string{"sugar-maker.md", "sucrier.md"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "guide", guide))
		if err != nil {
			t.Fatal(err)
		}
		told := map[Kind]bool{}
		for line := range strings.Lines(string(text)) {
			if !strings.HasPrefix(line, "| `") {
				continue
			}
			for _, m := range code.FindAllStringSubmatch(line, -1) {
				u := l.Understand(m[1], []Group{{"nord", "North"}, {"brook", "Brook"}}, units.Metric)
				told[u.Kind] = true
				if u.Kind == Question && len(l.Several(m[1], []Group{{"nord", "North"}, {"brook", "Brook"}}, units.Metric)) < 2 {
					t.Errorf("%s: %q is not understood: %+v", guide, m[1], u)
				}
			}
		}
		for i := range Table {
			if row := &Table[i]; row.Right != "" && !told[row.Kind] {
				t.Errorf("%s: nothing of %s", guide, row.Kind)
			}
		}
	}
}

// "I go" and "can't" with a day, a time and a group, as people write them in both languages;
// what only looks like it is asked back.
func TestWhoGoesAndWhoCant(t *testing.T) {
	l, clashes := spoken(t, Table)
	if len(clashes) > 0 {
		t.Error(clashes)
	}
	const none = -1
	friday := func(u Understood) bool { return u.Until != nil && *u.Until == time.Friday }
	for text, want := range map[string]struct {
		kind    Kind
		hour    float64
		ahead   int
		friday  bool
		group   string
		unclear string
	}{
		"I go": {Go, 0, none, false, "", ""}, "Go!": {Go, 0, none, false, "", ""}, "I’ll go, thanks": {Go, 0, none, false, "", ""},
		"yes I go": {Go, 0, none, false, "", ""}, "ok going": {Go, 0, none, false, "", ""},
		"J’y vais": {Go, 0, none, false, "", ""}, "oui j'y vais merci": {Go, 0, none, false, "", ""},
		"go north": {Go, 0, none, false, "north", ""}, "go north tomorrow 16h30": {Go, 16.5, 1, false, "north", ""},
		"north: I go": {Go, 0, none, false, "north", ""},
		"go 4 pm":     {Go, 16, none, false, "", ""}, "go at 4pm": {Go, 16, none, false, "", ""}, "go 4": {Go, 16, none, false, "", ""},
		"go 4:30 p.m.": {Go, 16.5, none, false, "", ""}, "go 7 am": {Go, 7, none, false, "", ""},
		"go 12 pm": {Go, 12, none, false, "", ""}, "go 12 am": {Go, 0, none, false, "", ""}, "4 pm go": {Go, 16, none, false, "", ""},
		"go 9:15": {Go, 9.25, none, false, "", ""}, "j'y vais à 16 h": {Go, 16, none, false, "", ""},
		"j'y vais 16h30": {Go, 16.5, none, false, "", ""}, "j'y vais vers 16 h 30 demain": {Go, 16.5, 1, false, "", ""},
		"go tomorrow 3 pm": {Go, 15, 1, false, "", ""}, "tomorrow 3 pm I go north": {Go, 15, 1, false, "north", ""},
		"go today": {Go, 0, 0, false, "", ""}, "go friday at 10": {Go, 10, none, true, "", ""},
		"can't": {Cannot, 0, none, false, "", ""}, "I can’t": {Cannot, 0, none, false, "", ""},
		"cant go": {Cannot, 0, none, false, "", ""}, "no, I can't": {Cannot, 0, none, false, "", ""},
		"peux pas": {Cannot, 0, none, false, "", ""}, "je ne peux pas y aller": {Cannot, 0, none, false, "", ""},
		"j'y vais pas":   {Cannot, 0, none, false, "", ""},
		"can't tomorrow": {Cannot, 0, 1, false, "", ""}, "tomorrow I can't": {Cannot, 0, 1, false, "", ""},
		"peux pas demain": {Cannot, 0, 1, false, "", ""}, "can't on Friday": {Cannot, 0, none, true, "", ""},
		"je peux pas vendredi": {Cannot, 0, none, true, "", ""}, "can't today": {Cannot, 0, 0, false, "", ""},
		"peux pas aujourd’hui": {Cannot, 0, 0, false, "", ""},
		"go 4 gal":             {Question, 0, none, false, "", "clock"}, "go 25": {Question, 25, none, false, "", "clock"},
		"go 4 5": {Question, 0, none, false, "", "clock"}, "can't tomorrow friday": {Question, 0, none, false, "", "clock"},
		"good to go": {Question, 0, none, false, "", "group"}, "go home": {Question, 0, none, false, "", "group"},
		"can't stop": {Question, 0, none, false, "", "group"}, "tomorrow": {Tomorrow, 0, none, false, "", ""},
		"no": {No, 0, none, false, "", ""}, "north 40 go": {Question, 0, none, false, "north", "clock"},
	} {
		for _, system := range []units.System{units.US, units.Metric} {
			u := l.Understand(text, two, system)
			ahead := none
			if u.Ahead != nil {
				ahead = *u.Ahead
			}
			if u.Kind != want.kind || u.Unclear != want.unclear || want.kind != Question &&
				(u.Value != want.hour || ahead != want.ahead || friday(u) != want.friday || u.Group != want.group) {
				t.Errorf("%q: %+v, want %+v", text, u, want)
			}
		}
	}
}
