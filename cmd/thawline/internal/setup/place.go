package setup

import (
	"strings"
	"time"

	"thawline/forecast/weather/source"
)

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
		american && (strings.Contains(statesZones, " "+city+" ") || strings.HasPrefix(city, "Indiana/") ||
			strings.HasPrefix(city, "Kentucky/") || strings.HasPrefix(city, "North_Dakota/")):
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
