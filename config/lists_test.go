package config

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Every setting that takes several values takes them as a list and as one text with
// commas, from the file and from the environment alike.
func TestListsAreTakenAsTheyAreWritten(t *testing.T) {
	const people = "\npeople:\n  - {id: robin, role: crew%s}\nchannels:\n  - {id: text, kind: gsm_modem, outbox: out}\n  - {id: push, kind: web_push}\n"
	of := func(key string) func(string) string {
		return func(value string) string {
			if value != "" {
				value = ", " + key + ": " + value
			}
			return good + fmt.Sprintf(people, value)
		}
	}
	top := func(key string) func(string) string {
		return func(value string) string {
			if value == "" {
				return good
			}
			return good + "\n" + key + value
		}
	}
	lists := map[string]struct {
		list, text, variable, wrong string
		file                        func(value string) string
		got                         func(c *Config) any
	}{
		"words": {"[es.toml, de.toml]", "es.toml, de.toml", "THAWLINE_WORDS", "", top("words: "),
			func(c *Config) any { return c.Languages }},
		"weather.sources": {"[met_norway, nws]", "met_norway, nws", "THAWLINE_WEATHER_SOURCES", "nvs", func(value string) string {
			if value == "" {
				return good
			}
			return but("[nws]", value)
		}, func(c *Config) any { return c.Weather.Sources }},
		"serve.proxies": {"[127.0.0.1, 10.0.0.0/8]", `"127.0.0.1, 10.0.0.0/8"`, "THAWLINE_SERVE_PROXIES", "here",
			top("serve:\n  proxies: "), func(c *Config) any { return fmt.Sprint(c.Serve.Proxies) }},
		"serve.call_backs": {"[from=a.b text=c id=d, from=e text=f id=g]", `"from=a.b text=c id=d, from=e text=f id=g"`,
			"THAWLINE_SERVE_CALL_BACKS", "here", top("serve:\n  call_backs: "),
			func(c *Config) any { return fmt.Sprint(c.Serve.CallBacks) }},
		"sites.weather_from": {"[nws, bush, Old Madison 43.07 -89.40 264 m by met_norway]",
			"nws, bush, Old Madison 43.07 -89.40 264 m by met_norway", "THAWLINE_SITES_HILL_WEATHER_FROM", "nvs",
			func(value string) string {
				if value == "" {
					return good
				}
				return but("    groups:", "    weather_from: "+value+"\n    groups:")
			}, func(c *Config) any { return c.Sites[0].Stations }},
		"people.channels": {"[push, text]", `"push, text"`, "THAWLINE_PEOPLE_ROBIN_CHANNELS", "pigeon", of("channels"),
			func(c *Config) any { return c.People[0].Channels }},
		"people.sites": {"[hill]", "hill", "THAWLINE_PEOPLE_ROBIN_SITES", "vale", of("sites"),
			func(c *Config) any { return c.People[0].Sites }},
		"people.gathers": {"[mon-fri 15:30-19:00, sat 9:00-17:00]", `"Mon-fri 15:30-19:00, sat 9:00-17:00"`,
			"THAWLINE_PEOPLE_ROBIN_GATHERS", "some day", of("gathers"), func(c *Config) any { return c.People[0].Gathers }},
		"sites.boiling.school": {"[tue 9:00-11:30, thu 13:00-15:00]", `"Tue 9:00-11:30, thu 13:00-15:00"`,
			"THAWLINE_SITES_HILL_BOILING_SCHOOL", "some day", func(value string) string {
				if value == "" {
					return good
				}
				return but("    groups:", "    boiling: {school: "+value+"}\n    groups:")
			}, func(c *Config) any { return c.Sites[0].Boiling.School }},
		"people.boils": {"[mon-fri 15:30-19:00, sat 9:00-17:00]", `"Mon-fri 15:30-19:00, sat 9:00-17:00"`,
			"THAWLINE_PEOPLE_ROBIN_BOILS", "some day", of("boils"), func(c *Config) any { return c.People[0].Boils }},
	}
	var every func(s *setting, path string)
	every = func(s *setting, path string) {
		for i := range s.under {
			u := &s.under[i]
			at := join(path, u.key)
			if _, tried := lists[at]; u.shape == list && !tried {
				t.Errorf("%s is not tried here", at)
			}
			every(u, at)
		}
	}
	every(&root, "")
	for name, l := range lists {
		t.Run(name, func(t *testing.T) {
			want := ""
			over := "[" + strings.ReplaceAll(strings.Trim(l.list, "[]"), ", ", ",\n      ") + "]"
			for i, from := range []struct{ file, env string }{
				{l.file(l.list), ""}, {l.file(l.text), ""}, {l.file(over), ""}, {l.file(""), l.variable + "=" + strings.Trim(l.text, `"`)},
			} {
				c, err := Load(write(t, from.file), []string{from.env})
				if err != nil {
					t.Fatalf("%s %s: %v", from.file, from.env, err)
				}
				got := fmt.Sprint(l.got(c))
				if want == "" {
					want = got
				}
				if got == "[]" || cmp.Diff(want, got) != "" {
					t.Errorf("form %d: %s, want %s", i, got, want)
				}
			}
			if l.wrong == "" { // files of words are left out where they are opened
				return
			}
			for _, broken := range []string{"[" + l.wrong + "]", l.wrong} {
				if _, err := Load(write(t, l.file(broken)), nil); err == nil || !strings.Contains(err.Error(), l.wrong+":") {
					t.Errorf("%s passes: %v", broken, err)
				}
			}
		})
	}
}
