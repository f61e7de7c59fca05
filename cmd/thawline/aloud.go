package main

import (
	"fmt"
	"os/exec"
	"strings"

	"github.com/spf13/cobra"

	"thawline/alerts/feed"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
)

func speakCommand(g *cli.Globals) *cobra.Command {
	f, file := &cli.OutlookFlags{}, ""
	cmd := &cobra.Command{
		Use:   "speak",
		Short: "The evening text as it is said aloud, as words or as sound",
		Example: "  thawline speak --site hill\n" +
			"  thawline speak --site hill --out evening.wav",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, o, words, err := outlookInWords(cmd, g, f)
			if err != nil {
				return err
			}
			text := words.In(message.Aloud).Evening(o)
			if file == "" {
				return cli.Print(cmd.OutOrStdout(), text+"\n")
			}
			return settings.Voice.Speak(cmd.Context(), words.Language(), text, file)
		},
	}
	f.Register(cmd)
	cmd.Flags().StringVar(&file, "out", "", "write sound to `FILE` (WAV): of recorded phrases, or by the speech command of the settings")
	return cmd
}

func largeCommand(g *cli.Globals) *cobra.Command {
	f, print := &cli.OutlookFlags{}, false
	cmd := &cobra.Command{
		Use:   "large",
		Short: "The evening text in large print, half a page",
		Example: "  thawline large --site hill --print\n" +
			"  thawline large --site hill | lp -o cpi=5 -o lpi=3",
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, o, words, err := outlookInWords(cmd, g, f)
			if err != nil {
				return err
			}
			page := message.LargePrint(words.Weekday(o.IssuedAt)+" "+words.Date(o.IssuedAt), words.Evening(o))
			if !print {
				return cli.Print(cmd.OutOrStdout(), page)
			}
			lp := exec.CommandContext(cmd.Context(), "lp", "-o", "cpi=5", "-o", "lpi=3", "-o", "document-format=text/plain;charset=utf-8")
			lp.Stdin = strings.NewReader(page)
			if out, err := lp.CombinedOutput(); err != nil {
				return fmt.Errorf("print: %w: %.200s; install CUPS and set a printer, or print the output of thawline large yourself",
					err, out)
			}
			return nil
		},
	}
	f.Register(cmd)
	cmd.Flags().BoolVar(&print, "print", false, "send it to the printer of this machine (lp)")
	return cmd
}

// outlookInWords makes an outlook and finds the words of the settings.
func outlookInWords(cmd *cobra.Command, g *cli.Globals, f *cli.OutlookFlags) (*config.Config, *forecast.Outlook, *message.Words, error) {
	settings, o, err := f.Make(cmd, g, nil)
	if err != nil {
		return nil, nil, nil, err
	}
	words, err := app.Words(settings)
	return settings, o, words, err
}

func bulletinCommand(g *cli.Globals) *cobra.Command {
	atom := false
	cmd := &cobra.Command{
		Use:     "bulletin",
		Short:   "A minute for radio, newsletter and school, of all bushes and without anybody's litres",
		Example: "  thawline bulletin --config association.yaml --language fr",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(c *config.Config, a *archive.Archive) error {
				words, err := app.Words(c)
				if err != nil {
					return err
				}
				now := g.Clock()
				var list []*forecast.Outlook
				for i := range c.Sites {
					var o forecast.Outlook
					if found, err := a.Outlook(cmd.Context(), c.Sites[i].ID, now.AddDate(0, 0, -2), &o); err != nil {
						return err
					} else if found {
						list = append(list, &o)
						now = now.In(o.IssuedAt.Location())
					}
				}
				text := words.Bulletin(list, now)
				if text == "" {
					return fmt.Errorf("no bush has an outlook of tomorrow: start thawline serve, which makes them")
				}
				if !atom {
					return cli.Print(cmd.OutOrStdout(), text+"\n")
				}
				out, err := feed.Atom(&feed.Channel{ID: "urn:thawline:bulletin", Name: "thawline"}, []feed.News{feed.Bulletin(text, now)})
				if err != nil {
					return err
				}
				return cli.Print(cmd.OutOrStdout(), out+"\n")
			})
		},
	}
	cmd.Flags().BoolVar(&atom, "atom", false, "as an Atom feed")
	return cmd
}

func recordListCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use:     "record-list",
		Short:   "The phrases to record, so that the evening is said in somebody's own voice, and which are missing",
		Example: "  thawline words record-list --config thawline.yaml --language fr",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			phrases := words.Phrases(settings.Sites)
			missing := settings.Voice.Missing(words.Language(), phrases)
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(),
					map[string]any{"language": words.Language(), "phrases": phrases, "missing": missing})
			}
			var b strings.Builder
			fmt.Fprintf(&b, "%s: %d phrases, %d to record. Speak each by itself into a WAV file, 16 bits, all alike, in the folder %s of voice.recordings:\n", words.Language(), len(phrases), len(missing), words.Language())
			for _, p := range missing {
				fmt.Fprintf(&b, "%s\t%s\n", voice.FileName(p), p)
			}
			return cli.Print(cmd.OutOrStdout(), b.String())
		},
	}
}
