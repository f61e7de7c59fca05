package config

import (
	"fmt"
	"slices"
	"strconv"

	"thawline/forecast/weather/source"
)

func (r *reader) weather() Weather {
	w := Weather{Sources: r.sources(), Contact: r.text("weather.contact")}
	w.OpenMeteo = source.OpenMeteoOptions{
		BaseURL:         r.baseURL("weather.open_meteo.base_url"),
		EnsembleBaseURL: r.baseURL("weather.open_meteo.ensemble_base_url"),
		ArchiveBaseURL:  r.baseURL("weather.open_meteo.archive_base_url"),
		APIKey:          r.secret("weather.open_meteo.api_key"),
		Model:           r.text("weather.open_meteo.model"),
		EnsembleModel:   r.text("weather.open_meteo.ensemble_model"),
		Bound:           r.bound(source.OpenMeteoName),
	}
	w.NWS = source.NWSOptions{BaseURL: r.baseURL("weather.nws.base_url"), Bound: r.bound(source.NWSName)}
	w.METNorway = source.METNorwayOptions{BaseURL: r.baseURL("weather.met_norway.base_url"), Bound: r.bound(source.METNorwayName)}
	w.EnvironmentCanada = source.EnvironmentCanadaOptions{
		BaseURL: r.baseURL("weather.environment_canada.base_url"),
		City:    r.text("weather.environment_canada.city"),
		Bound:   r.bound(source.EnvironmentCanadaName),
	}
	for _, s := range []struct{ name, baseURL string }{{source.NWSName, w.NWS.BaseURL}, {source.METNorwayName, w.METNorway.BaseURL}} {
		if w.Contact == "" && s.baseURL == "" && slices.Contains(w.Sources, s.name) {
			r.warn("weather.contact", "no contact, and "+s.name+" may refuse programs that don't say whose they are", "write your e-mail address or web page")
			break
		}
	}
	if slices.Contains(w.Sources, source.OpenMeteoName) && w.OpenMeteo.BaseURL == "" && !w.OpenMeteo.APIKey.Given() {
		r.warn("weather.sources", "the free service of open_meteo is for non-commercial use only", "where syrup is sold, take a key and name its file with weather.open_meteo.api_key_file, or leave this source out")
	}
	return w
}

func (r *reader) bound(service string) source.Bound {
	at := join("weather", service)
	return source.Bound{PerSecond: r.positive(join(at, "per_second"), 1000), PerDay: r.positive(join(at, "per_day"), 1e9)}
}

// positive reads a number above zero, 0 where it is not given.
func (r *reader) positive(path string, most float64) float64 {
	text := r.text(path)
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v > 0) || v > most {
		r.fail(path, text+": not a number of questions", fmt.Sprintf("write a number above 0, at most %g, as the service's terms allow", most))
		return 0
	}
	return v
}

func (r *reader) sources() []string {
	const path = "weather.sources"
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
