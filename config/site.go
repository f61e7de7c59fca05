package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/units"
	"thawline/forecast/volume"
)

// site reads one sugarbush. Groups come after tanks and zone, which they name.
func (r *reader) site(at, id string) forecast.Site {
	s := forecast.Site{ID: id, Name: id, TreeDiameterM: forecast.UsualDiameterM}
	s.Place.LatitudeDeg, s.Place.LongitudeDeg, s.Place.ElevationM = math.NaN(), math.NaN(), math.NaN()
	s.Boiling = forecast.Boiling{Pan: boil.Pan{Kind: boil.Flat, Fuel: boil.Wood}, SyrupBrix: 66, RoomC: math.NaN()}
	r.fill(root.below("sites"), at, &s)
	if p := s.Place; p.LatitudeDeg == p.LatitudeDeg && p.LongitudeDeg == p.LongitudeDeg {
		for _, problem := range CheckPlace(p.LatitudeDeg, p.LongitudeDeg, s.Zone) {
			r.fail(join(at, problem.Key), problem.What, problem.Remedy)
		}
	}
	s.Boiling.Row = r.pans(join(at, "boiling.pans"))
	seen := seenIDs{}
	for _, at := range r.entries(join(at, "tanks")) {
		t := forecast.Tank{ID: r.id(at, seen), Kind: forecast.StorageTank}
		r.fill(root.below("sites", "tanks"), at, &t)
		s.Tanks = append(s.Tanks, t)
	}
	r.zone, r.tanks = s.Zone, s.Tanks
	seen = seenIDs{}
	for _, at := range r.entries(join(at, "groups")) {
		g := forecast.Group{ID: r.id(at, seen)}
		g.Name = g.ID
		r.fill(root.below("sites", "groups"), at, &g)
		s.Groups = append(s.Groups, g)
	}
	if len(s.Groups) == 0 {
		r.fail(join(at, "groups"), "no group of taps is described", `write at least one, beginning with "- id:"`)
	}
	s.ShareTanks()
	return s
}

// pans reads several pans in a row, sap goes into the first.
func (r *reader) pans(path string) (row boil.Row) {
	seen := seenIDs{}
	for _, at := range r.entries(path) {
		v := boil.Vessel{ID: r.id(at, seen), Pan: boil.Pan{Kind: boil.Flat, Fuel: boil.Wood}}
		r.fill(root.below("sites", "boiling", "pans"), at, &v)
		if v.HoldBackM > 0 && v.DepthM > 0 && v.HoldBackM >= v.DepthM {
			r.fail(join(at, "hold_back"), "the level to hold back is not below the depth to boil at", "write less, such as 1 in of 1.5 in")
		}
		row = append(row, v)
	}
	return row
}

// depth is how deep a pan boils.
func depth() kind[float64] {
	return measured(units.ParseDiameter, 0.005, 1, "no pan boils that deep", "write a depth with its unit, such as 1.5 in or 4 cm")
}

// stemWidth is how wide a tapped tree is.
func stemWidth() kind[float64] {
	return measured(units.ParseDiameter, 0.05, 2, "no tapped tree is that wide",
		"check the number and its unit; it is the width of the stem at breast height")
}

// degrees are a latitude or longitude.
func degrees(what, remedy string) kind[float64] {
	return number(math.Inf(-1), math.Inf(1), "not a number", "", remedy).needed(what, remedy)
}

// clocks reads a zone.
func (r *reader) clocks(path string) *time.Location {
	zone, problem := LoadZone(r.text(path))
	if problem != nil {
		r.fail(path, problem.What, problem.Remedy)
		return nil
	}
	return zone
}

var faces = []string{"north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest", "level"}

// direction is where a slope looks, in degrees clockwise from north; NaN for level.
func direction() kind[float64] {
	toward := oneOf("direction", faces...)
	return kind[float64]{text, func(r *reader, path string) (float64, bool) {
		word, given := toward.read(r, path)
		if !given || word == "level" {
			return math.NaN(), given
		}
		return float64(slices.Index(faces, word)) * 45, true
	}}
}

const withItsUnit = "write it with its unit, such as 7.5 L or 2 gal"

