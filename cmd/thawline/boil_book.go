package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/inbound"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/intake"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// inBook opens the records of the bush that is chosen, with the words of the settings.
func inBook(cmd *cobra.Command, g *cli.Globals, bush *cli.SiteFlag,
	run func(*config.Config, *archive.Archive, *forecast.Site, *message.Words) error) error {
	return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		site, err := bush.Choose(c)
		if err != nil {
			return err
		}
		words, err := app.Words(c)
		if err != nil {
			return err
		}
		return run(c, a, site, words)
	})
}

// boilNoteCommand writes a line in the sugarhouse's book, in the words of a text.
func boilNoteCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	when := ""
	cmd := &cobra.Command{
		Use: "note WORDS…", Short: "Records a boil, or what is left in the sugarhouse, in the words of a text",
		Example: "  thawline boil note boiled 220 L 5.1 L syrup\n  thawline boil note wood 0.4 cord",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return inBook(cmd, g, &bush, func(c *config.Config, a *archive.Archive, site *forecast.Site, words *message.Words) (err error) {
				said, err := understood(c, strings.Join(args, " "))
				if err != nil {
					return err
				}
				if when != "" {
					if said.At, _, err = cli.When("--when", when, g.Clock(), site.Zone, false); err != nil {
						return err
					}
				}
				return noteHouse(cmd, g, a, words, site, *said)
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().StringVar(&when, "when", "", "`WHEN`: yesterday 8:30 pm, Mar 20, 2026-03-20 20:30 (default: now)")
	return cmd
}

// understood reads the words of a text that speaks of the sugarhouse.
func understood(c *config.Config, text string) (*records.HouseEntry, error) {
	catalogue, err := message.LoadCatalogue(c.Words...)
	if err != nil {
		return nil, err
	}
	lexicon, _ := inbound.NewLexicon(inbound.Table, catalogue)
	said := lexicon.Understand(text, []inbound.Group{{}, {}}, c.Units)
	if said.House == nil {
		return nil, cli.WrongUse(text + ": not understood; write it like \"boiled 220 L 5.1 L syrup\", \"sap 120 L\", \"wood 0.4 cord\" or \"tipped out 40 L\"")
	}
	return said.House, nil
}

func noteHouse(cmd *cobra.Command, g *cli.Globals, a *archive.Archive, words *message.Words, site *forecast.Site,
	e records.HouseEntry) error {
	noted, err := intake.Service{Archive: a}.NoteHouse(cmd.Context(), site, cli.Writer(), e, "", g.Clock())
	if said, known := intake.SayHouseFault(words, err); known {
		return cli.WrongUse(said)
	}
	if err != nil {
		return err
	}
	if g.JSON {
		return cli.WriteJSON(cmd.OutOrStdout(),
			map[string]any{"id": noted.ID, "site": site.ID, "kind": noted.Kind, "at": noted.At, "outcome": noted.Outcome})
	}
	return cli.Print(cmd.OutOrStdout(), noted.Say(words)+"\n")
}

// boilImportCommand reads a book of another place.
func boilImportCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "import FILE", Short: "Reads the sugarhouse's book from a file (CSV); the same lines twice count once",
		Example: "  thawline boil import book-2026.csv",
		Args:    cli.OneArgument("one file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				file, err := os.Open(args[0])
				if err != nil {
					return fmt.Errorf("the book can't be read: %w", err)
				}
				defer func() { _ = file.Close() }()
				book, err := records.ReadHouse(file, args[0], site.Zone, g.Clock())
				if err != nil {
					return err
				}
				added := 0
				for i := range book {
					noted, err := intake.Service{Archive: a}.NoteHouse(cmd.Context(), site, cli.Writer(), book[i], "", g.Clock())
					if err != nil {
						return err
					}
					if noted.Outcome == archive.Added {
						added++
					}
				}
				words, err := app.Words(c)
				if err != nil {
					return err
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), map[string]any{"site": site.ID, "added": added, "same": len(book) - added})
				}
				return cli.Print(cmd.OutOrStdout(),
					words.Say("house_imported", map[string]any{"Added": added, "Same": len(book) - added})+"\n")
			})
		},
	}
	bush.Register(cmd)
	return cmd
}

// boilBookCommand writes the book of this winter.
func boilBookCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "book", Short: "Writes this winter's book of the sugarhouse as CSV", Example: "  thawline boil book >book-2026.csv",
		Args: cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				stored, err := intake.Service{Archive: a}.HouseBook(cmd.Context(), site, g.Clock())
				if err != nil {
					return err
				}
				book := []records.HouseEntry{}
				for i := range stored {
					book = append(book, stored[i].HouseEntry)
				}
				return records.WriteHouse(cmd.OutOrStdout(), book, site.Zone)
			})
		},
	}
	bush.Register(cmd)
	return cmd
}
