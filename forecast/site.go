package forecast

import (
	"time"

	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Site is one sugarbush.
type Site struct {
	ID, Name      string
	Place         weather.Place
	Zone          *time.Location
	TreeDiameterM float64
	Exposure      trunk.Exposure
	Groups        []Group
}

// Group is taps that are alike and gathered together.
type Group struct {
	ID, Name   string
	Taps       int
	Method     volume.Method
	ContainerL float64 // at each tap, for pails and bags; else 0
	TankL      float64 // shared by the group's tubing; else 0
	VacuumKPa  float64
	Tapped     time.Time // zero if nobody has said
}

// Taps is how many taps the site has.
func (s *Site) Taps() int {
	n := 0
	for _, g := range s.Groups {
		n += g.Taps
	}
	return n
}
