package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"thawline/forecast"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
)

func (r *reader) site(at, id string, system units.System) forecast.Site {
	s := forecast.Site{ID: id, Name: r.textOr(join(at, "name"), id), TreeDiameterM: forecast.UsualDiameterM}
	s.Place.ElevationM = math.NaN()
	r.place(at, &s)
	if m, ok := r.measure(join(at, "elevation"), units.ParseLength, -100, 4000,
		"no sugar bush lies at that height", "check the number and its unit"); ok {
		s.Place.ElevationM = m
	}
	if m, ok := r.measure(join(at, "tree_diameter"), units.ParseDiameter, 0.05, 2,
		"no tapped tree is that wide", "check the number and its unit; it is the width of the stem at breast height"); ok {
		s.TreeDiameterM = m
	}
	s.Exposure = r.exposure(join(at, "exposure"))
	s.Tanks = r.tanks(join(at, "tanks"), system)
	s.Groups = r.groups(join(at, "groups"), &s, system)
	s.Gathering = r.gathering(join(at, "gathering"), system)
	s.Boiling = r.boiling(join(at, "boiling"), system)
	s.ShareTanks()
	return s
}

// place reads where a site lies and the clock it keeps, and checks one against
// the other.
func (r *reader) place(at string, s *forecast.Site) {
	latitude, latitudeOK := r.number(join(at, "latitude"), "the latitude", "write degrees north, such as 44.35")
	longitude, longitudeOK := r.number(join(at, "longitude"), "the longitude", "write degrees east, below zero in the Americas, such as -72.68")
	zone, problem := LoadZone(r.text(join(at, "zone")))
	if problem != nil {
		r.fail(join(at, "zone"), problem.What, problem.Remedy)
		zone = nil
	}
	if latitudeOK && longitudeOK {
		for _, p := range CheckPlace(latitude, longitude, zone) {
			r.fail(join(at, p.Key), p.What, p.Remedy)
		}
	}
	s.Place.LatitudeDeg, s.Place.LongitudeDeg, s.Zone = latitude, longitude, zone
}

var faces = []string{"north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest", "level"}

func (r *reader) exposure(at string) trunk.Exposure {
	facesDeg := math.NaN()
	toward := r.oneOf(join(at, "faces"), "direction", faces, "level")
	if i := slices.Index(faces, toward); i >= 0 && toward != "level" {
		facesDeg = float64(i) * 45
	}
	canopies := []string{string(trunk.Closed), string(trunk.Thinned), string(trunk.Open)}
	return trunk.Exposed(trunk.Canopy(r.oneOf(join(at, "canopy"), "canopy", canopies, string(trunk.Closed))), facesDeg)
}

func (r *reader) tanks(path string, system units.System) []forecast.Tank {
	var out []forecast.Tank
	ids := seenIDs{}
	for _, at := range r.entries(path) {
		t := forecast.Tank{ID: r.id(at, ids)}
		t.Kind = forecast.TankKind(r.oneOf(join(at, "kind"), "kind of tank", []string{string(forecast.GatheringTank), string(forecast.StorageTank)}, string(forecast.StorageTank)))
		t.VolumeL = r.volume(join(at, "volume"), system, "the volume of the tank", 5, 1e6, "no sap tank is that size")
		out = append(out, t)
	}
	return out
}

// volume reads a volume that must be there.
func (r *reader) volume(path string, system units.System, what string, lowL, highL float64, absurd string) float64 {
	if r.text(path) == "" {
		r.fail(path, what+" is missing", "write it with its unit, such as 7.5 L or 2 gal")
		return 0
	}
	parse := func(text string) (float64, error) { return units.ParseVolume(text, system) }
	l, _ := r.measure(path, parse, lowL, highL, absurd, "check the number and its unit")
	return l
}

