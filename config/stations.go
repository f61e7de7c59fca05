package config

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"thawline/forecast/units"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// atBush names the bush's own place among stations, with the services of the settings.
const atBush = "bush"

// stationForm is how a station elsewhere is written: a name, degrees north and east, its
// height where known, and the service where it is not those of the settings.
var stationForm = regexp.MustCompile(`^(.*\S)\s+(-?[0-9.]+)\s+(-?[0-9.]+)(?:\s+(-?[0-9.]+\s*(?:m|ft|feet)))?(?:\s+by\s+(\S+))?$`)

// stations reads whose weather is mixed for a bush.
func (r *reader) stations(path string) []weather.Station {
	const remedy = "write bush, a service, or a place with its name and degrees north and east, such as Madison 43.07 -89.40 264 m"
	var out []weather.Station
	for _, one := range r.list(path) {
		s := weather.Station{Name: one.text,
			Place: weather.Place{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN(), ElevationM: math.NaN()}}
		parts := stationForm.FindStringSubmatch(one.text)
		switch {
		case parts != nil:
			s.Name, s.Service = parts[1], parts[5]
			s.Place.LatitudeDeg, _ = strconv.ParseFloat(parts[2], 64) // what is no number lies nowhere, below
			s.Place.LongitudeDeg, _ = strconv.ParseFloat(parts[3], 64)
			if parts[4] != "" {
				s.Place.ElevationM, _ = units.ParseLength(parts[4])
			}
			for _, problem := range CheckPlace(s.Place.LatitudeDeg, s.Place.LongitudeDeg, nil) {
				r.fail(one.at, one.text+": "+problem.What, problem.Remedy)
			}
			if s.Service != "" && r.known(one.at, s.Service, "weather service", source.Names()) == "" {
				continue
			}
		case slices.Contains(source.Names(), one.text):
			s.Service = one.text
		case one.text != atBush:
			r.fail(one.at, one.text+": neither a weather service nor a place",
				units.Suggest(one.text, append(source.Names(), atBush), remedy))
			continue
		}
		if slices.ContainsFunc(out, func(o weather.Station) bool { return strings.EqualFold(o.Name, s.Name) }) {
			r.fail(one.at, s.Name+": named twice", "give each station a name of its own")
			continue
		}
		if strings.Contains(s.Name, weather.MixedNames) {
			r.fail(one.at, s.Name+": a name with a plus sign", "leave it out: it stands between stations")
			continue
		}
		out = append(out, s)
	}
	return out
}
