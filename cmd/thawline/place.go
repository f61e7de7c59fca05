package main

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/zsefvlol/timezonemapper"

	"thawline/config"
	"thawline/forecast/weather"
)

// placeFromFlags reads --at and --tz, telling fail what is wrong. The zone is
// nil where none is given.
func placeFromFlags(at, zoneName string, fail func(flag, what string)) (latitude, longitude float64, zone *time.Location) {
	if zoneName != "" {
		z, problem := config.LoadZone(zoneName)
		if problem != nil {
			fail("--tz", problem.What+"; "+problem.Remedy)
		}
		zone = z
	}
	lat, lon, ok := strings.Cut(at, ",")
	latitude, err1 := strconv.ParseFloat(strings.TrimSpace(lat), 64)
	longitude, err2 := strconv.ParseFloat(strings.TrimSpace(lon), 64)
	if !ok || err1 != nil || err2 != nil {
		fail("--at "+at, "write degrees north and east with a comma between, such as 44.21,-72.84")
		return math.NaN(), math.NaN(), zone
	}
	for _, p := range config.CheckPlace(latitude, longitude, zone) {
		fail("--at "+at, p.What+"; "+p.Remedy)
	}
	return latitude, longitude, zone
}

// mapZone is the zone that a service reported, or that the map gives.
func mapZone(reported string, place weather.Place) (*time.Location, error) {
	name := reported
	if name == "" {
		name = timezonemapper.LatLngToTimezoneString(place.LatitudeDeg, place.LongitudeDeg)
	}
	zone, problem := config.LoadZone(name)
	if problem != nil {
		return nil, &wrongUse{"the time zone of the place is not known (" + problem.What + "); give it with --tz"}
	}
	return zone, nil
}
