package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/zsefvlol/timezonemapper"

	"thawline/config"
	"thawline/forecast/units"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
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

// elevationFlag reads --elevation; no land lies outside these bounds (the Dead Sea's
// shore and Everest, from memory).
func elevationFlag(text string) (float64, error) {
	metres, err := units.ParseLength(text)
	if err == nil && (metres < -430 || metres > 9000) {
		err = fmt.Errorf("%s: no land lies at that height; check the number and its unit", text)
	}
	return metres, err
}

// maplesTapped reports whether maples are tapped for sap thereabouts (common
// practice): the east of North America, where the signs of degrees are settled.
func maplesTapped(latitudeDeg, longitudeDeg float64) bool {
	return latitudeDeg >= 33 && latitudeDeg <= 60 && longitudeDeg >= -95 && longitudeDeg <= -50
}

// countryOf tells Canada ("CA") and the United States ("US") by the zones of the tz
// database's zone.tab and its older names (public domain); "" for others.
func countryOf(zone *time.Location) string {
	name := zone.String()
	city, american := strings.CutPrefix(name, "America/")
	switch {
	case strings.HasPrefix(name, "Canada/"), american && strings.Contains(canadianZones, " "+city+" "):
		return "CA"
	case strings.HasPrefix(name, "US/"), name == "Pacific/Honolulu",
		american && (strings.Contains(statesZones, " "+city+" ") || strings.HasPrefix(city, "Indiana/") || strings.HasPrefix(city, "Kentucky/") || strings.HasPrefix(city, "North_Dakota/")):
		return "US"
	}
	return ""
}

const (
	canadianZones = " Atikokan Blanc-Sablon Cambridge_Bay Creston Dawson Dawson_Creek Edmonton Fort_Nelson Glace_Bay Goose_Bay Halifax Inuvik Iqaluit Moncton Montreal Nipigon Pangnirtung Rainy_River Rankin_Inlet Regina Resolute St_Johns Swift_Current Thunder_Bay Toronto Vancouver Whitehorse Winnipeg Yellowknife "
	statesZones   = " Adak Anchorage Boise Chicago Denver Detroit Juneau Los_Angeles Menominee Metlakatla New_York Nome Phoenix Sitka Yakutat "
)

// nearbyServices are the weather services to ask for a place, the preferred first:
// each country's own answers there alone.
func nearbyServices(zone *time.Location) []string {
	switch countryOf(zone) {
	case "CA":
		return []string{source.EnvironmentCanadaName, source.METNorwayName}
	case "US":
		return []string{source.NWSName, source.METNorwayName}
	}
	return []string{source.METNorwayName}
}
