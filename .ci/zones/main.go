// Command zones cuts the map of time zones that thawline carries from the whole one: the
// borders of Canada and the United States to a hundred metres or so, the rest of the world
// more coarsely, the open sea not at all.
//
//	go run -C .ci/zones . ../../forecast/weather/zone/zones.gz
//
// The whole map is the release of the module ringsaturn/tzf-rel-lite, made from
// OpenStreetMap's borders (Open Database License).
package main

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	tzfrellite "github.com/ringsaturn/tzf-rel-lite"
	pb "github.com/ringsaturn/tzf/gen/go/tzf/v1"
	"google.golang.org/protobuf/proto"
)

const (
	perDegree = 2000 // steps of a coordinate, 55 m or less
	fineDeg   = 0.001
	coarseDeg = 0.01
)

// Where sugar maples are tapped, and what lies around: fine.
const south, north, west, east = 35.0, 55.0, -105.0, -52.0

type point struct{ x, y int32 }

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: zones FILE")
		os.Exit(2)
	}
	var whole pb.Timezones
	if err := proto.Unmarshal(tzfrellite.LiteData, &whole); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	var out bytes.Buffer
	packed, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
	var raw []byte
	points := 0
	zones := slices.DeleteFunc(whole.GetTimezones(), func(z *pb.Timezone) bool { return strings.HasPrefix(z.GetName(), "Etc/") })
	slices.SortFunc(zones, func(a, b *pb.Timezone) int { return strings.Compare(a.GetName(), b.GetName()) })
	for _, z := range zones {
		var rings [][]point
		for _, p := range z.GetPolygons() {
			for _, line := range append([][]*pb.Point{p.GetPoints()}, holes(p)...) {
				if ring := simplified(line); len(ring) >= 3 {
					rings, points = append(rings, ring), points+len(ring)
				}
			}
		}
		raw = binary.AppendUvarint(raw, uint64(len(z.GetName())))
		raw = append(raw, z.GetName()...)
		raw = binary.AppendUvarint(raw, uint64(len(rings)))
		for _, ring := range rings {
			raw = binary.AppendUvarint(raw, uint64(len(ring)))
			var last point
			for _, p := range append(ring, ring[0]) { // it ends where it began
				raw = binary.AppendVarint(raw, int64(p.x-last.x))
				raw = binary.AppendVarint(raw, int64(p.y-last.y))
				last = p
			}
		}
	}
	_, _ = packed.Write(raw)
	_ = packed.Close()
	if err := os.WriteFile(os.Args[1], out.Bytes(), 0o644); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Printf("%s: %d zones, %d points, %d bytes, of map %s\n", os.Args[1], len(zones), points, out.Len(), whole.GetVersion())
}

func holes(p *pb.Polygon) (lines [][]*pb.Point) {
	for _, h := range p.GetHoles() {
		lines = append(lines, h.GetPoints())
	}
	return lines
}

func simplified(line []*pb.Point) []point {
	tolerance := coarseDeg
	for _, p := range line {
		if y, x := float64(p.GetLat()), float64(p.GetLng()); y > south && y < north && x > west && x < east {
			tolerance = fineDeg
			break
		}
	}
	// A ring begins at its westernmost point and turns at its easternmost: both sides of a
	// border then tend to keep the same points.
	first, far := 0, 0
	for i, p := range line {
		if p.GetLng() < line[first].GetLng() {
			first = i
		}
		if p.GetLng() > line[far].GetLng() {
			far = i
		}
	}
	turned := append(slices.Clone(line[first:]), line[:first]...)
	far = (far - first + len(line)) % len(line)
	turned = append(turned, turned[0])
	keep := make([]bool, len(turned))
	keep[0], keep[far] = true, true
	thin(turned, 0, far, tolerance, keep)
	thin(turned, far, len(turned)-1, tolerance, keep)
	var ring []point
	for i, p := range turned[:len(turned)-1] {
		if keep[i] {
			q := point{int32(math.Round(float64(p.GetLng()) * perDegree)), int32(math.Round(float64(p.GetLat()) * perDegree))}
			if len(ring) == 0 || ring[len(ring)-1] != q {
				ring = append(ring, q)
			}
		}
	}
	return ring
}

// thin keeps, between two points, what lies further off the line through them than the
// tolerance (Ramer 1972; Douglas and Peucker 1973).
func thin(line []*pb.Point, from, to int, tolerance float64, keep []bool) {
	if to-from < 2 {
		return
	}
	ax, ay := float64(line[from].GetLng()), float64(line[from].GetLat())
	dx, dy := float64(line[to].GetLng())-ax, float64(line[to].GetLat())-ay
	length := math.Hypot(dx, dy)
	worst, at := 0.0, 0
	for i := from + 1; i < to; i++ {
		px, py := float64(line[i].GetLng())-ax, float64(line[i].GetLat())-ay
		off := math.Hypot(px, py)
		if length > 0 {
			t := math.Max(0, math.Min(1, (px*dx+py*dy)/(length*length)))
			off = math.Hypot(px-t*dx, py-t*dy)
		}
		if off > worst {
			worst, at = off, i
		}
	}
	if worst > tolerance {
		keep[at] = true
		thin(line, from, at, tolerance, keep)
		thin(line, at, to, tolerance, keep)
	}
}
