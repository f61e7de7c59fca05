package trunk

import (
	"math"

	"thawline/forecast/weather"
)

// Exposure says how much of the weather above the woods reaches a stem. Shares
// run from 0 to 1.
type Exposure struct {
	FacesDeg  float64 // where the slope or the tapped side looks, clockwise from north; NaN for neither
	SunShare  float64 // of sunlight that passes the crowns
	SkyView   float64 // of the stem's surroundings that is open sky
	WindShare float64 // of the wind at 10 m that is felt at breast height
}

// Canopy is how closely the crowns stand.
type Canopy string

// The canopies that settings name.
const (
	Closed  Canopy = "closed"
	Thinned Canopy = "thinned"
	Open    Canopy = "open"
)

// Exposed returns the exposure of stems under a leafless canopy. A closed one
// and its neighbours' stems pass about a third of the light (common practice);
// its shares of light, sky and wind rank the visits of the tap logs of 2013 and
// 2014 best (CC0, Baumer et al.), and the other canopies lie between it and the
// open field.
func Exposed(c Canopy, facesDeg float64) Exposure {
	e := Exposure{FacesDeg: facesDeg}
	switch c {
	case Open:
		e.SunShare, e.SkyView, e.WindShare = 0.9, 0.5, 0.7
	case Thinned:
		e.SunShare, e.SkyView, e.WindShare = 0.55, 0.35, 0.6
	default:
		e.SunShare, e.SkyView, e.WindShare = 0.3, 0.25, 0.5
	}
	return e
}

const (
	barkAbsorptivity = 0.65 // of short-wave radiation (0.6 to 0.7, from memory)
	barkEmissivity   = 0.95 // from memory
	stefanBoltzmann  = 5.670374419e-8
	kelvin           = 273.15
	snowAlbedo       = 0.6 // old snow, from memory
	bareAlbedo       = 0.2 // litter and grass, from memory
	unknownAlbedo    = 0.4 // patches of both
	sidedShare       = 0.5 // how far the tapped side, not the whole bole, sets its wood's temperature
)

// Air at 0 °C (from memory).
const (
	airConductivity = 0.0243  // W/m/K
	airViscosity    = 1.33e-5 // m²/s, kinematic
	airPrandtl      = 0.71
)

// ConvectionWM2K is the coefficient of heat transfer of a cylinder in cross
// flow, in W/m²/K, for its diameter in m and the wind in m/s (Churchill and
// Bernstein 1977, from memory), and at least the 3 W/m²/K of still air.
func ConvectionWM2K(diameterM, windMS float64) float64 {
	re := max(windMS, 0) * diameterM / airViscosity
	nu := 0.3 + 0.62*math.Sqrt(re)*math.Cbrt(airPrandtl)/
		math.Pow(1+math.Pow(0.4/airPrandtl, 2.0/3), 0.25)*
		math.Pow(1+math.Pow(re/282000, 5.0/8), 0.8)
	return max(nu*airConductivity/diameterM, 3)
}

// convection tabulates ConvectionWM2K: it is asked for every member and hour.
type convection struct {
	table [161]float64 // by quarter of a m/s
}

func newConvection(diameterM float64) *convection {
	c := &convection{}
	for i := range c.table {
		c.table[i] = ConvectionWM2K(diameterM, float64(i)/4)
	}
	return c
}

func (c *convection) at(windMS float64) float64 {
	x := min(max(windMS*4, 0), float64(len(c.table)-1)-1e-9)
	i := int(x)
	return c.table[i] + (x-float64(i))*(c.table[i+1]-c.table[i])
}

// Both factors of the emissivity of a clear sky, tabulated: they are asked for
// every member and hour, and are smooth (within 1e-6).
var (
	clearSky = newSmooth(func(dewPointC float64) float64 {
		return 1.24 * math.Pow(weather.SaturationVapourHPa(dewPointC), 1.0/7)
	})
	airRoot = newSmooth(func(c float64) float64 { return math.Pow(c+kelvin, -1.0/7) })
)

// smooth is a function of a temperature from -90 to 70 °C in steps of a quarter.
type smooth struct{ table [641]float64 }

func newSmooth(f func(c float64) float64) *smooth {
	s := &smooth{}
	for i := range s.table {
		s.table[i] = f(float64(i)/4 - 90)
	}
	return s
}

func (s *smooth) at(c float64) float64 {
	x := min(max((c+90)*4, 0), float64(len(s.table)-1)-1e-9)
	i := int(x)
	return s.table[i] + (x-float64(i))*(s.table[i+1]-s.table[i])
}

