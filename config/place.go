package config

import (
	"fmt"
	"math"
	"strings"
	"time"
	_ "time/tzdata" // zones must load on machines that have none

	"thawline/forecast/units"
)

// maxHoursFromSun is how far a winter clock may stand from the sun: no zone that
// people live by comes near, but China's in its far west.
const maxHoursFromSun = 3

// CheckPlace tells what is wrong with a place on the map: degrees that do not
// exist, a place at sea, or, where zone is not nil, clocks that can't be those
// of the place. The keys are latitude, longitude and zone.
func CheckPlace(latitudeDeg, longitudeDeg float64, zone *time.Location) []Problem {
	var out []Problem
	if !(math.Abs(latitudeDeg) <= 90) { // true of NaN as well
		out = append(out, Problem{
			Key: "latitude", What: fmt.Sprintf("%v: a latitude lies between -90 and 90", latitudeDeg),
			Remedy: "write degrees north, such as 44.35",
		})
	}
	if !(math.Abs(longitudeDeg) <= 180) {
		out = append(out, Problem{
			Key: "longitude", What: fmt.Sprintf("%v: a longitude lies between -180 and 180", longitudeDeg),
			Remedy: "write degrees east, below zero in the Americas, such as -72.68",
		})
	}
	if len(out) > 0 {
		return out
	}
	if atSea(latitudeDeg, longitudeDeg) {
		out = append(out, Problem{
			Key: "latitude", What: fmt.Sprintf("%v, %v lies at sea, with no land within half a degree", latitudeDeg, longitudeDeg),
			Remedy: "check latitude and longitude, their order and their signs (west is below zero)",
		})
	}
	if zone == nil {
		return out
	}
	// In January the north keeps its standard time.
	_, offset := time.Date(2026, time.January, 15, 12, 0, 0, 0, time.UTC).In(zone).Zone()
	away := math.Abs(math.Remainder(float64(offset)/3600-longitudeDeg/15, 24))
	if away > maxHoursFromSun {
		out = append(out, Problem{
			Key: "zone", What: fmt.Sprintf("%s keeps clocks %.1f h away from the sun at longitude %.1f", zone, away, longitudeDeg),
			Remedy: "check the zone and the sign of the longitude",
		})
	}
	return out
}

// LoadZone loads a zone by its IANA name. The problem, if any, has the key
// zone.
func LoadZone(name string) (*time.Location, *Problem) {
	if name == "" {
		return nil, &Problem{Key: "zone", What: "the time zone is missing", Remedy: "write its IANA name, such as America/New_York"}
	}
	zone, err := time.LoadLocation(name)
	if err != nil || name == "Local" {
		return nil, &Problem{
			Key: "zone", What: name + ": no such time zone",
			Remedy: units.Suggest(name, familiarZones, "write its IANA name, such as America/New_York"),
		}
	}
	if place, _, _ := strings.Cut(name, "/"); place == name || place == "Etc" {
		return nil, &Problem{
			Key: "zone", What: name + ": clocks that no place keeps all year",
			Remedy: "write the IANA name of the place's zone, " + regionOf(name),
		}
	}
	return zone, nil
}

// regionOf gives zones as an example to those who write the short name of a clock.
func regionOf(short string) string {
	zones, known := map[string]string{
		"EST": "America/New_York or America/Toronto", "CST": "America/Chicago or America/Winnipeg",
		"AST": "America/Halifax or America/Moncton",
		"MST": "America/Denver or America/Edmonton", "PST": "America/Los_Angeles or America/Vancouver", "NST": "America/St_Johns",
	}[short[:min(len(short), 3)]]
	if !known {
		zones = "America/New_York"
	}
	return "such as " + zones
}

// familiarZones are those of the places where maples are tapped, to suggest
// from.
var familiarZones = []string{
	"America/New_York", "America/Toronto", "America/Montreal", "America/Detroit", "America/Chicago",
	"America/Halifax", "America/Moncton", "America/Glace_Bay", "America/St_Johns", "America/Winnipeg",
	"America/Thunder_Bay", "America/Menominee", "America/Regina", "America/Edmonton", "America/Vancouver",
	"America/Denver", "America/Los_Angeles", "America/Indiana/Indianapolis", "America/Kentucky/Louisville",
	"US/Eastern", "US/Central", "Canada/Eastern", "Canada/Atlantic", "Europe/London", "Europe/Paris",
	"Europe/Berlin", "Europe/Oslo", "Europe/Stockholm", "Europe/Helsinki", "Asia/Seoul", "Asia/Tokyo",
}
