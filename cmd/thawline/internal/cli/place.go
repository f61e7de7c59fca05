package cli

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/weather/zone"

	"thawline/config"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// PlaceFromFlags reads --at and --tz, telling fail what is wrong. The zone is
// nil where none is given.
func PlaceFromFlags(at, zoneName string, fail func(flag, what string)) (latitude, longitude float64, zone *time.Location) {
	if zoneName != "" {
		z, problem := config.LoadZone(zoneName)
		if problem != nil {
			fail("--tz", problem.What+"; "+problem.Remedy)
		}
		zone = z
	}
	latitude, longitude, err := units.ParsePlace(at)
	if err != nil {
		fail("--at", err.Error())
		return math.NaN(), math.NaN(), zone
	}
	for _, p := range config.CheckPlace(latitude, longitude, zone) {
		fail("--at "+at, p.What+"; "+p.Remedy)
	}
	return latitude, longitude, zone
}

// ZoneOf is the zone that a service reported, or that the map gives.
func ZoneOf(reported string, place weather.Place) (*time.Location, error) {
	name := reported
	if name == "" {
		name = zone.At(place.LatitudeDeg, place.LongitudeDeg)
	}
	loaded, problem := config.LoadZone(name)
	if problem != nil {
		return nil, WrongUse("the time zone of the place is not known (" + problem.What + "); give it with --tz")
	}
	return loaded, nil
}

// parseElevation reads --elevation; no land lies outside these bounds (the Dead Sea's
// shore and Everest, from memory).
func parseElevation(text string) (float64, error) {
	metres, err := units.ParseLength(text)
	if err == nil && (metres < -430 || metres > 9000) {
		err = fmt.Errorf("%s: no land lies at that height; check the number and its unit", text)
	}
	return metres, err
}