// way is how sap is collected.
func way() kind[volume.Method] {
	of := neededOneOf("way of collecting", volume.Pail, Bucket, volume.Bag, volume.TubingGravity, volume.TubingVacuum)
	return kind[volume.Method]{text, func(r *reader, path string) (volume.Method, bool) {
		method, given := of.read(r, path)
		if method == Bucket {
			method = volume.Pail
		}
		return method, given
	}}
}

// species is which maples a group's taps are in.
func species() kind[maple.Species] {
	return parsed(func(r *reader, path, text string) (maple.Species, bool) {
		if s, err := maple.Parse(text); err == nil {
			return s, true
		}
		var names []string
		for _, s := range maple.All {
			names = append(names, string(s))
		}
		r.known(path, text, "species", names)
		return "", false
	})
}

// container reads what hangs at each tap, for pails and bags.
func (r *reader) container(path string, g *forecast.Group) {
	switch what := string(g.Method); g.Method {
	case volume.Pail, volume.Bag:
		size := litres(1, 40, "no "+what+" at a tap is that size",
			"check the number and its unit").needed("the volume of the "+what+" at each tap", withItsUnit)
		g.ContainerL, _ = size.read(r, path)
	case volume.TubingGravity, volume.TubingVacuum:
		r.unwanted(path, g.Method, "tubing has no container at the tap")
	}
}

// vacuum reads what a pump pulls.
func (r *reader) vacuum(path string, g *forecast.Group) {
	switch g.Method {
	case volume.TubingVacuum:
		pull := measured(units.ParseVacuum, 0, 95, "no pump pulls that much", "write what the gauge shows, at most 95 kPa or 28 inHg").
			needed("the vacuum of the line", "write what the gauge shows, such as 20 inHg or 68 kPa")
		g.VacuumKPa, _ = pull.read(r, path)
	case volume.TubingGravity:
		r.unwanted(path, g.Method, "only tubing_vacuum has a pump")
	case volume.Pail, volume.Bag:
		r.unwanted(path, g.Method, "only tubing can be under vacuum")
	}
}

// tankOf reads which tank of the site tubing ends in.
func (r *reader) tankOf(path string, g *forecast.Group) {
	switch g.Method {
	case volume.Pail, volume.Bag:
		r.unwanted(path, g.Method, "a tank is where tubing ends: one that pails are emptied into stands under tanks alone")
		return
	case volume.TubingGravity, volume.TubingVacuum:
	default:
		return
	}
	id := r.text(path)
	known := make([]string, len(r.tanks))
	for i, t := range r.tanks {
		known[i] = t.ID
	}
	switch {
	case id == "":
		r.fail(path, "the tank that the tubing ends in is missing", "name it by its id and describe it under the site's tanks")
	case !slices.Contains(known, id):
		r.fail(path, fmt.Sprintf("%s: no such tank at this site", id), units.Suggest(id, known, "describe it under the site's tanks"))
	default:
		g.TankID = id
	}
}

// unwanted complains about a setting that does not go with the way of
// collecting.
func (r *reader) unwanted(path string, by volume.Method, why string) {
	if text := r.text(path); text != "" {
		r.fail(path, fmt.Sprintf("%s: given for %s, but %s", text, by, why), "leave it out or change collected_by")
	}
}

// maxTaps is beyond the largest bush there is.
const maxTaps = 1_000_000

// taps is how many there are, one at least.
func taps() kind[int] {
	const remedy = "write how many taps the group has"
	return parsed(func(r *reader, path, text string) (int, bool) {
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
			return n, true
		}
		return 0, false
	}).needed("the number of taps", remedy)
}

// anHour is a volume that goes up in an hour.
func anHour(low, high float64, absurd, remedy string) kind[float64] {
	return kind[float64]{text, func(r *reader, path string) (float64, bool) {
		parse := func(text string) (float64, error) {
			number, found := strings.CutSuffix(strings.ReplaceAll(text, " ", ""), "/h")
			if !found {
				return 0, &units.ParseError{Text: text, What: "not a rate", Remedy: remedy}
			}
			return units.ParseVolume(number, r.in.Units)
		}
		return r.measure(path, parse, low, high, absurd, remedy)
	}}
}