// SkyEmissivity is the emissivity of the sky for air at a temperature and dew
// point in °C under the given percentage of cloud (Brutsaert 1975 for the clear
// part, Unsworth and Monteith 1975 for cloud; both from memory).
func SkyEmissivity(temperatureC, dewPointC, cloudPct float64) float64 {
	clear := min(clearSky.at(dewPointC)*airRoot.at(temperatureC), 1)
	c := 0.84 * cloudPct / 100
	return clear*(1-c) + c
}

// Barks computes what drives a stem and the branches above it in as many hours of
// a series as stem has room for, from one on. beams are those of the sun at the middle of
// each hour of the series. Through the bark of an hour whose air, wind or cloud is not
// known no heat passes: the wood stays as it was.
func Barks(stem, branch []Bark, e Exposure, s *weather.Series, from int, beams []beam, stemTable, branchTable *convection) {
	to := from + len(stem)
	temperature, wind := s.Col(weather.TemperatureC)[from:to], s.Col(weather.WindSpeedMS)[from:to]
	sun, cloud := s.Col(weather.ShortwaveWM2)[from:to], s.Col(weather.CloudCoverPct)[from:to]
	dew, snow := s.Given(weather.DewPointC), s.Given(weather.SnowDepthM)
	beams = beams[from:to]
	// Crowns stand in the open: full wind, all the sun, half the sky.
	open := Exposure{SunShare: 1}
	for i, t := range temperature {
		if math.IsNaN(t + wind[i] + cloud[i]) {
			stem[i], branch[i] = Bark{}, Bark{}
			continue
		}
		tk := t + kelvin
		td := t - 4 // air at about 75 % humidity
		if dew != nil && !math.IsNaN(dew[from+i]) {
			td = dew[from+i]
		}
		black := barkEmissivity * stefanBoltzmann * tk * tk * tk * tk
		sky := black * (SkyEmissivity(t, td, cloud[i]) - 1)
		radiative := 4 * black / tk
		onStem, onBranch := 0.0, 0.0
		if sun[i] > 0 {
			ground := unknownAlbedo
			if snow != nil {
				ground = albedo(snow[from+i])
			}
			light := lightOf(sun[i], &beams[i], ground)
			onStem, onBranch = barkAbsorptivity*e.onStem(light, beams[i].share), barkAbsorptivity*open.onStem(light, wholeRound)
		}
		h := stemTable.at(wind[i]*e.WindShare) + radiative
		stem[i] = Bark{h, t + (onStem+e.SkyView*sky)/h}
		h = branchTable.at(wind[i]*0.7) + radiative
		branch[i] = Bark{h, t + (onBranch+0.5*sky)/h}
	}
}

func albedo(snowDepthM float64) float64 {
	switch {
	case math.IsNaN(snowDepthM):
		return unknownAlbedo
	case snowDepthM > 0.02:
		return snowAlbedo
	}
	return bareAlbedo
}

// beam is where the sun stands, as many members of one weather need it: sine and cosine of
// its elevation, and the share of its beam that falls on a stem.
type beam struct{ sin, cos, share float64 }

// wholeRound is the share of a beam on a plane across its path that falls on a vertical
// cylinder, on average round it.
const wholeRound = 1 / math.Pi

// beams are those of a stem by hour: a beam I gives I cos(elevation)/π on average round
// it, and I cos(elevation) cos(azimuth difference) on one side.
func (e Exposure) beams(suns []weather.Sun) []beam {
	out := make([]beam, len(suns))
	for i, sun := range suns {
		b := beam{share: wholeRound}
		b.sin, b.cos = math.Sincos(sun.ElevationDeg * (math.Pi / 180))
		if !math.IsNaN(e.FacesDeg) {
			side := max(0, math.Cos((sun.AzimuthDeg-e.FacesDeg)*math.Pi/180))
			b.share += sidedShare * (side - wholeRound)
		}
		out[i] = b
	}
	return out
}

// light is what falls on upright bark, W/m²: the beam on a plane across its
// path, times cos(elevation), and what comes from sky and ground, each of which
// fills half of what the bark sees.
type light struct{ beam, sky, ground float64 }

func lightOf(shortwaveWM2 float64, sun *beam, albedo float64) light {
	diffuse := shortwaveWM2 * weather.DiffuseFraction(shortwaveWM2, sun.sin)
	l := light{sky: diffuse / 2, ground: albedo * shortwaveWM2 / 2}
	if sun.sin > lowestBeam {
		l.beam = min((shortwaveWM2-diffuse)/sun.sin, 1000) * sun.cos
	}
	return l
}

// lowestBeam is the sine of 3 degrees: a sun below sends no beam into the woods.
const lowestBeam = 0.05233595624294383

// onStem is the short-wave radiation on a square metre of upright bark in W/m², of which
// so much of the beam falls on the stem.
func (e Exposure) onStem(l light, share float64) float64 {
	return e.SunShare * (l.beam*share + l.sky + l.ground)
}