func (r *reader) groups(path string, s *forecast.Site, system units.System) []forecast.Group {
	var out []forecast.Group
	ids := seenIDs{}
	for _, at := range r.entries(path) {
		g := forecast.Group{ID: r.id(at, ids)}
		g.Name = r.textOr(join(at, "name"), g.ID)
		g.Taps = r.taps(join(at, "taps"))
		g.Tapped = r.date(join(at, "tapped"), s.Zone)
		by := r.oneOf(join(at, "collected_by"), "way of collecting", []string{string(volume.Pail), Bucket, string(volume.Bag), string(volume.TubingGravity), string(volume.TubingVacuum)}, "")
		if by == Bucket {
			by = string(volume.Pail)
		}
		switch g.Method = volume.Method(by); g.Method {
		case volume.Pail, volume.Bag:
			g.ContainerL = r.volume(join(at, "container"), system, "the volume of the "+by+" at each tap", 1, 40, "no "+by+" at a tap is that size")
			r.unwanted(join(at, "tank"), by, "a tank is where tubing ends: one that pails are emptied into stands under tanks alone")
			r.unwanted(join(at, "vacuum"), by, "only tubing can be under vacuum")
		case volume.TubingGravity, volume.TubingVacuum:
			g.TankID = r.tankOf(join(at, "tank"), s.Tanks)
			r.unwanted(join(at, "container"), by, "tubing has no container at the tap")
			if g.Method == volume.TubingVacuum {
				g.VacuumKPa = r.vacuum(join(at, "vacuum"))
			} else {
				r.unwanted(join(at, "vacuum"), by, "only tubing_vacuum has a pump")
			}
		}
		out = append(out, g)
	}
	if len(out) == 0 {
		r.fail(path, "no group of taps is described", `write at least one, beginning with "- id:"`)
	}
	return out
}

// maxTaps is beyond the largest bush there is.
const maxTaps = 1_000_000

func (r *reader) taps(path string) int {
	const remedy = "write how many taps the group has"
	text := r.text(path)
	if text == "" {
		r.fail(path, "the number of taps is missing", remedy)
		return 0
	}
	n, err := strconv.Atoi(text)
	switch {
	case err != nil:
		r.fail(path, text+": not a whole number", remedy)
	case n < 0:
		r.fail(path, text+" taps: a number of taps can't be below zero", remedy)
	case n == 0:
		r.fail(path, "0 taps: a group without taps gives no sap", remedy+", or leave the group out")
	case n > maxTaps:
		r.fail(path, text+" taps: no bush has that many", remedy)
	default:
		return n
	}
	return 0
}

// date reads a day, midnight in the zone; zero where it is not given.
func (r *reader) date(path string, zone *time.Location) time.Time {
	text := r.text(path)
	if text == "" {
		return time.Time{}
	}
	if zone == nil {
		zone = time.UTC
	}
	day, err := time.ParseInLocation(time.DateOnly, text, zone)
	if err != nil {
		r.fail(path, text+": not a date", "write year-month-day, such as 2026-02-20")
	}
	return day
}

func (r *reader) vacuum(path string) float64 {
	if r.text(path) == "" {
		r.fail(path, "the vacuum of the line is missing", "write what the gauge shows, such as 20 inHg or 68 kPa")
		return 0
	}
	v, _ := r.measure(path, units.ParseVacuum, 0, 95, "no pump pulls that much", "write what the gauge shows, at most 95 kPa or 28 inHg")
	return v
}

func (r *reader) tankOf(path string, tanks []forecast.Tank) string {
	id := r.text(path)
	known := make([]string, len(tanks))
	for i, t := range tanks {
		known[i] = t.ID
	}
	switch {
	case id == "":
		r.fail(path, "the tank that the tubing ends in is missing", "name it by its id and describe it under the site's tanks")
	case !slices.Contains(known, id):
		r.fail(path, fmt.Sprintf("%s: no such tank at this site", id), units.Suggest(id, known, "describe it under the site's tanks"))
	default:
		return id
	}
	return ""
}

// unwanted complains about a setting that does not go with the way of
// collecting.
func (r *reader) unwanted(path, collectedBy, why string) {
	if text := r.text(path); text != "" {
		r.fail(path, fmt.Sprintf("%s: given for %s, but %s", text, collectedBy, why), "leave it out or change collected_by")
	}
}
