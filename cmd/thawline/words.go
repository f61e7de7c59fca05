package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/inbound"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/cli"
)

func wordsCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "words", Short: "Word files, to add your own language"}
	language := ""
	export := &cobra.Command{
		Use:   "export",
		Short: "Writes a word file to start from: every text in English, with an empty line or --from's words",
		Example: "  thawline words export > es.toml\n" +
			"  thawline words export --from fr > fr-FR.toml",
		RunE: func(cmd *cobra.Command, _ []string) error { return exportWords(cmd.OutOrStdout(), language) },
	}
	export.Flags().StringVar(&language, "from", "", "fill in the words of `LANGUAGE` (en or fr)")
	check := &cobra.Command{
		Use:     "check FILE",
		Short:   "Says what is missing or wrong in a word file",
		Example: "  thawline words check es.toml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return cli.WrongUse("name one catalogue file, such as es.toml")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return checkWords(cmd.OutOrStdout(), g.JSON, args[0]) },
	}
	cmd.AddCommand(export, check)
	cmd.RunE = cli.NeedsMore("export or check?")
	return cmd
}

func exportWords(out io.Writer, from string) error {
	english, err := message.English()
	if err != nil {
		return err
	}
	filled := message.Texts{}
	if from != "" {
		if filled, err = message.Embedded(from); err != nil {
			return cli.WrongUse("--from " + from + ": write en or fr")
		}
	}
	var b strings.Builder
	b.WriteString("# Words of thawline. What stands in braces is filled in: keep it, in any order.\n# An empty text counts as missing; English stands in for it.\n")
	var plurals []string
	for _, key := range slices.Sorted(maps.Keys(english)) {
		if english[key].One != "" {
			plurals = append(plurals, key)
			continue
		}
		fmt.Fprintf(&b, "\n# %s\n%s = %s\n", english[key].Other, key, strconv.Quote(filled[key].Other))
	}
	for _, key := range plurals { // tables come last in TOML
		fmt.Fprintf(&b, "\n# %s / %s\n[%s]\none = %s\nother = %s\n", english[key].One, english[key].Other, key, strconv.Quote(filled[key].One), strconv.Quote(filled[key].Other))
	}
	return cli.Print(out, b.String())
}

// wordsFound is what was found in a catalogue.
type wordsFound struct {
	Language string            `json:"language"`
	Texts    int               `json:"texts"`
	Missing  map[string]string `json:"missing"` // key: the English text
	Wrong    []string          `json:"wrong"`
}

func checkWords(out io.Writer, asJSON bool, file string) error {
	english, err := message.English()
	if err != nil {
		return err
	}
	tag, texts, err := message.ReadTexts(file)
	if err != nil {
		return err
	}
	found := wordsFound{Language: tag, Texts: len(texts), Missing: map[string]string{}, Wrong: append([]string{}, texts.Check(english)...)}
	all, err := message.LoadCatalogue(file)
	if err != nil {
		return err
	}
	_, clashes := inbound.NewLexicon(inbound.Table, all)
	for _, c := range clashes {
		found.Wrong = append(found.Wrong, c.String())
	}
	lacking := texts.Lacking(english)
	for _, key := range lacking {
		found.Missing[key] = english[key].Other
	}
	if asJSON {
		err = cli.WriteJSON(out, found)
	} else {
		var b strings.Builder
		fmt.Fprintf(&b, "%s: language %s, %d of %d texts (%d %%)\n", file, tag, len(english)-len(lacking), len(english), 100*(len(english)-len(lacking))/len(english))
		for _, key := range lacking {
			fmt.Fprintf(&b, "  missing %s: %s\n", key, english[key].Other)
		}
		for _, w := range found.Wrong {
			fmt.Fprintf(&b, "  WRONG   %s\n", w)
		}
		err = cli.Print(out, b.String())
	}
	if err == nil && len(found.Wrong) > 0 {
		err = fmt.Errorf("%d texts of %s are wrong", len(found.Wrong), file)
	}
	return err
}
