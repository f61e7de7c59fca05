package main

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/inbound"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/intake"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// recordsNoteCommand writes down what was seen in the bush, in the words of a text.
func recordsNoteCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	when, sure := "", false
	cmd := &cobra.Command{
		Use: "note WORDS…", Short: "Records a low or high of your thermometer, how full pails are, whether it drips, how sap tastes, open buds or a sign of spring, in the words of a text",
		Example: "  thawline records note low 24 F\n  thawline records note no drip --when \"2026-03-20 12:00\"\n  thawline records note sign frogs",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				now := g.Clock().In(site.Zone)
				if when != "" {
					if now, _, err = cli.When("--when", when, g.Clock(), site.Zone, false); err != nil {
						return err
					}
				}
				catalogue, err := message.LoadCatalogue(c.Words...)
				if err != nil {
					return err
				}
				lexicon, _ := inbound.NewLexicon(inbound.Table, catalogue)
				groups := []inbound.Group{}
				for i := range site.Groups {
					groups = append(groups, inbound.Group{ID: site.Groups[i].ID, Name: site.Groups[i].Name})
				}
				text := strings.Join(args, " ")
				said := lexicon.Understand(text, groups, c.Units)
				if said.Seen == nil {
					return cli.WrongUse(text +
						": not understood; write it like \"low 24 F\", \"high 41 F\", \"drips\", \"no drip\", \"tastes sweet\", \"tastes off\", \"buds are open\" or \"sign frogs\"")
				}
				list := daemon.SeenAt(said.Seen, said.Ahead, said.Until, said.Clock, now)
				for i := range list {
					if list[i].At.IsZero() {
						list[i].At = now
					}
				}
				return noteSeen(cmd, g, c, a, intake.Seen{Site: site, List: list, From: cli.Writer(), Sure: sure})
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().StringVar(&when, "when", "", "`WHEN` it was seen: today 7 am, Mar 20 7 am, 2026-03-20 07:00 (default: now)")
	cmd.Flags().BoolVar(&sure, "sure", false, "keep a temperature that does not fit the weather")
	return cmd
}

func noteSeen(cmd *cobra.Command, g *cli.Globals, c *config.Config, a *archive.Archive, seen intake.Seen) error {
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	puts, err := intake.Service{Archive: a, PlaceKey: app.PlaceKey}.Observe(cmd.Context(), seen, g.Clock())
	if said, known := intake.SayObservationFault(words, err); known {
		return cli.WrongUse(said)
	}
	if err != nil {
		return err
	}
	if g.JSON {
		out := []map[string]any{}
		for i := range puts {
			out = append(out, observedDocument(&puts[i].Observation, string(puts[i].Outcome)))
		}
		return cli.WriteJSON(cmd.OutOrStdout(), out)
	}
	return cli.Print(cmd.OutOrStdout(), intake.SayObserved(words, seen.Site, puts)+"\n")
}

// observedDocument is an observation as JSON; null stands for what is not known.
func observedDocument(o *records.Observation, outcome string) map[string]any {
	document := map[string]any{"id": o.ID, "site": o.Site, "group": o.Group, "kind": o.Kind, "at": o.At, "day": o.Day,
		"temperature_c": nil, "sign": o.Sign, "recorded_by": o.By}
	if !math.IsNaN(o.TemperatureC) {
		document["temperature_c"] = o.TemperatureC
	}
	if outcome != "" {
		document["outcome"] = outcome
	}
	return document
}

// importSeen reads a weather station's file, where a file is one; else false.
func importSeen(cmd *cobra.Command, g *cli.Globals, site *forecast.Site, path string) (bool, error) {
	file, err := os.Open(path)
	if err != nil {
		return false, nil //nolint:nilerr // whoever reads it as a notebook says so
	}
	defer func() { _ = file.Close() }()
	sheet := bufio.NewReader(file)
	if head, _ := sheet.Peek(1024); !records.AreObservations(head) {
		return false, nil
	}
	list, err := records.ReadObservations(sheet, path, site.Zone, g.Clock())
	if err != nil {
		return true, err
	}
	return true, cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
		words, err := app.Words(c)
		if err != nil {
			return err
		}
		puts, leftOut, err := intake.Service{Archive: a, PlaceKey: app.PlaceKey}.ObserveFile(cmd.Context(),
			intake.Seen{Site: site, List: list, From: cli.Writer()}, g.Clock())
		if said, known := intake.SayObservationFault(words, err); known {
			return errors.New(path + ": " + said)
		}
		if err != nil {
			return err
		}
		if g.JSON {
			out := []map[string]any{}
			for i := range puts {
				out = append(out, observedDocument(&puts[i].Observation, string(puts[i].Outcome)))
			}
			return cli.WriteJSON(cmd.OutOrStdout(),
				map[string]any{"observations": out, "left_out": append([]string{}, intake.SayLeftOut(words, leftOut)...)})
		}
		var b strings.Builder
		for _, said := range intake.SayLeftOut(words, leftOut) {
			fmt.Fprintf(&b, "%s: %s\n", path, said)
		}
		return cli.Print(cmd.OutOrStdout(), b.String()+intake.SayObservedFile(words, puts)+"\n")
	})
}

// recordsNotesCommand writes what was seen in the bush.
func recordsNotesCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "notes", Short: "Writes all of these notes as CSV; import reads it back",
		Example: "  thawline records notes >thermometer-2026.csv", Args: cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(c)
				if err != nil {
					return err
				}
				stored, err := a.Observations(cmd.Context(), site.ID, g.Clock().AddDate(-100, 0, 0), site.Zone)
				if err != nil {
					return err
				}
				var list []records.Observation
				out := []map[string]any{}
				for i := range stored {
					list = append(list, stored[i].Observation)
					out = append(out, observedDocument(&stored[i].Observation, ""))
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), out)
				}
				return records.WriteObservations(cmd.OutOrStdout(), list, site.Zone)
			})
		},
	}
	bush.Register(cmd)
	return cmd
}
