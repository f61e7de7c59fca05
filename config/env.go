package config

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/viper"

	"thawline/forecast/units"
)

// commandVariables are read by the command line, not here.
var commandVariables = []string{envPrefix + "CONFIG"}

// fromEnvironment lays the environment over v, whose lists have the counted
// entries. It returns the variable behind each path it set, and a warning for
// each variable that sets nothing. An empty variable counts as none.
func fromEnvironment(v *viper.Viper, counts map[string]int, env []string) (origin map[string]string, warnings []Problem) {
	known := map[string]target{}
	variables(v, counts, &root, "", nil, known)
	given := map[string]string{}
	for _, e := range env {
		if name, value, _ := strings.Cut(e, "="); strings.HasPrefix(name, envPrefix) && strings.TrimSpace(value) != "" {
			given[name] = value
		}
	}
	origin = map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(given)) {
		t, ok := known[name]
		switch {
		case ok:
			origin[t.path] = name
			v.Set(t.path, t.value(given[name]))
		case !slices.Contains(commandVariables, name):
			warnings = append(warnings, Problem{
				File: "environment", Key: name, What: "no setting has this name, and it is ignored",
				Remedy: units.Suggest(name, slices.Sorted(maps.Keys(known)),
					"check its spelling; sites, groups, tanks and people are named by their ids"),
			})
		}
	}
	return origin, warnings
}

// target is the setting behind a variable.
type target struct {
	path  string
	shape shape
}

func (t target) value(given string) any {
	if t.shape == list {
		return splitList(given)
	}
	return given
}

// variables lists the environment variable of every setting below one key, the
// entries of lists by their ids.
func variables(v *viper.Viper, counts map[string]int, s *setting, path string, words []string, into map[string]target) {
	for _, u := range s.under {
		at := join(path, u.key)
		down := extended(words, u.key)
		switch u.shape {
		case section:
			variables(v, counts, &u, at, down, into)
		case entries:
			for i := range counts[at] {
				entry := join(at, strconv.Itoa(i))
				if id := v.GetString(join(entry, "id")); validID(id) {
					variables(v, counts, &u, entry, extended(down, id), into)
				}
			}
		case hidden:
			into[envName(down)] = target{at, u.shape}
			into[envName(down)+"_FILE"] = target{at + fileSuffix, text}
		default:
			if u.key != "id" {
				into[envName(down)] = target{at, u.shape}
			}
		}
	}
}

// lookup returns one variable of an environment, "" where it is not set.
func lookup(env []string, name string) string {
	for _, e := range slices.Backward(env) {
		if value, ok := strings.CutPrefix(e, name+"="); ok {
			return value
		}
	}
	return ""
}

// extended never writes into the list it extends.
func extended(words []string, word string) []string { return append(slices.Clip(words), word) }

var idShape = regexp.MustCompile(`^[A-Za-z0-9_-]{1,40}$`)

// validID reports whether a text can name a site, group, tank or person.
func validID(id string) bool { return idShape.MatchString(id) }
