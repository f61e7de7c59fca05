package main

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

func initCommand(g *globals) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Asks what it must and writes a settings file for your bush",
		Long:  "Asks where the trees are, how many taps, how sap is collected and whom to tell, looks up the time zone and the height, tries the weather services, and writes a settings file with comments. Nothing that is there is written over.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return initialize(cmd, g, out)
		},
	}
	cmd.Flags().StringVar(&out, "out", "thawline.yaml", "the `FILE` to write")
	cmd.Args = noArguments
	return cmd
}

// begun is what init has been told.
type begun struct {
	latitude, longitude float64
	zone                *time.Location
	elevationM          float64 // NaN where nobody has said
	name                string
	units               units.System
	language            string
	taps                int
	collectedBy         string
	container, tank     string // with units, as they were written
	vacuum              string
	contact             string
	person              string
	tell                string // "ntfy", "email" or "later"
	server, topic       string
	mailHost, mailFrom  string
	mailTo              string
}

func initialize(cmd *cobra.Command, g *globals, out string) error {
	ctx, c := cmd.Context(), &config.Config{Language: "en", Languages: []string{"en", "fr"}, Units: units.Metric}
	if usual, err := config.Load("", os.Environ()); err == nil {
		c = usual
	}
	if err := g.override(c); err != nil {
		return err
	}
	words, err := newWords(c)
	if err != nil {
		return err
	}
	if _, err := os.Stat(out); err == nil {
		return errors.New(words.Say("init_there", map[string]any{"File": out}))
	}
	q := newQuestions(cmd.InOrStdin(), cmd.OutOrStdout(), words)
	b, err := askAll(q, c)
	if err != nil {
		return err
	}
	b.language = c.Language
	q.tell("init_zone", map[string]any{"Zone": b.zone.String()})
	height(ctx, g, c, q, b)
	if err := b.write(out, words); err != nil {
		return err
	}
	settings, err := config.Load(out, os.Environ())
	if err != nil {
		return fmt.Errorf("what was written does not check out; please report this: %w", err)
	}
	if b.tell == "ntfy" {
		q.tell("init_topic", map[string]any{"Topic": b.topic})
	}
	if b.tell == "email" {
		q.tell("init_secret", map[string]any{"File": filepath.Join(filepath.Dir(out), mailPassword)})
	}
	check := checker{ctx: ctx, g: g, settings: settings}
	to := ""
	if b.tell == "ntfy" {
		to = b.person
	}
	check.run(to)
	if err := printAll(cmd.OutOrStdout(), check.text()); err != nil {
		return err
	}
	q.tell("init_written", map[string]any{"File": out})
	q.tell("init_next", map[string]any{"File": out})
	return q.failed
}

// height asks the services how high the place lies, and so tries them.
func height(ctx context.Context, g *globals, c *config.Config, q *questions, b *begun) {
	c.Weather.Contact = b.contact
	chain, _, err := newChain(g, c, keptIn{})
	if err == nil {
		site := forecast.Site{ID: "new", Place: weather.Place{LatitudeDeg: b.latitude, LongitudeDeg: b.longitude, ElevationM: math.NaN()}, Zone: b.zone}
		ctx, cancel := context.WithTimeout(ctx, askDeadline)
		defer cancel()
		var got gathered
		if got, err = askChain(ctx, chain, &site, g.clock()); err == nil && !math.IsNaN(got.bulletin.ElevationM) {
			b.elevationM = got.bulletin.ElevationM
			q.tell("init_height", map[string]any{"Height": b.height(), "Source": got.bulletin.Source})
		}
	}
	if err != nil {
		why, _, _ := strings.Cut(err.Error(), "\n")
		q.tell("init_no_weather", map[string]any{"Why": why})
	}
}

// height writes the elevation in the reader's unit.
func (b *begun) height() string {
	if b.units == units.US {
		return fmt.Sprintf("%.0f ft", b.elevationM/units.MetresPerFoot)
	}
	return fmt.Sprintf("%.0f m", b.elevationM)
}

// secretTopic is a topic that nobody guesses.
func secretTopic() string {
	random := make([]byte, 10)
	_, _ = rand.Read(random) // never fails (crypto/rand)
	return "sap-" + strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random))
}

// putNew writes a file that is not there yet.
func putNew(name string, mode fs.FileMode, text string) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}
