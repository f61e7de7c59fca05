// Package setup asks what it must at a terminal or on a page, writes the settings file,
// and tries what settings name.
package setup

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// answers is what init has been told.
type answers struct {
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
	person, personName  string // the id, and the name as it was written
	doubted             string // a place that was asked back about
	tell                string // one of tellings
	guessed             string // what the last answer was taken for, where something of it was missing
	phone               string // international
	gateway             string
	gatewayForm         string
	gatewayKey          string
	outbox              string
	assumed             map[string]bool // keys of questions that nobody has answered
	server, topic       string
	mailHost, mailFrom  string
	mailTo              string
}

// Init asks on in and out what it must, and writes a settings file. With resume it goes on
// where an earlier try ended.
func Init(ctx context.Context, g *cli.Globals, in io.Reader, out io.Writer, file string, resume bool) error {
	c := &config.Config{Language: "en", Languages: []string{"en", "fr"}, Units: units.Metric}
	if usual, err := config.Load("", os.Environ()); err == nil {
		c = usual
	}
	if err := g.Override(c); err != nil {
		return err
	}
	words, err := app.Words(c)
	if err != nil {
		return err
	}
	if _, err := os.Stat(file); err == nil {
		return errors.New(words.Say("init_there", map[string]any{"File": file}))
	}
	if key := whyNotWritten(file); key != "" {
		return errors.New(words.Say(key, map[string]any{"File": file}))
	}
	q := newQuestions(ctx, in, out, words, keptFor(file))
	if resume && len(q.kept.Answers) == 0 {
		return cli.WrongUse(words.Say("init_nothing_kept", map[string]any{"File": file}))
	}
	b, err := askAll(q, c, resume)
	if err != nil {
		return err
	}
	b.language = c.Language
	offline := height(ctx, g.Env(), c, q, b)
	if err := b.write(file, words); err != nil {
		return err
	}
	if err := q.kept.remove(); err != nil {
		return err
	}
	settings, err := config.Load(file, os.Environ())
	if err != nil {
		return fmt.Errorf("what was written does not check out; please report this: %w", err)
	}
	if b.tell == "ntfy" {
		q.tell("init_topic", map[string]any{"Topic": b.topic})
	}
	if b.tell == "email" {
		q.tell("init_secret", map[string]any{"File": filepath.Join(filepath.Dir(file), mailPassword)})
	}
	check := &Check{ctx: ctx, env: g.Env(), settings: settings, words: words, offline: offline}
	person := ""
	if b.tell != "later" && b.tell != "email" { // its password may not be there yet
		person = b.person
	}
	check.run(person)
	if err := cli.Print(out, check.Text(cli.Coloured(out))); err != nil {
		return err
	}
	q.tell("init_written", map[string]any{"File": file, "Example": exampleFile()})
	q.tell("init_next", map[string]any{"File": file})
	return q.failed
}

// packagedExample is where the package puts the example of all settings.
const packagedExample = "/usr/share/doc/thawline/examples/thawline.yaml"

func exampleFile() string {
	if _, err := os.Stat(packagedExample); err == nil {
		return packagedExample
	}
	return "config/example.yaml"
}

// whyNotWritten tries the folder before somebody answers for nothing; "" if it takes
// files.
func whyNotWritten(file string) (key string) {
	trial, err := os.CreateTemp(filepath.Dir(file), ".thawline-*")
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "init_no_folder"
	case err != nil:
		return "init_unwritable"
	}
	_ = trial.Close()
	_ = os.Remove(trial.Name())
	return ""
}

// height asks the services how high the place lies, and so tries them; offline is
// true where none can be reached.
func height(ctx context.Context, env app.Env, c *config.Config, q *questions, b *answers) (offline bool) {
	service, err := b.askHeight(ctx, env, c)
	var away *noNetwork
	switch {
	case service != "":
		q.tell("init_height", map[string]any{"Height": b.height(), "Source": service})
	case errors.As(err, &away):
		q.tell("init_no_network", nil)
		return true
	case err != nil:
		why, _, _ := strings.Cut(err.Error(), "\n")
		q.tell("init_no_weather", map[string]any{"Why": why})
	}
	return false
}

// noNetwork is that no service could be reached at all.
type noNetwork struct{ error }

// askHeight takes the height from the first of the place's services that knows it;
// service is "" where none does.
func (b *answers) askHeight(ctx context.Context, env app.Env, c *config.Config) (service string, err error) {
	own := *c
	own.Weather.Contact = b.contact
	ctx, cancel := context.WithTimeout(ctx, app.AskDeadline)
	defer cancel()
	site := forecast.Site{ID: "new", Place: b.place(), Zone: b.zone}
	answered, unreachable := false, true
	for _, name := range nearbyServices(b.zone) {
		own.Weather.Sources = []string{name}
		chain, _, failed := app.Services(env, &own, app.Storage{})
		if failed != nil {
			return "", failed
		}
		outcome, failed := chain.Ask(ctx, app.PlaceKey(&site),
			source.Request{Place: site.Place, Now: env.Clock(), PastDays: app.PastDays, Days: app.FutureDays})
		if failed != nil {
			err = failed
			unreachable = unreachable && outOfReach(outcome.Attempts)
			continue
		}
		if answered = true; !math.IsNaN(outcome.Bulletin.ElevationM) {
			b.elevationM = outcome.Bulletin.ElevationM
			return name, nil
		}
	}
	switch {
	case answered:
		return "", nil
	case unreachable && err != nil:
		err = &noNetwork{err}
	}
	return "", err
}

// outOfReach reports whether none of the services answered at all.
func outOfReach(attempts []source.Attempt) bool {
	for _, a := range attempts {
		if a.Fault.Kind != source.Unreachable {
			return false
		}
	}
	return len(attempts) > 0
}

// height writes the elevation in the reader's unit.
func (b *answers) height() string {
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
