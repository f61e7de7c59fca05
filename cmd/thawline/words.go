package main

import (
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
	"golang.org/x/text/language"

	"thawline/alerts/inbound"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/cli"
)

func wordsCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "words", Short: "Word files, to add your own language"}
	from, sheet := "", false
	export := &cobra.Command{
		Use:   "export",
		Short: "Writes a word file to start from: every text in English, with an empty line or --from's words",
		Example: "  thawline words export > es.toml\n" +
			"  thawline words export --from fr > fr-FR.toml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if sheet {
				return exportSheet(cmd.OutOrStdout(), from)
			}
			return exportWords(cmd.OutOrStdout(), from)
		},
	}
	export.Flags().BoolVar(&sheet, "sheet", false,
		"write a sheet of two columns (CSV), with where each text is said, its room and an example; the first forty texts make a language usable")
	export.Flags().StringVar(&from, "from", "", "fill in the words of `LANGUAGE` (en, fr or a file)")
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
	load := &cobra.Command{
		Use:     "import SHEET FILE",
		Short:   "Makes a catalogue of a sheet that somebody has filled in; texts that the file has already and the sheet has not stay",
		Example: "  thawline words import words.csv oj.toml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return cli.WrongUse("name the sheet and the file to make, such as words.csv oj.toml")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return importSheet(cmd.OutOrStdout(), args[0], args[1]) },
	}
	cmd.AddCommand(export, load, check, recordListCommand(g))
	cmd.RunE = cli.NeedsMore("export, import, check or record-list?")
	return cmd
}

func exportWords(out io.Writer, from string) error {
	english, err := message.English()
	if err != nil {
		return err
	}
	filled, err := textsFrom(from)
	if err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString("# Words of thawline. What stands in braces is filled in: keep it, in any order.\n# An empty text counts as missing; a whole sentence of the second language stands in for it.\n")
	var plurals []string
	for _, key := range slices.Sorted(maps.Keys(english)) {
		if english[key].One != "" {
			plurals = append(plurals, key)
			continue
		}
		fmt.Fprintf(&b, "\n# %s\n%s = %s\n", english[key].Other, key, strconv.Quote(filled[key].Other))
	}
	for _, key := range plurals { // tables come last in TOML
		fmt.Fprintf(&b, "\n# %s / %s\n[%s]\none = %s\nother = %s\n", english[key].One, english[key].Other, key,
			strconv.Quote(filled[key].One), strconv.Quote(filled[key].Other))
	}
	return cli.Print(out, b.String())
}

// textsFrom are the texts of a language that came with the program, or of a file; none for
// "".
func textsFrom(from string) (message.Texts, error) {
	if from == "" {
		return message.Texts{}, nil
	}
	if strings.HasSuffix(from, ".toml") {
		_, texts, err := message.ReadTexts(from)
		return texts, err
	}
	texts, err := message.Embedded(from)
	if err != nil {
		return nil, cli.WrongUse("--from " + from + ": write en or fr, or name a file")
	}
	return texts, nil
}

func exportSheet(out io.Writer, from string) error {
	english, err := message.English()
	if err != nil {
		return err
	}
	filled, err := textsFrom(from)
	if err != nil {
		return err
	}
	return message.WriteSheet(out, english, filled, 0)
}

// importSheet makes a catalogue file of a sheet. What is wrong is told by rows, and nothing
// is written then.
func importSheet(out io.Writer, sheet, file string) error {
	english, err := message.English()
	if err != nil {
		return err
	}
	if _, err := language.Parse(strings.TrimSuffix(filepath.Base(file), ".toml")); err != nil || !strings.HasSuffix(file, ".toml") {
		return cli.WrongUse(file + ": name the file by the tag of its language, such as oj.toml")
	}
	in, err := os.Open(sheet)
	if err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	defer in.Close()
	texts, err := message.ReadSheet(in, english)
	if err != nil {
		return fmt.Errorf("%s: nothing was written:\n%w", sheet, err)
	}
	all := message.Texts{}
	if _, before, err := message.ReadTexts(file); err == nil {
		all = before
	} else if _, gone := os.Stat(file); gone == nil {
		return err // somebody's work is never written over
	}
	maps.Copy(all, texts)
	if err := renameio.WriteFile(file, []byte(message.WriteTexts(all)), 0o644); err != nil {
		return fmt.Errorf("words: %w", err)
	}
	var b strings.Builder
	missing := 0
	for _, key := range message.FirstForty {
		if _, has := all[key]; !has {
			missing++
		}
	}
	fmt.Fprintf(&b, "%s: %d texts from the sheet, %d in all; %d of the first forty are missing\n", file, len(texts), len(all), missing)
	for _, key := range all.TooLong() {
		fmt.Fprintf(&b, "  LONG    %s: longer than there is room for; it may be cut\n", key)
	}
	return cli.Print(out, b.String())
}

// wordsFound is what was found in a catalogue.
type wordsFound struct {
	Language string            `json:"language"`
	Texts    int               `json:"texts"`
	Missing  map[string]string `json:"missing"` // key: the English text
	Wrong    []string          `json:"wrong"`
	Long     []string          `json:"long"`  // keys of texts that have more characters than there is room for
	Forty    int               `json:"forty"` // how many it has of the first forty
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
	found.Long = append([]string{}, texts.TooLong()...)
	for _, key := range message.FirstForty {
		if _, has := texts[key]; has {
			found.Forty++
		}
	}
	lacking := texts.Lacking(english)
	for _, key := range lacking {
		found.Missing[key] = english[key].Other
	}
	if asJSON {
		err = cli.WriteJSON(out, found)
	} else {
		var b strings.Builder
		fmt.Fprintf(&b, "%s: language %s, %d of %d texts (%d %%)\n", file, tag, len(english)-len(lacking), len(english),
			100*(len(english)-len(lacking))/len(english))
		fmt.Fprintf(&b, "  %d of the first forty, with which it is of use\n", found.Forty)
		for _, key := range found.Long {
			fmt.Fprintf(&b, "  LONG    %s: longer than there is room for; it may be cut\n", key)
		}
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
