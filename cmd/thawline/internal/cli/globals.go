// Package cli has what the commands share: flags, settings, output, and errors of use.
package cli

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

// Globals are the flags that every command has.
type Globals struct {
	ConfigFile, NowFlag, units, Language string
	JSON, verbose                        bool
	logFormat                            string
	// IgnoreLocale leaves the language of whoever starts it out: what a daemon tells does
	// not depend on that.
	IgnoreLocale bool

	Version string
	Log     *slog.Logger
}

// Register adds the flags to a set.
func (g *Globals) Register(f *pflag.FlagSet) {
	f.StringVar(&g.ConfigFile, "config", os.Getenv("THAWLINE_CONFIG"),
		"settings `FILE` (default: $THAWLINE_CONFIG, else "+settingsHere+" here)")
	f.BoolVar(&g.JSON, "json", false, "print one JSON document and nothing else")
	f.StringVar(&g.NowFlag, "now", "", "pretend it is this `TIME` (RFC 3339), to replay the past")
	f.StringVar(&g.units, "units", "", "`SYSTEM` of units: us, imperial or metric (default: from the settings)")
	f.StringVar(&g.Language, "lang", "", "`LANGUAGE` of the output: en or fr (default: from the settings, then $LANG)")
	f.StringVar(&g.logFormat, "log", "text", "`FORM` of the log: text or json")
	f.BoolVar(&g.verbose, "verbose", false, "log what it is doing")
}

// settingsHere is the file in the working folder that is used where none is named.
const settingsHere = "thawline.yaml"

// Check finds the settings file and refuses flags that cannot be meant.
func (g *Globals) Check() error {
	if g.ConfigFile == "" {
		if info, err := os.Stat(settingsHere); err == nil && info.Mode().IsRegular() {
			g.ConfigFile = settingsHere
		}
	}
	if g.NowFlag != "" {
		if _, err := time.Parse(time.RFC3339, g.NowFlag); err != nil {
			return WrongUse("--now " + g.NowFlag + ": not a moment; write it like 2026-03-08T22:00:00Z")
		}
	}
	if g.units != "" {
		if _, err := units.ParseSystem(g.units); err != nil {
			return WrongUse("--units: " + err.Error())
		}
	}
	if g.logFormat != "text" && g.logFormat != "json" {
		return WrongUse("--log " + g.logFormat + ": write text or json")
	}
	return nil
}

// LogTo makes the log of a command.
func (g *Globals) LogTo(w io.Writer, level slog.Level) {
	options := &slog.HandlerOptions{Level: level}
	if g.verbose {
		options.Level = slog.LevelDebug
	}
	if g.logFormat == "json" {
		g.Log = slog.New(slog.NewJSONHandler(w, options))
		return
	}
	g.Log = slog.New(slog.NewTextHandler(w, options))
}

// Clock is the moment that counts as now.
func (g *Globals) Clock() time.Time {
	if g.NowFlag != "" {
		if t, err := time.Parse(time.RFC3339, g.NowFlag); err == nil {
			return t
		}
	}
	return time.Now()
}

// Env is what the program is given from outside, here by the command line.
func (g *Globals) Env() app.Env {
	return app.Env{Version: g.Version, Log: g.Log, Clock: g.Clock, Frozen: g.NowFlag != ""}
}

// Settings loads the settings and lets the flags override what they name.
func (g *Globals) Settings() (*config.Config, error) {
	c, err := config.Load(g.ConfigFile, os.Environ())
	if err != nil {
		return nil, err
	}
	return c, g.Override(c)
}

// Override lets the flags stand before the settings.
func (g *Globals) Override(c *config.Config) error {
	if g.units != "" {
		c.Units = units.System(strings.ToLower(g.units))
	}
	if g.Language != "" {
		found := config.MatchLanguage(g.Language, c.Languages)
		if found == "" {
			return WrongUse("--lang " + g.Language + ": write " + strings.Join(c.Languages, " or "))
		}
		c.Language = found
	} else if found := config.MatchLanguage(locale(), c.Languages); found != "" && !c.LanguageGiven && !g.IgnoreLocale {
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
