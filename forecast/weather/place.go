package weather

import (
	"math"
	"strconv"
)

// Place is a point on the ground: degrees north and east (WGS 84), and metres
// above sea level, NaN where nobody has said.
type Place struct {
	LatitudeDeg, LongitudeDeg float64
	ElevationM                float64
}

// Station is one of several whose weather is mixed for a bush: a service, a place, or a
// service at a place.
type Station struct {
	Name    string
	Place   Place  // its latitude NaN for the bush's own
	Service string // "" for those of the settings, in their order
}

// Coordinate writes degrees with at most four decimals and no trailing zero:
// weather services refuse, or redirect, anything longer.
func Coordinate(deg float64) string {
	return strconv.FormatFloat(math.Round(deg*1e4)/1e4, 'f', -1, 64)
}
