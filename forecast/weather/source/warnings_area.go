package source

import (
	"encoding/json"

	"thawline/forecast/weather"
)

// area is the shape of a GeoJSON feature (RFC 7946), empty where it has none.
type area struct {
	polygons [][][][]float64 // rings of [longitude, latitude]
}

func readArea(service, where string, raw json.RawMessage) (area, error) {
	var a area
	if len(raw) == 0 || string(raw) == "null" {
		return a, nil
	}
	var shape struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := decodeJSON(service, raw, &shape); err != nil {
		return a, err
	}
	switch shape.Type {
	case "Polygon":
		a.polygons = make([][][][]float64, 1)
		if err := decodeJSON(service, shape.Coordinates, &a.polygons[0]); err != nil {
			return a, err
		}
	case "MultiPolygon":
		if err := decodeJSON(service, shape.Coordinates, &a.polygons); err != nil {
			return a, err
		}
	default:
		return a, unreadable(service, "%s has an area of type %.20q", where, shape.Type)
	}
	points := 0
	for _, rings := range a.polygons {
		for _, ring := range rings {
			for _, point := range ring {
				if len(point) < 2 {
					return a, unreadable(service, "%s has an area with a point of %d numbers", where, len(point))
				}
			}
			points += len(ring)
		}
	}
	if points < 4 {
		return a, unreadable(service, "%s has an area of %d points", where, points)
	}
	return a, nil
}

// covers reports whether a place lies inside; a message without an area is for whoever
// asked.
func (a *area) covers(p weather.Place) bool {
	if len(a.polygons) == 0 {
		return true
	}
	for _, rings := range a.polygons {
		inside := false
		for _, ring := range rings { // a hole turns it again
			if insideRing(ring, p.LongitudeDeg, p.LatitudeDeg) {
				inside = !inside
			}
		}
		if inside {
			return true
		}
	}
	return false
}

// insideRing counts how often a ray to the east crosses a ring.
func insideRing(ring [][]float64, x, y float64) bool {
	inside := false
	for i, j := 0, len(ring)-1; i < len(ring); j, i = i, i+1 {
		xi, yi, xj, yj := ring[i][0], ring[i][1], ring[j][0], ring[j][1]
		if (yi > y) != (yj > y) && x < (xj-xi)*(y-yi)/(yj-yi)+xi {
			inside = !inside
		}
	}
	return inside
}
