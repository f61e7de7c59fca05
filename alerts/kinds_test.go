package alerts_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/alerts"
	"thawline/alerts/message"
)

// kindsInCode are the values of all constants of type Kind in this package.
func kindsInCode(t *testing.T) []alerts.Kind {
	t.Helper()
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var out []alerts.Kind
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		if file.Name.Name != "alerts" {
			continue // a test beside the package
		}
		ast.Inspect(file, func(n ast.Node) bool {
			spec, is := n.(*ast.ValueSpec)
			if !is {
				return true
			}
			if of, named := spec.Type.(*ast.Ident); !named || of.Name != "Kind" {
				return true
			}
			for _, v := range spec.Values {
				text, err := strconv.Unquote(v.(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, alerts.Kind(text))
			}
			return true
		})
	}
	return out
}

// catalogues are the texts of every language that comes with the program.
func catalogues(t *testing.T) map[string]message.Texts {
	t.Helper()
	out := map[string]message.Texts{}
	for _, language := range []string{"en", "fr"} {
		texts, err := message.Embedded(language)
		if err != nil {
			t.Fatal(err)
		}
		out[language] = texts
	}
	return out
}

// faults are what is missing of kinds in a table and in catalogues.
func faults(kinds []alerts.Kind, table []alerts.Profile, texts map[string]message.Texts) (out []string) {
	for _, k := range kinds {
		rows := slices.DeleteFunc(slices.Clone(table), func(p alerts.Profile) bool { return p.Kind != k })
		if len(rows) != 1 {
			out = append(out, fmt.Sprintf("%s: %d rows in Profiles (alerts/kinds.go), want one", k, len(rows)))
			continue
		}
		for _, fault := range rowFaults(&rows[0]) {
			out = append(out, string(k)+": "+fault)
		}
		for language, in := range texts {
			if in["kind_"+string(k)].Other == "" {
				out = append(out, fmt.Sprintf("%s: no name in %s: add kind_%s to alerts/message/words/pages.%s.toml", k, language, k,
					language))
			}
			for _, say := range rows[0].Says {
				if in[wordsKey(k, say)].Other == "" {
					out = append(out, fmt.Sprintf("%s: no words in %s: add %s to alerts/message/words/%s.toml", k, language,
						wordsKey(k, say), language))
				}
			}
		}
	}
	for i := range table {
		if !slices.Contains(kinds, table[i].Kind) {
			out = append(out, string(table[i].Kind)+": a row of no kind: its constant is gone")
		}
	}
	return out
}

func wordsKey(k alerts.Kind, say string) string {
	return strings.TrimSuffix("alert_"+string(k)+"_"+say, "_")
}

func rowFaults(p *alerts.Profile) (out []string) {
	must := func(good bool, fault string) {
		if !good {
			out = append(out, fault)
		}
	}
	must(slices.Contains([]alerts.Audience{alerts.Everybody, alerts.WhoGathers, alerts.WhoBringsOthers, alerts.Keepers,
		alerts.Addressed}, p.Audience), "no audience")
	must(slices.Contains([]alerts.Season{alerts.Anytime, alerts.InSeason, alerts.WhileSapRuns}, p.Season), "no season")
	must(slices.Contains([]alerts.Urgency{alerts.Low, alerts.Normal, alerts.High}, p.Urgency), "no urgency")
	must(slices.Contains([]alerts.InFeed{alerts.Published, alerts.Private}, p.InFeed), "neither in the feed nor out of it")
	must(slices.Contains([]alerts.Entry{alerts.RunEntry, alerts.RoundEntry, alerts.BoilEntry, alerts.NoEntry}, p.Entry),
		"neither in the calendar nor out of it")
	must(p.Says != nil, "no words")
	must(p.ByRole() || p.InFeed == alerts.Private, "what was said to one person is in the feed")
	must(!p.Warns() || p.InFeed == alerts.Published, "a warning that the feed does not have")
	if w := p.Warning; w != alerts.NoWarning { // values of OASIS CAP 1.2, section 3.2.2, from memory
		must(slices.Contains([]string{"Geo", "Met", "Safety", "Security", "Rescue", "Fire", "Health", "Env", "Transport", "Infra",
			"CBRNE", "Other"}, w.Category), "CAP has no category "+strconv.Quote(w.Category))
		must(slices.Contains([]string{"Immediate", "Expected", "Future", "Past", "Unknown"}, w.Urgency),
			"CAP has no urgency "+strconv.Quote(w.Urgency))
		must(slices.Contains([]string{"Extreme", "Severe", "Moderate", "Minor", "Unknown"}, w.Severity),
			"CAP has no severity "+strconv.Quote(w.Severity))
		must(slices.Contains([]string{"Observed", "Likely", "Possible", "Unlikely", "Unknown"}, w.Certainty),
			"CAP has no certainty "+strconv.Quote(w.Certainty))
	}
	return out
}

