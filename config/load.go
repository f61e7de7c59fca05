package config

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/viper"

	"thawline/alerts"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// Far more than the settings of a hundred sites take, and a table of tens of
// thousands.
const (
	maxFileBytes  = 1 << 20
	maxTableBytes = 32 << 20
)

// Load reads the settings file at path and lays the environment, as os.Environ
// gives it, over it; with path "" there are only defaults and the environment.
// A key such as weather.nws.base_url is THAWLINE_WEATHER_NWS_BASE_URL there,
// lists are one text with commas, and the entries of lists go by their ids:
// THAWLINE_SITES_HILL_GROUPS_SOUTH_TAPS. Relative paths in the file start from
// its folder. Load fails with Errors, everything wrong at once.
func Load(path string, env []string) (*Config, error) {
	if path == "" {
		return parse("", nil, env)
	}
	data, what := readFile(path, maxFileBytes)
	if what != "" {
		at := path
		if full, err := filepath.Abs(path); err == nil {
			at = full
		}
		return nil, Errors{{File: path, What: what, Remedy: "looked for " + at + "; thawline init writes one, --config names another"}}
	}
	return parse(path, data, env)
}

// readFile returns what is wrong in words, "" where nothing is.
func readFile(path string, most int64) (data []byte, what string) {
	file, err := os.Open(path)
	if err != nil {
		return nil, cause(err)
	}
	defer file.Close()
	data, err = io.ReadAll(io.LimitReader(file, most+1))
	switch {
	case err != nil:
		return nil, cause(err)
	case int64(len(data)) > most:
		return nil, "larger than any settings file"
	}
	return data, ""
}

// parse reads settings from the text of a file, whose name is "" where there
// is none.
func parse(name string, data []byte, env []string) (*Config, error) {
	source := newSettingsFile(name, &root)
	v, err := layers(source, data)
	if err != nil {
		return nil, fmt.Errorf("reading settings: %w", err)
	}
	if source.spoiled[""] {
		return nil, Errors(source.problems)
	}
	v.SetDefault("data_dir", defaultDataDir(name, env))
	origin, warnings := fromEnvironment(v, source.counts, env)

	r := &reader{v: v, file: name, source: source, origin: origin, warnings: warnings}
	c := r.config()
	problems := slices.Concat(source.problems, r.problems)
	inFileOrder(problems)
	if len(problems) > 0 {
		return nil, Errors(problems)
	}
	c.Warnings = r.warnings
	inFileOrder(c.Warnings)
	c.Warnings = append(c.Warnings, r.elsewhere...)
	return c, nil
}

// layers returns the defaults below what the file says.
func layers(in *settingsFile, data []byte) (*viper.Viper, error) {
	codecs := viper.NewCodecRegistry()
	if err := codecs.RegisterCodec("yaml", in); err != nil {
		return nil, err
	}
	v := viper.NewWithOptions(viper.WithCodecRegistry(codecs))
	v.SetConfigType("yaml")
	var usual []any
	for _, name := range source.DefaultNames() {
		usual = append(usual, name)
	}
	v.SetDefault("weather.sources", usual)
	return v, v.ReadConfig(bytes.NewReader(data))
}

// machineSettings is the folder of a machine's own settings.
const machineSettings = "/etc/thawline"

// defaultDataDir is where a person's programs keep their data, or where a
// service does: whoever uses the machine's settings, under whatever name, shares
// one file.
func defaultDataDir(settings string, env []string) string {
	if full, err := filepath.Abs(settings); settings != "" && err == nil && filepath.Dir(full) == machineSettings {
		return "/var/lib/thawline"
	}
	if dir := lookup(env, "XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "thawline")
	}
	if home := lookup(env, "HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, ".local", "share", "thawline")
	}
	return "/var/lib/thawline"
}

func (r *reader) config() *Config {
	c := &Config{File: r.file, Units: units.Metric, Language: "en", Serve: usualServe, Alerts: alerts.Usual,
		Login: Login{RolesClaim: "roles", PersonClaim: "preferred_username"}}
	r.in = c
	r.fill(root.under, "", c)
	c.LanguageGiven = r.v.InConfig("language") || r.origin["language"] != ""
	r.doubtWeather(&c.Weather)
	sites, people := seenIDs{}, seenIDs{}
	for _, at := range r.entries("sites") {
		c.Sites = append(c.Sites, r.site(at, r.id(at, sites)))
	}
	if len(c.Sites) == 0 && r.file != "" && r.text("sites_from") == "" && !c.MembersKey.Given() {
		r.fail("sites", "no site is described",
			"write where the sugar bush is and what hangs there, as the example that thawline init writes does")
	}
	ids := seenIDs{}
	for _, at := range r.entries("channels") {
		c.Channels = append(c.Channels, r.channel(at, r.id(at, ids)))
	}
	named := make([]string, 0, len(r.entries("people"))) // before those of other files, which may not take their ids
	for _, at := range r.entries("people") {
		named = append(named, r.id(at, people))
	}
	r.sitesFrom(c, sites, people)
	for i, at := range r.entries("people") {
		c.People = append(c.People, r.person(at, named[i]))
	}
	return c
}

// system is one of units.
func system() kind[units.System] {
	return parsed(func(r *reader, path, text string) (units.System, bool) {
		s, err := units.ParseSystem(text)
		if err != nil {
			r.failParse(path, err)
		}
		return s, err == nil
	})
}
