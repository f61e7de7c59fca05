package weather

import (
	"math"
	"sync"
	"time"
)

// Sun is where the sun stands: degrees above the horizon without refraction,
// and degrees clockwise from north.
type Sun struct {
	ElevationDeg, AzimuthDeg float64
}

const rad = math.Pi / 180

// SunAt computes the sun's position by the low-accuracy equations of Meeus,
// Astronomical Algorithms, ch. 25, as NOAA's solar calculator uses them: within
// about 0.01 degrees in this century.
func SunAt(t time.Time, latitudeDeg, longitudeDeg float64) Sun {
	h := heavenAt(t.Unix())
	return h.sun(math.Sin(latitudeDeg*rad), math.Cos(latitudeDeg*rad), longitudeDeg)
}

// heaven is how the sun stands at a moment, wherever one is: its declination, and where on
// the turning earth it is noon.
type heaven struct{ sinDecl, cosDecl, tanDecl, noonMin float64 }

func heavenAt(unix int64) heaven {
	days := float64(unix)/86400 + 2440587.5 - 2451545.0
	c := days / 36525
	meanLon := math.Mod(280.46646+c*(36000.76983+c*0.0003032), 360)
	anomaly := (357.52911 + c*(35999.05029-0.0001537*c)) * rad
	centre := math.Sin(anomaly)*(1.914602-c*(0.004817+0.000014*c)) +
		math.Sin(2*anomaly)*(0.019993-0.000101*c) + math.Sin(3*anomaly)*0.000289
	node := (125.04 - 1934.136*c) * rad
	lon := (meanLon + centre - 0.00569 - 0.00478*math.Sin(node)) * rad
	tilt := (23 + (26+(21.448-c*(46.815+c*(0.00059-c*0.001813)))/60)/60 + 0.00256*math.Cos(node)) * rad
	decl := math.Asin(math.Sin(tilt) * math.Sin(lon))

	ecc := 0.016708634 - c*(0.000042037+0.0000001267*c)
	y := math.Tan(tilt / 2)
	y *= y
	l := meanLon * rad
	equationMin := 4 / rad * (y*math.Sin(2*l) - 2*ecc*math.Sin(anomaly) +
		4*ecc*y*math.Sin(anomaly)*math.Cos(2*l) -
		0.5*y*y*math.Sin(4*l) - 1.25*ecc*ecc*math.Sin(2*anomaly))
	return heaven{math.Sin(decl), math.Cos(decl), math.Tan(decl), math.Mod(float64(unix)/60, 1440) + equationMin}
}

func (h *heaven) sun(sinLat, cosLat, longitudeDeg float64) Sun {
	hourAngle := (math.Mod(h.noonMin+4*longitudeDeg+2880, 1440)/4 - 180) * rad
	cosHour := math.Cos(hourAngle)
	sinEl := sinLat*h.sinDecl + cosLat*h.cosDecl*cosHour
	az := math.Atan2(math.Sin(hourAngle), cosHour*sinLat-h.tanDecl*cosLat)
	return Sun{ElevationDeg: math.Asin(sinEl) / rad, AzimuthDeg: math.Mod(az/rad+180, 360)}
}

// heavens keep how the sun stands at the middle of each hour of a day, UTC, by day: all
// bushes ask for the same.
var heavens struct {
	sync.Mutex
	days map[int64]*[24]heaven
}

// keptHeavens are as many as two seasons ask for, 400 kB.
const keptHeavens = 512

func heavensOf(day int64) *[24]heaven {
	heavens.Lock()
	defer heavens.Unlock()
	if kept := heavens.days[day]; kept != nil {
		return kept
	}
	if heavens.days == nil || len(heavens.days) >= keptHeavens {
		heavens.days = map[int64]*[24]heaven{}
	}
	made := &[24]heaven{}
	for h := range made {
		made[h] = heavenAt(day*86400 + int64(h)*3600 + 1800)
	}
	heavens.days[day] = made
	return made
}

// Suns returns the sun at the middle of each hour of a series.
func Suns(s *Series, place Place) []Sun {
	suns := make([]Sun, s.Hours())
	sinLat, cosLat := math.Sin(place.LatitudeDeg*rad), math.Cos(place.LatitudeDeg*rad)
	var of *[24]heaven
	for i := range suns {
		at := s.Time(i)
		if hour := at.Hour(); of == nil || hour == 0 {
			of = heavensOf(at.Add(-time.Duration(hour)*time.Hour).Unix() / 86400)
		}
		suns[i] = of[at.Hour()].sun(sinLat, cosLat, place.LongitudeDeg)
	}
	return suns
}

// SolarConstantWM2 is the sun's irradiance at the mean distance of the earth
// (Kopp and Lean 2011, from memory).
const SolarConstantWM2 = 1361.0

// ClearSkyShortwaveWM2 is short-wave radiation on level ground under a clear
// sky (Haurwitz 1945, from memory); 0 with the sun below the horizon.
func ClearSkyShortwaveWM2(elevationDeg float64) float64 {
	s := math.Sin(elevationDeg * rad)
	if s <= 0 {
		return 0
	}
	return 1098 * s * math.Exp(-0.057/s)
}

// CloudyShortwaveWM2 is short-wave radiation under a sky covered by the given
// percentage of cloud (Kasten and Czeplak 1980, from memory).
func CloudyShortwaveWM2(elevationDeg, cloudPct float64) float64 {
	return ClearSkyShortwaveWM2(elevationDeg) * throughCloud(cloudPct)
}

// throughCloud is the share of a clear sky's sunshine that a cover lets through.
func throughCloud(cloudPct float64) float64 {
	return 1 - 0.75*math.Pow(min(max(cloudPct, 0), 100)/100, 3.4)
}

// clearSkies is the sunshine of a clear sky under each of some suns, W/m².
func clearSkies(suns []Sun) []float64 {
	out := make([]float64, len(suns))
	for i := range suns {
		out[i] = ClearSkyShortwaveWM2(suns[i].ElevationDeg)
	}
	return out
}

// DiffuseFraction is the share of short-wave radiation that comes from the
// whole sky rather than from the sun's disc (Erbs, Klein and Duffie 1982, from
// memory), from radiation on level ground in W/m² and the sine of the sun's elevation.
func DiffuseFraction(shortwaveWM2, sinElevation float64) float64 {
	if sinElevation <= 0.01 {
		return 1
	}
	k := min(max(shortwaveWM2/(SolarConstantWM2*sinElevation), 0), 1)
	switch {
	case k <= 0.22:
		return 1 - 0.09*k
	case k <= 0.8:
		return 0.9511 + k*(-0.1604+k*(4.388+k*(-16.638+k*12.336)))
	}
	return 0.165
}

// tellingWM2 is the sunshine of a clear sky, W/m², from which on cloud can be told by what
// is left of it.
const tellingWM2 = 50

// cloudPctFrom inverts CloudyShortwaveWM2; NaN where the sun is too low to
// tell.
func cloudPctFrom(shortwaveWM2, clearWM2 float64) float64 {
	if clearWM2 < tellingWM2 {
		return math.NaN()
	}
	return cloudPctOf(shortwaveWM2 / clearWM2)
}

// cloudPctOf is the cover that lets a share of a clear sky's sunshine through.
func cloudPctOf(share float64) float64 {
	return 100 * math.Pow(min(max((1-share)/0.75, 0), 1), 1/3.4)
}