// Every kind in the code has a whole row, and its name and words in every language; no
// text of an alert is without a kind.
func TestEveryKindHasAWholeRow(t *testing.T) {
	kinds, texts := kindsInCode(t), catalogues(t)
	if len(kinds) < 15 {
		t.Fatalf("only %d kinds found in the code", len(kinds))
	}
	for _, fault := range faults(kinds, alerts.Profiles, texts) {
		t.Error(fault)
	}
	known := map[string]bool{}
	for i := range alerts.Profiles {
		for _, say := range alerts.Profiles[i].Says {
			known[wordsKey(alerts.Profiles[i].Kind, say)] = true
		}
	}
	for language, in := range texts {
		for key := range in {
			of := key
			for _, form := range []string{"_sure", "_today", "_already", "_now"} { // almost sure, of today, begun, or past its hour
				of = strings.TrimSuffix(of, form)
			}
			if strings.HasPrefix(key, "alert_") && !known[of] && !known[key] {
				t.Errorf("%s: %s is no alert's: name it in Says of a row of Profiles (alerts/kinds.go), or drop it", language, key)
			}
		}
	}
}

// A kind that lacks a row, a cell or a word in one language is found, each by itself.
func TestAKindWithoutACellIsFound(t *testing.T) {
	const made alerts.Kind = "made_up"
	whole := alerts.Profile{Kind: made, Audience: alerts.Keepers, Season: alerts.InSeason, Urgency: alerts.Normal,
		InFeed: alerts.Published, Entry: alerts.NoEntry, Warning: alerts.NoWarning, Says: []string{""}}
	words := func() map[string]message.Texts {
		said := message.Texts{"kind_made_up": {Other: "x"}, "alert_made_up": {Other: "x"}}
		return map[string]message.Texts{"en": said, "fr": {"kind_made_up": said["kind_made_up"], "alert_made_up": said["alert_made_up"]}}
	}
	if got := faults([]alerts.Kind{made}, []alerts.Profile{whole}, words()); len(got) > 0 {
		t.Errorf("a whole row has faults: %v", got)
	}
	if got := faults([]alerts.Kind{made}, nil, words()); len(got) != 1 {
		t.Errorf("a kind without a row: %v", got)
	}
	if got := faults([]alerts.Kind{made}, []alerts.Profile{whole, whole}, words()); len(got) != 1 {
		t.Errorf("a kind with two rows: %v", got)
	}
	for cell, change := range map[string]func(*alerts.Profile){
		"audience": func(p *alerts.Profile) { p.Audience = "" }, "season": func(p *alerts.Profile) { p.Season = "" },
		"urgency": func(p *alerts.Profile) { p.Urgency = "" }, "feed": func(p *alerts.Profile) { p.InFeed = "" },
		"calendar": func(p *alerts.Profile) { p.Entry = "" }, "warning": func(p *alerts.Profile) { p.Warning = alerts.Warning{} },
		"words": func(p *alerts.Profile) { p.Says = nil },
		"a category of its own": func(p *alerts.Profile) {
			p.Warning = alerts.Warning{Category: "Sap", Urgency: "Expected", Severity: "Minor", Certainty: "Likely"}
		},
		"one more way to say it": func(p *alerts.Profile) { p.Says = []string{"", "louder"} },
	} {
		row := whole
		change(&row)
		if got := faults([]alerts.Kind{made}, []alerts.Profile{row}, words()); len(got) == 0 {
			t.Errorf("%s is missing, and nothing is found", cell)
		}
	}
	for _, key := range []string{"kind_made_up", "alert_made_up"} {
		texts := words()
		delete(texts["fr"], key)
		if got := faults([]alerts.Kind{made}, []alerts.Profile{whole}, texts); len(got) != 1 {
			t.Errorf("French lacks %s: %v", key, got)
		}
	}
	if made.HeardBy("keeper") || made.Urgent() {
		t.Error("a kind without a row is told")
	}
}

// Who must not hear: answers and escalations go to nobody by role, viewers hear nothing
// of gathering, and only keepers hear of the machine.
func TestWhoDoesNotHear(t *testing.T) {
	for _, c := range []struct {
		kind alerts.Kind
		role string
		want bool
	}{
		{alerts.Evening, "viewer", true}, {alerts.Overflow, "viewer", false}, {alerts.Overflow, "crew", true},
		{alerts.NewRound, "viewer", false}, {alerts.NewRound, "crew", true}, {alerts.StaleFeed, "crew", false}, {alerts.StaleFeed, "keeper", true},
		{alerts.Learners, "crew", false}, {alerts.Learners, "viewer", true}, {alerts.DrySugar, "crew", false},
		{alerts.Reply, "keeper", false}, {alerts.Escalation, "keeper", false},
		{alerts.Evening, "stranger", false}, {alerts.Evening, "", false},
	} {
		if got := c.kind.HeardBy(c.role); got != c.want {
			t.Errorf("%s to a %q: %t, want %t", c.kind, c.role, got, c.want)
		}
	}
}
