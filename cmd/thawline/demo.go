package main

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/weather"
	"thawline/testdata"
)

func demoCommand(g *globals) *cobra.Command {
	dir := filepath.Join(os.TempDir(), "thawline-demo")
	address := ""
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Shows the main job on an invented bush, offline",
		Long: "Reads the settings, tap records and weather services' answers of an invented bush on an\n" +
			"evening in March, and prints its outlook and evening text. Nothing is asked of the network.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := demoSettings()
			if err != nil {
				return err
			}
			if err := g.override(settings); err != nil {
				return err
			}
			if address != "" {
				g.logTo(cmd.ErrOrStderr(), slog.LevelInfo)
				return showPages(cmd.Context(), g, settings, address)
			}
			outlook, err := demoOutlook(cmd, g, settings)
			if err != nil {
				return err
			}
			picture, err := drawOutlook(settings, &outlook, dir)
			if err != nil {
				return err
			}
			if err := show(cmd.OutOrStdout(), g.json, settings, &outlook); err != nil || g.json {
				return err
			}
			return printAll(cmd.OutOrStdout(), "\n"+picture+"\n")
		},
	}
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 1 && address != "" {
			return &wrongUse{"an address goes to --serve with a sign between: --serve=" + args[0]}
		}
		return noArguments(cmd, args)
	}
	cmd.Flags().StringVar(&address, "serve", "", "open its pages at `ADDRESS` until stopped")
	cmd.Flags().Lookup("serve").NoOptDefVal = "127.0.0.1:8787"
	cmd.Flags().StringVar(&dir, "chart", dir, "write the picture (SVG) into `DIR`")
	return cmd
}

// demoSettings reads the demonstration's settings as any others: from a file.
func demoSettings() (*config.Config, error) {
	dir, err := os.MkdirTemp("", "thawline-demo-")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	data, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	path := filepath.Join(dir, "thawline.yaml")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	c, err := config.Load(path, nil)
	if err == nil {
		c.LanguageGiven = false // a visitor's own goes before that of the bush
	}
	return c, err
}

func demoOutlook(cmd *cobra.Command, g *globals, settings *config.Config) (forecast.Outlook, error) {
	site := settings.Sites[0]
	visits, err := demoVisits(&site)
	if err != nil {
		return forecast.Outlook{}, err
	}
	chain, _, err := newChain(g, settings, keptIn{transport: testdata.Transport()})
	if err != nil {
		return forecast.Outlook{}, err
	}
	now := testdata.Now()
	if g.now != "" {
		now = g.clock()
	}
	got, err := askChain(cmd.Context(), chain, &site, now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	winter, err := demoWinter(now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	taught, err := demoTaught(&site, visits, now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	return forecast.Make(forecast.Inputs{Site: site, Bulletin: got.bulletin, Kept: got.kept, PassedOver: got.passedOver,
		Visits: visits, Taught: taught, Before: winter, Now: now, Seed: forecast.SeedOf(&site, now)})
}

// demoWinter is the weather of the winter so far, as a daemon would have kept
// it.
func demoWinter(now time.Time) (weather.Series, error) {
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		return weather.Series{}, fmt.Errorf("demonstration: %w", err)
	}
	s, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		return weather.Series{}, err
	}
	return s.Between(s.Start(), now), nil
}
