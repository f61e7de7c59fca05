package config

import "strings"

type shape int

const (
	text    shape = iota // one value
	list                 // values, or one text with commas
	section              // settings with names
	entries              // a list of sections, each with an id
	hidden               // a value that stands in a file of its own or in the environment
)

// setting is one key of the settings file and what may stand below it.
type setting struct {
	key   string
	shape shape
	under []setting
	past  bool // of earlier settings: still taken, but without effect and not offered
}

func texts(keys ...string) []setting {
	out := make([]setting, len(keys))
	for i, k := range keys {
		out[i] = setting{key: k}
	}
	return out
}

func past(key string) []setting { return []setting{{key: key, past: true}} }

func below(key string, s shape, parts ...[]setting) setting {
	out := setting{key: key, shape: s}
	for _, p := range parts {
		out.under = append(out.under, p...)
	}
	return out
}

// root is every setting there is.
var root = below("", section,
	texts("units", "language", "data_dir", "sites_from"),
	[]setting{
		{key: "words", shape: list}, {key: "database", shape: hidden},
		below("weather", section,
			[]setting{{key: "sources", shape: list}},
			texts("contact"),
			[]setting{
				below("open_meteo", section,
					texts("base_url", "ensemble_base_url", "archive_base_url", "model", "ensemble_model", "per_second", "per_day"),
					[]setting{{key: "api_key", shape: hidden}}),
				below("nws", section, texts("base_url", "per_second", "per_day")),
				below("met_norway", section, texts("base_url", "per_second", "per_day")),
				below("environment_canada", section, texts("base_url", "city", "per_second", "per_day")),
			}),
		below("sites", entries,
			texts("id", "name", "latitude", "longitude", "elevation", "zone"),
			[]setting{below("exposure", section, texts("faces", "canopy"))},
			texts("tree_diameter"),
			[]setting{
				below("groups", entries, texts("id", "name", "taps", "collected_by", "container", "tank", "vacuum", "tapped"), past("species")),
				below("tanks", entries, texts("id", "volume", "kind"), past("name")),
				below("gathering", section, texts("minutes_per_tap", "trip_worth")),
				below("boiling", section, texts("pan", "area", "rate", "fuel", "concentrate", "syrup", "room")),
			}),
		below("people", entries,
			texts("id", "name", "role", "language", "units"),
			[]setting{{key: "phone", shape: hidden}, {key: "email", shape: hidden}},
			[]setting{{key: "sites", shape: list}},
			texts("quiet_hours"),
			[]setting{{key: "gathers", shape: list}, {key: "channels", shape: list}},
			texts("urgent_breaks_quiet", "paused_until")),
		below("serve", section, texts("listen", "link", "login"), []setting{{key: "proxies", shape: list}}, texts("evening_at", "refresh_every")),
		below("alerts", section, texts("run_chance", "overflow_chance", "hard_freeze", "learners_score", "stale_after")),
		below("channels", entries,
			texts("id", "kind", "url", "method", "form", "json", "header", "accepted", "outbox", "host", "port", "user", "from", "security", "topic", "discovery"),
			[]setting{{key: "secret", shape: hidden}}),
	})

// part is what a file that sites_from leads to may hold.
var part = func() setting {
	sites, _ := root.find("sites")
	people, _ := root.find("people")
	return below("", section, []setting{*sites, *people})
}()

// fileSuffix makes the key of a file that holds a secret from the secret's.
const fileSuffix = "_file"

// inFile lists the keys that the settings file may hold here.
func (s *setting) inFile() []string {
	var keys []string
	for _, u := range s.under {
		switch {
		case u.past:
		case u.shape == hidden:
			keys = append(keys, u.key+fileSuffix)
		default:
			keys = append(keys, u.key)
		}
	}
	return keys
}

// find returns the setting that a key of the file stands for, and whether the
// file may hold it.
func (s *setting) find(key string) (found *setting, allowed bool) {
	for i := range s.under {
		u := &s.under[i]
		switch {
		case u.shape == hidden && key == u.key+fileSuffix:
			return &setting{key: key}, true
		case key == u.key:
			return u, u.shape != hidden
		}
	}
	return nil, false
}

const envPrefix = "THAWLINE_"

// envName is the variable that sets a key, from the words that lead to it: the
// names of sections and lists, and the ids of a list's entries.
func envName(words []string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(strings.Join(words, "_"), "-", "_"))
}
