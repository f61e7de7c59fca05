package main

import (
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"thawline/alerts/message"
)

// Everything that help says is said in French too.
func TestHelpInFrench(t *testing.T) {
	words, err := message.NewWords(message.Reader{Language: "fr"})
	if err != nil {
		t.Fatal(err)
	}
	say := func(at, text string) {
		text = strings.TrimSuffix(text, ".")
		if text != "" && words.Phrase(text) == text && words.Phrase(text+".") == text+"." {
			t.Errorf("%s: nobody says in French: %s", at, text)
		}
	}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		say(c.CommandPath(), c.Short)
		for p := range strings.SplitSeq(c.Long, "\n\n") {
			say(c.CommandPath(), p)
		}
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if f.Name != "help" && f.Name != "version" && !f.Hidden {
				say(c.CommandPath()+" --"+f.Name, f.Usage)
			}
		})
		for _, below := range c.Commands() {
			walk(below)
		}
	}
	walk(rootCommand())
}

// Help is grouped, and tells the options of every command once.
func TestHelp(t *testing.T) {
	out, err := run(t, nil, "--help")
	if err != nil || strings.Count(out, "--verbose") != 1 {
		t.Fatalf("%v\n%s", err, out)
	}
	at := -1
	for _, want := range []string{"Every day\n", "  forecast ", "Records\n", "  records ", "Setting up\n", "  init ", "Operating\n",
		"  serve ", "Options of every command:", "(default: $THAWLINE_CONFIG"} {
		found := strings.Index(out, want)
		if found < at {
			t.Errorf("%q stands too early in\n%s", want, out)
		}
		at = found
	}
	for _, args := range [][]string{{"rounds", "--help"}, {"help", "rounds"}} {
		out, err := run(t, nil, args...)
		if err != nil || strings.Contains(out, "log what it is doing") || !strings.Contains(out, "tomorrow 4pm") {
			t.Errorf("%v: %v\n%s", args, err, out)
		}
	}
	if strings.Contains(out, "Help about") || strings.Contains(out, "Generate") {
		t.Errorf("not in our words: %s", out)
	}
	if out, err = run(t, nil, "serve", "--help"); err != nil || !strings.Contains(out, "--work KINDS") {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, map[string]string{"LANG": "fr_CA.UTF-8"}, "records", "import", "--help"); err != nil ||
		!strings.Contains(out, "import FICHIER… [options]") {
		t.Errorf("%v\n%s", err, out)
	}
	out, err = run(t, map[string]string{"LANG": "fr_CA.UTF-8"}, "records", "undo", "--help")
	for _, english := range []string{"Undoes", "Options of", "Usage", "default", "show this help", "such as"} {
		if err != nil || strings.Contains(out, english) {
			t.Errorf("%v: %q in\n%s", err, english, out)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if len([]rune(line)) > 100 {
			t.Errorf("too wide: %s", line)
		}
	}
}

// A shell completes sites and groups from the settings.
func TestCompletion(t *testing.T) {
	config := written(t, "c.yaml", oneBush)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"records", "add", "--config", config, "--site", ""}, "hill"},
		{[]string{"records", "add", "--config", config, "--group", "s"}, "south"},
		{[]string{"records", "pull", "--config", config, ""}, "south"},
		{[]string{"access", "link", "--config", config, "--person", ""}, "robin"},
		{[]string{"rounds", "--units", "i"}, "imperial"},
	} {
		out, err := run(t, nil, append([]string{"__completeNoDesc"}, c.args...)...)
		if err != nil || !strings.HasPrefix(out, c.want+"\n") {
			t.Errorf("%v: %v\n%s", c.args, err, out)
		}
	}
	if out, _ := run(t, nil, "__completeNoDesc", "records", "add", "--config", config, "--group", "x"); strings.Contains(out, "south") {
		t.Errorf("what does not begin so is offered:\n%s", out)
	}
}
