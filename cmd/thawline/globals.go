package main

import (
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast/units"
)

// globals are the flags that every command has.
type globals struct {
	configFile, now, units, language string
	json, verbose                    bool
	logFormat                        string
	// ownWords leaves the language of whoever starts it out: what a daemon tells does
	// not depend on that.
	ownWords bool

	version string
	log     *slog.Logger
}

func (g *globals) flags(f *pflag.FlagSet) {
	f.StringVar(&g.configFile, "config", os.Getenv("THAWLINE_CONFIG"), "settings `FILE`; without it THAWLINE_CONFIG, else "+settingsHere+" in the working folder")
	f.BoolVar(&g.json, "json", false, "one JSON document on standard output, nothing else")
	f.StringVar(&g.now, "now", "", "the moment that counts as now, `RFC3339`, for replay")
	f.StringVar(&g.units, "units", "", "`SYSTEM` to read in: us, imperial or metric")
	f.StringVar(&g.language, "lang", "", "`LANGUAGE`: en, fr, or one that the settings add; without it the settings', else LANG's")
	f.StringVar(&g.logFormat, "log", "text", "`FORM` of what is said on standard error: text or json")
	f.BoolVar(&g.verbose, "verbose", false, "say on standard error what is being done")
}

// settingsHere is the file in the working folder that is used where none is named.
const settingsHere = "thawline.yaml"

func (g *globals) check() error {
	if g.configFile == "" {
		if info, err := os.Stat(settingsHere); err == nil && info.Mode().IsRegular() {
			g.configFile = settingsHere
		}
	}
	if g.now != "" {
		if _, err := time.Parse(time.RFC3339, g.now); err != nil {
			return wrongUse("--now " + g.now + ": not a moment; write it like 2026-03-08T22:00:00Z")
		}
	}
	if g.units != "" {
		if _, err := units.ParseSystem(g.units); err != nil {
			return wrongUse("--units: " + err.Error())
		}
	}
	if g.logFormat != "text" && g.logFormat != "json" {
		return wrongUse("--log " + g.logFormat + ": write text or json")
	}
	return nil
}

// logTo makes the log of a command.
func (g *globals) logTo(w io.Writer, level slog.Level) {
	options := &slog.HandlerOptions{Level: level}
	if g.verbose {
		options.Level = slog.LevelDebug
	}
	if g.logFormat == "json" {
		g.log = slog.New(slog.NewJSONHandler(w, options))
		return
	}
	g.log = slog.New(slog.NewTextHandler(w, options))
}

// clock is the moment that counts as now.
func (g *globals) clock() time.Time {
	if g.now != "" {
		if t, err := time.Parse(time.RFC3339, g.now); err == nil {
			return t
		}
	}
	return time.Now()
}

// env is what the program is given from outside, here by the command line.
func (g *globals) env() app.Env {
	return app.Env{Version: g.version, Log: g.log, Clock: g.clock, Frozen: g.now != ""}
}

// settings loads the settings and lets the flags override what they name.
func (g *globals) settings() (*config.Config, error) {
	c, err := config.Load(g.configFile, os.Environ())
	if err != nil {
		return nil, err
	}
	return c, g.override(c)
}

// override lets the flags stand before the settings.
func (g *globals) override(c *config.Config) error {
	if g.units != "" {
		c.Units = units.System(strings.ToLower(g.units))
	}
	if g.language != "" {
		found := config.MatchLanguage(g.language, c.Languages)
		if found == "" {
			return wrongUse("--lang " + g.language + ": write " + strings.Join(c.Languages, " or "))
		}
		c.Language = found
	} else if found := config.MatchLanguage(locale(), c.Languages); found != "" && !c.LanguageGiven && !g.ownWords {
		c.Language = found
	}
	return nil
}

// locale is the language of whoever works at this machine, by the first variable that
// is set (POSIX, Environment Variables, 8.2).
func locale() string {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		if v := os.Getenv(name); v != "" {
			return v
		}
	}
	return ""
}
