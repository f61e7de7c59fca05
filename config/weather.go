package config

import (
	"slices"
	"strings"

	"thawline/forecast/weather/source"
)

// serviceRows are the settings of each weather service, by its own name: address, what it
// alone has, bounds.
func serviceRows() (sections []setting) {
	for _, s := range source.All() {
		rows := []setting{of("base_url", s.Example, address(), s.BaseURL)}
		for _, o := range s.Options {
			switch {
			case o.Secret != nil:
				rows = append(rows, of(o.Key, o.Example, confidential((*reader).secret), o.Secret))
			case o.Address:
				rows = append(rows, of(o.Key, o.Example, address(), o.Text))
			default:
				rows = append(rows, of(o.Key, o.Example, words(), o.Text))
			}
		}
		rows = append(rows, perSecond(s.Bound), perDay(s.Bound))
		sections = append(sections, within(s.Name(), func(w *Weather) *source.Services { return &w.Services }, rows...))
	}
	return sections
}

// doubtWeather warns of services that may refuse, or ask for more than is given.
func (r *reader) doubtWeather(w *Weather) {
	for _, s := range source.All() {
		if s.WantsContact && w.Contact == "" && *s.BaseURL(&w.Services) == "" && slices.Contains(w.Sources, s.Name()) {
			r.warn("weather.contact", "no contact, and "+s.Name()+" may refuse programs that don't say whose they are",
				"write your e-mail address or web page")
			break
		}
	}
	if slices.Contains(w.Sources, source.OpenMeteoName) && w.OpenMeteo.BaseURL == "" && !w.OpenMeteo.APIKey.Given() {
		r.warn("weather.sources", "the free service of open_meteo is for non-commercial use only",
			"where syrup is sold, take a key and name its file with weather.open_meteo.api_key_file, or leave this source out")
	}
}

func (r *reader) sources(path string) []string {
	var out []string
	given := r.list(path)
	for _, one := range given {
		switch name := r.known(one.at, one.text, "weather service", source.Names()); {
		case name == "":
		case slices.Contains(out, name):
			r.fail(one.at, name+": named twice", "name each service once, the preferred first")
		default:
			out = append(out, name)
		}
	}
	if len(given) == 0 {
		r.fail(path, "no weather service is named", "name at least one of "+strings.Join(source.Names(), ", "))
	}
	return out
}
