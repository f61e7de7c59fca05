package config

import (
	"slices"

	"thawline/forecast/weather/source"
)

// doubtWeather warns of services that may refuse, or ask for more than is given.
func (r *reader) doubtWeather(w *Weather) {
	for _, s := range []struct{ name, baseURL string }{{source.NWSName, w.NWS.BaseURL}, {source.METNorwayName, w.METNorway.BaseURL}} {
		if w.Contact == "" && s.baseURL == "" && slices.Contains(w.Sources, s.name) {
			r.warn("weather.contact", "no contact, and "+s.name+" may refuse programs that don't say whose they are", "write your e-mail address or web page")
			break
		}
	}
	if slices.Contains(w.Sources, source.OpenMeteoName) && w.OpenMeteo.BaseURL == "" && !w.OpenMeteo.APIKey.Given() {
		r.warn("weather.sources", "the free service of open_meteo is for non-commercial use only", "where syrup is sold, take a key and name its file with weather.open_meteo.api_key_file, or leave this source out")
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
		r.fail(path, "no weather service is named", "name at least one of open_meteo, nws, met_norway, environment_canada")
	}
	return out
}
