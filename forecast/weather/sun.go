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
	o := orbitAt(t)
	return o.above(latitudeDeg*rad, longitudeDeg)
}

// orbit is what of the sun's position is the same everywhere on earth.
type orbit struct {
	sinDecl, cosDecl, tanDecl float64
	solarMin                  float64 // minutes of the day by the sun at longitude 0
}

func orbitAt(t time.Time) orbit {
	days := float64(t.Unix())/86400 + 2440587.5 - 2451545.0
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
	utcMin := math.Mod(float64(t.Unix())/60, 1440)
	return orbit{math.Sin(decl), math.Cos(decl), math.Tan(decl), utcMin + equationMin}
}

// above is the sun over a place, whose latitude is in radians.
func (o *orbit) above(lat, longitudeDeg float64) Sun {
	hourAngle := (turned(o.solarMin+4*longitudeDeg+2880, 1440)/4 - 180) * rad
	sinLat, cosLat, cosAngle := math.Sin(lat), math.Cos(lat), math.Cos(hourAngle)
	sinEl := sinLat*o.sinDecl + cosLat*o.cosDecl*cosAngle
	az := math.Atan2(math.Sin(hourAngle), cosAngle*sinLat-o.tanDecl*cosLat)
	return Sun{ElevationDeg: math.Asin(sinEl) / rad, AzimuthDeg: turned(az/rad+180, 360)}
}

// turned is math.Mod for what is not negative and a few turns at most: it takes away whole
// turns, which is exact, too.
func turned(x, turn float64) float64 {
	if x >= 2*turn {
		x -= 2 * turn
	}
	for x >= turn {
		x -= turn
	}
	return x
}

// almanac keeps what of the sun is the same everywhere, at the middle of each hour, by
// day: sites ask for the same days again and again.
var almanac struct {
	sync.RWMutex
	days map[int64]*[24]orbit // since 1970
}

// almanacDays is how many days are kept: a year and a half.
const almanacDays = 550

func almanacDay(day int64) *[24]orbit {
	almanac.RLock()
	known := almanac.days[day]
	almanac.RUnlock()
	if known != nil {
		return known
	}
	known = &[24]orbit{}
	for h := range known {
		known[h] = orbitAt(time.Unix(day*86400+int64(h)*3600+1800, 0))
	}
	almanac.Lock()
	defer almanac.Unlock()
	if almanac.days == nil || len(almanac.days) >= almanacDays {
		almanac.days = map[int64]*[24]orbit{}
	}
	almanac.days[day] = known
	return known
}

// Suns returns the sun at the middle of each hour of a series.
func Suns(s *Series, place Place) []Sun {
	suns := make([]Sun, s.Hours())
	lat := place.LatitudeDeg * rad
	hour := s.start.Hour() // series begin with an hour
	number := (s.start.Unix() - int64(hour)*3600) / 86400
	day := almanacDay(number)
	for i := range suns {
		if hour == 24 {
			hour, number = 0, number+1
			day = almanacDay(number)
		}
		suns[i] = day[hour].above(lat, place.LongitudeDeg)
		hour++
	}
	return suns
}

// skies are what a clear sky sends under suns, W/m².
func skies(suns []Sun) []float64 {
	out := make([]float64, len(suns))
	for i := range out {
		out[i] = ClearSkyShortwaveWM2(suns[i].ElevationDeg)
	}
	return out
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
	return underCloud(ClearSkyShortwaveWM2(elevationDeg), cloudPct)
}

// underCloud is what clouds leave of a clear sky's radiation.
func underCloud(clearWM2, cloudPct float64) float64 {
	return clearWM2 * (1 - 0.75*math.Pow(min(max(cloudPct, 0), 100)/100, 3.4))
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

// cloudPctFrom inverts underCloud; NaN where the sun is too low to tell.
func cloudPctFrom(shortwaveWM2, clearWM2 float64) float64 {
	if clearWM2 < 50 {
		return math.NaN()
	}
	return cloudPctOf(shortwaveWM2 / clearWM2)
}

// cloudPctOf is the cover that lets a share of a clear sky's sunshine through.
func cloudPctOf(share float64) float64 {
	return 100 * math.Pow(min(max((1-share)/0.75, 0), 1), 1/3.4)
}
