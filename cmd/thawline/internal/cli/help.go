package cli

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/config"
)

// Groups of commands, in the order in which help shows them.
const (
	EveryDay  = "every day"
	Records   = "records"
	SettingUp = "setting up"
	Operating = "operating"
)

// Words are those of the settings, or, where these can't be read, of the command line and
// of whoever works there: for help and for errors.
func (g *Globals) Words() *message.Words {
	c, err := g.Settings()
	if err != nil {
		c = &config.Config{Language: "en", Languages: []string{"en", "fr"}}
		_ = g.Override(c) // a language that there is not is an error of its own
	}
	words, err := app.Words(c)
	if err != nil {
		words, _ = message.NewWords(message.Reader{Language: "en"})
	}
	return words
}

// Help prints what a command does, in the reader's language. The options of every command
// are told once, by the program itself.
func (g *Globals) Help(cmd *cobra.Command) string {
	_ = g.Check() // finds the settings; what is wrong with them is no reason not to help
	words := g.Words()
	var b strings.Builder
	b.WriteString(wrapped(sentence(words, cmd.Short), "") + "\n")
	for paragraph := range strings.SplitSeq(cmd.Long, "\n\n") {
		if paragraph != "" && strings.TrimSuffix(paragraph, ".") != cmd.Short {
			b.WriteString("\n" + wrapped(words.Phrase(paragraph), "") + "\n")
		}
	}
	fmt.Fprintf(&b, "\n%s\n  %s\n", words.Phrase("Usage:"), usageLine(words, cmd))
	if cmd.Example != "" {
		fmt.Fprintf(&b, "\n%s\n%s\n", words.Phrase("Examples:"), cmd.Example)
	}
	commands(&b, words, cmd)
	own := cmd.LocalNonPersistentFlags()
	if cmd.HasParent() {
		fmt.Fprintf(&b, "\n%s\n%s", words.Phrase("Options:"), options(words, own))
		fmt.Fprintf(&b, "\n%s\n", wrapped(
			words.Phrase("Also --config, --json, --now, --units, --lang, --log and --verbose: see thawline --help."), ""))
	} else {
		fmt.Fprintf(&b, "\n%s\n%s", words.Phrase("Options of every command:"), options(words, own, cmd.PersistentFlags()))
		fmt.Fprintf(&b, "\n%s\n", words.Phrase("thawline COMMAND --help says more about a command."))
	}
	return b.String()
}

// sentence ends with a point.
func sentence(w *message.Words, text string) string {
	return strings.TrimSuffix(w.Phrase(text), ".") + "."
}

func usageLine(w *message.Words, cmd *cobra.Command) string {
	line := cmd.CommandPath()
	if _, args, found := strings.Cut(cmd.Use, " "); found {
		line += " " + w.Phrase(args)
	}
	if cmd.HasAvailableSubCommands() {
		line += " " + w.Phrase("COMMAND")
	}
	return line + " " + w.Phrase("[options]")
}

// inOurWords are the short words of commands that come with the library of commands.
var inOurWords = map[string]string{
	"Generate the autocompletion script for the specified shell": "Writes the script that completes commands in your shell",
	"Help about any command":                                     "Helps with a command",
}

// commands lists what comes after a command, by groups where there are any.
func commands(b *strings.Builder, w *message.Words, cmd *cobra.Command) {
	list := func(title, group string) {
		first := true
		for _, c := range cmd.Commands() {
			if c.GroupID != group || !c.IsAvailableCommand() && c.Name() != "help" {
				continue
			}
			if first {
				b.WriteString("\n" + w.Phrase(title) + "\n")
				first = false
			}
			short := c.Short
			if ours, has := inOurWords[short]; has {
				short = ours
			}
			b.WriteString("  " + Pad(c.Name(), 12) + " " + wrapped(w.Phrase(short), strings.Repeat(" ", 15)) + "\n")
		}
	}
	for _, g := range cmd.Groups() {
		list(g.Title, g.ID)
	}
	list("Commands:", "")
}

// options are flags in the order of their names, with what they do in the reader's words.
func options(w *message.Words, sets ...*pflag.FlagSet) string {
	var lines [][2]string
	wide := 0
	for _, set := range sets {
		set.VisitAll(func(f *pflag.Flag) {
			if f.Hidden {
				return
			}
			said := *f
			said.Usage = w.Phrase(map[string]string{"help": "show this help", "version": "show the version"}[f.Name])
			if said.Usage == "" {
				said.Usage = w.Phrase(f.Usage)
			}
			name, what := pflag.UnquoteUsage(&said)
			left := "      --" + f.Name
			if f.Shorthand != "" {
				left = "  -" + f.Shorthand + ", --" + f.Name
			}
			left = strings.TrimRight(left+" "+name, " ")
			if usual := strings.Trim(f.DefValue, "[]"); usual != "" && usual != "false" && usual != "0" && usual != "NaN" {
				what += " " + w.Phrase("(default ") + usual + ")"
			}
			lines = append(lines, [2]string{left, what})
			wide = max(wide, utf8.RuneCountInString(left))
		})
	}
	slices.SortStableFunc(lines, func(a, b [2]string) int { return strings.Compare(nameOf(a[0]), nameOf(b[0])) })
	var b strings.Builder
	for _, l := range lines {
		b.WriteString(Pad(l[0], wide) + "   " + wrapped(l[1], strings.Repeat(" ", wide+3)) + "\n")
	}
	return b.String()
}

func nameOf(option string) string {
	_, name, _ := strings.Cut(option, "--")
	return name
}

// columns is how wide help is.
func columns() int {
	if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil && width > 40 {
		return min(width, 100)
	}
	return 100
}

// wrapped breaks a text at spaces; lines after the first begin with an indent.
func wrapped(text, indent string) string {
	var b strings.Builder
	at := len(indent)
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i > 0 && at+1+n > columns():
			b.WriteString("\n" + indent)
			at = len(indent)
		case i > 0:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	return b.String()
}
