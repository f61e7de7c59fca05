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

// Coordinate writes degrees with at most four decimals and no trailing zero:
// weather services refuse, or redirect, anything longer.
func Coordinate(deg float64) string {
	return strconv.FormatFloat(math.Round(deg*1e4)/1e4, 'f', -1, 64)
}
