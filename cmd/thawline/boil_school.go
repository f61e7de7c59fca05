package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/intake"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// boilSchoolCommand lists the visits of classes, books one, or takes one back.
func boilSchoolCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var day, hours, cancel string
	learners := 0
	cmd := &cobra.Command{
		Use: "school", Short: "Lists the visits of classes that are booked, books one, or takes one back",
		Example: "  thawline boil school --book 2026-03-24 --hours 9:00-11:30 --learners 20\n  thawline boil school",
		Args:    cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return inBook(cmd, g, &bush, func(_ *config.Config, a *archive.Archive, site *forecast.Site, words *message.Words) (err error) {
				service := intake.Service{Archive: a}
				switch {
				case cancel != "":
					err = service.WithdrawClass(cmd.Context(), site, cli.Writer(), cancel)
					if errors.Is(err, archive.ErrNoEntry) {
						return cli.WrongUse("--cancel " + cancel + ": no such visit; list them with thawline boil school")
					}
				case day != "":
					var visit records.ClassVisit
					if visit, err = classOf(day, hours, learners, site.Zone); err == nil {
						_, _, err = service.BookClass(cmd.Context(), site, cli.Writer(), visit, g.Clock())
					}
					var fault *records.ClassFault
					if errors.As(err, &fault) {
						return cli.WrongUse(words.Say("class_fault_"+fault.Kind, nil))
					}
				}
				if err != nil {
					return err
				}
				list, err := a.Classes(cmd.Context(), site.ID, g.Clock(), site.Zone)
				if err != nil {
					return err
				}
				if g.JSON {
					out := []map[string]any{}
					for i := range list {
						out = append(out,
							map[string]any{"id": list[i].ID, "site": site.ID, "from": list[i].Start(), "to": list[i].End(),
								"learners": list[i].Learners})
					}
					return cli.WriteJSON(cmd.OutOrStdout(), out)
				}
				if len(list) == 0 {
					return cli.Print(cmd.OutOrStdout(), words.Say("school_none", nil)+"\n")
				}
				for i := range list {
					v := &list[i]
					if err := cli.Print(cmd.OutOrStdout(),
						fmt.Sprintf("%s  %s %s, %s–%s\n", v.ID, words.Weekday(v.Start()), words.Date(v.Start()), words.Time(v.Start()),
							words.Time(v.End()))); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
	bush.Register(cmd)
	fl := cmd.Flags()
	fl.StringVar(&day, "book", "", "`DAY` of a visit to book, such as 2026-03-24")
	fl.StringVar(&hours, "hours", "9:00-11:30", "`HOURS` of the visit")
	fl.IntVar(&learners, "learners", 0, "`NUMBER` of learners who come")
	fl.StringVar(&cancel, "cancel", "", "`ID` of a visit to take back")
	return cmd
}

func classOf(day, hours string, learners int, zone *time.Location) (c records.ClassVisit, err error) {
	from, to, _ := strings.Cut(hours, "-")
	c, err = records.ReadClass(day, strings.TrimSpace(from), strings.TrimSpace(to), zone)
	c.Learners = learners
	return c, err
}
