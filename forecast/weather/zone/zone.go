// Package zone tells the time zone of a place. Services tell it with their forecasts; the
// map here is for a place of which none has told it yet.
//
// The map is cut from OpenStreetMap's borders (contributors of OpenStreetMap, Open Database
// License 1.0) by .ci/zones, which says how finely. Made anew with
//
//	go generate ./forecast/weather/zone
package zone

//go:generate go run -C ../../../.ci/zones . ../../forecast/weather/zone/zones.gz

import (
	"bytes"
	"cmp"
	"compress/gzip"
	_ "embed"
	"encoding/binary"
	"io"
	"math"
	"slices"
	"sync"
)

//go:embed zones.gz
var packed []byte

// perDegree is how many steps of the map's coordinates make a degree.
const perDegree = 2000

// sides are how many sides of a border are looked at, or passed over, together.
const sides = 64

// stretch is some sides of a border of a zone, or of what lies inside a zone and does not
// belong to it, as steps from a first point.
type stretch struct {
	zone                     int
	west, south, east, north int64
	x, y                     int64
	count                    int
	steps                    []byte
	around                   int64 // westernmost of the whole border: none of it lies round what is further west
}

type atlas struct {
	names     []string
	stretches []stretch
}

var whole = sync.OnceValue(unpack)

func unpack() *atlas {
	raw, err := unzipped()
	if err != nil {
		panic("zone: the map that was built in is damaged: " + err.Error())
	}
	number := func() int {
		n, used := binary.Uvarint(raw)
		raw = raw[used:]
		return int(n)
	}
	m := &atlas{}
	for len(raw) > 0 {
		length := number()
		m.names, raw = append(m.names, string(raw[:length])), raw[length:]
		for range number() {
			left, first := number(), len(m.stretches)
			x, y, used := step(raw)
			for raw = raw[used:]; left > 0; left -= sides {
				s := stretch{zone: len(m.names) - 1, x: x, y: y, count: min(left, sides), west: x, east: x, south: y, north: y, steps: raw}
				used := s.walk(func(_, _, toX, toY int64) {
					x, y = toX, toY
					s.west, s.east = min(s.west, x), max(s.east, x)
					s.south, s.north = min(s.south, y), max(s.north, y)
				})
				raw = raw[used:]
				m.stretches = append(m.stretches, s)
			}
			border := m.stretches[first:]
			west := slices.MinFunc(border, func(a, b stretch) int { return cmp.Compare(a.west, b.west) }).west
			for i := range border {
				border[i].around = west
			}
		}
	}
	return m
}

func unzipped() ([]byte, error) {
	unzip, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(unzip)
}

func step(raw []byte) (dx, dy int64, length int) {
	dx, n := binary.Varint(raw)
	dy, m := binary.Varint(raw[n:])
	return dx, dy, n + m
}

// walk goes along a stretch, side by side, and says how many bytes it is.
func (s *stretch) walk(side func(fromX, fromY, toX, toY int64)) (length int) {
	x, y := s.x, s.y
	for range s.count {
		dx, dy, n := step(s.steps[length:])
		side(x, y, x+dx, y+dy)
		x, y, length = x+dx, y+dy, length+n
	}
	return length
}

// nearDeg is how far off a border a place may lie and still belong to what is behind it:
// lines that were made coarser leave slits.
const nearDeg = 0.05

// At is the name of the time zone (IANA's) at a latitude and longitude, degrees north and
// east; empty on the open sea.
func At(latitudeDeg, longitudeDeg float64) string {
	m := whole()
	px, py := longitudeDeg*perDegree, latitudeDeg*perDegree
	odd := make([]bool, len(m.names)) // borders crossed on the way east (even-odd rule)
	for i := range m.stretches {
		s := &m.stretches[i]
		if px < float64(s.around) || px > float64(s.east) || py < float64(s.south) || py > float64(s.north) {
			continue
		}
		s.walk(func(ax, ay, bx, by int64) {
			x0, y0, x1, y1 := float64(ax), float64(ay), float64(bx), float64(by)
			if (y0 > py) != (y1 > py) && px < x0+(py-y0)/(y1-y0)*(x1-x0) {
				odd[s.zone] = !odd[s.zone]
			}
		})
	}
	if inside := slices.Index(odd, true); inside >= 0 {
		return m.names[inside]
	}
	return m.beside(px, py)
}

// beside is the zone of the nearest border; empty where none is near.
func (m *atlas) beside(px, py float64) (name string) {
	const near = nearDeg * perDegree
	best := near
	for i := range m.stretches {
		s := &m.stretches[i]
		if px < float64(s.west)-near || px > float64(s.east)+near || py < float64(s.south)-near || py > float64(s.north)+near {
			continue
		}
		s.walk(func(ax, ay, bx, by int64) {
			if off := distance(px, py, float64(ax), float64(ay), float64(bx), float64(by)); off < best {
				name, best = m.names[s.zone], off
			}
		})
	}
	return name
}

// distance of a point from a side, in steps.
func distance(px, py, x0, y0, x1, y1 float64) float64 {
	dx, dy := x1-x0, y1-y0
	t := 0.0
	if length := dx*dx + dy*dy; length > 0 {
		t = math.Max(0, math.Min(1, ((px-x0)*dx+(py-y0)*dy)/length))
	}
	return math.Hypot(px-x0-t*dx, py-y0-t*dy)
}
