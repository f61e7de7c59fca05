package main

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast"
)

func roundsCommand(g *cli.Globals) *cobra.Command {
	f := &cli.OutlookFlags{}
	var pins, forbids []string
	cmd := &cobra.Command{
		Use:   "rounds",
		Short: "Plans the rounds of the coming days: little sap lost, few loads",
		Example: "  thawline rounds --config thawline.yaml\n" +
			"  thawline rounds --pin \"tomorrow 4pm\" --forbid \"2026-03-22 08:00/2026-03-22 12:00\"",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, o, err := f.Make(cmd, g, func(s *forecast.Site) error { return bend(s, pins, forbids, g.Clock()) })
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(),
					map[string]any{"site": o.Site, "issued_at": o.IssuedAt, "work": o.Work, "cautions": o.Cautions})
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			return sections.PrintRounds(cmd.OutOrStdout(), o, words, settings.Units)
		},
	}
	f.Register(cmd)
	cmd.Flags().StringArrayVar(&pins, "pin", nil, "`TIME` of a round that will be made, such as \"tomorrow 4pm\"; may be repeated")
	cmd.Flags().StringArrayVar(&forbids, "forbid", nil,
		"`FROM/TO` between which nobody can go, such as \"tomorrow 8 am/tomorrow noon\"; may be repeated")
	return cmd
}

// bend lets people's own times into the plan.
func bend(s *forecast.Site, pins, forbids []string, now time.Time) error {
	moment := func(flag, text string) (time.Time, error) {
		at, dateOnly, err := cli.When(flag, text, now, s.Zone, true)
		if err == nil && dateOnly {
			err = cli.WrongUse(flag + " " + text + ": write a day and a time, such as \"tomorrow 4pm\" or 2026-03-21 16:00")
		}
		return at, err
	}
	for _, p := range pins {
		at, err := moment("--pin", p)
		if err != nil {
			return err
		}
		s.Gathering.Pinned = append(s.Gathering.Pinned, at)
	}
	for _, f := range forbids {
		from, to, found := strings.Cut(f, "/")
		if !found {
			return cli.WrongUse("--forbid " + f + ": write two times with a / between, such as \"2026-03-22 08:00/2026-03-22 12:00\"")
		}
		a, err := moment("--forbid", from)
		if err != nil {
			return err
		}
		b, err := moment("--forbid", to)
		if err != nil {
			return err
		}
		if !a.Before(b) {
			return cli.WrongUse("--forbid " + f + ": it ends before it begins; write the earlier time first")
		}
		s.Gathering.Forbidden = append(s.Gathering.Forbidden, forecast.Span{From: a, To: b})
	}
	return nil
}

func seasonCommand(g *cli.Globals) *cobra.Command {
	f := &cli.OutlookFlags{}
	cmd := &cobra.Command{
		Use:   "season",
		Short: "Where the season is, when buds open and when it may end",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, o, err := f.Make(cmd, g, nil)
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(),
					map[string]any{"site": o.Site, "issued_at": o.IssuedAt, "season": o.Season, "yields": o.Yields})
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			return sections.PrintSeason(cmd.OutOrStdout(), o, words, settings.Units)
		},
	}
	f.Register(cmd)
	return cmd
}
