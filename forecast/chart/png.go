package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// raster draws the same marks as pixels.
type raster struct {
	on    *image.RGBA
	faces map[string]font.Face
	pen   vector.Rasterizer
}

const finer = 2

var (
	paper = color.NRGBA{0xff, 0xff, 0xff, 0xff}
	ink   = color.NRGBA{0x14, 0x20, 0x1c, 0xff}
	told  = color.NRGBA{0x0b, 0x4f, 0x4a, 0xff}
	wash  = color.NRGBA{0xd5, 0xe7, 0xe2, 0xff}
	seen  = ink
	soft  = color.NRGBA{0x46, 0x54, 0x4e, 0xff}
	faint = color.NRGBA{0xcb, 0xd3, 0xce, 0xff}
	other = soft
	ember = due
	due   = color.NRGBA{0xa3, 0x2f, 0x0c, 0xff}
	cold  = color.NRGBA{0x2a, 0x62, 0xa0, 0xff}
	frost = color.NRGBA{0xcf, 0xe0, 0xf1, 0xff}
	work  = due
)

func thin(c color.NRGBA, share float64) color.NRGBA {
	c.A = uint8(255 * share)
	return c
}

type look struct {
	colour color.NRGBA
	width  float64
	dashed bool
}

// looks are the classes of Style.
var looks = map[string]look{
	"grid": {faint, 1, false}, "axis": {ink, 1.5, false}, "ideal": {ink, 1.5, true}, "now": {due, 3, false},
	"freezing": {color.NRGBA{0x2a, 0x62, 0xa0, 0xff}, 3, false}, "told": {told, 3, false}, "bold": {told, 3.5, false},
	"ahead": {told, 3, true}, "other": {other, 1.5, false},
	"seenline": {seen, 2.5, false}, "visit": {seen, 1.5, false}, "seen": {seen, 1.5, false}, "whisker": {thin(told, 0.4), 5, false},
	"band": {wash, 0, false}, "warmband": {thin(soft, 0.25), 0, false}, "sap": {told, 0, false}, "sapahead": {wash, 0, false},
	"frost": {color.NRGBA{0xcf, 0xe0, 0xf1, 0xff}, 0, false}, "thaw": {color.NRGBA{0xf6, 0xe3, 0xb0, 0xff}, 0, false},
	"paper": {paper, 0, false},
	"came":  {told, 0, false}, "likely": {color.NRGBA{0x5e, 0x9c, 0x92, 0xff}, 0, false}, "turning": {ember, 0, false},
	"box":  {ink, 0, false},
	"fade": {color.NRGBA{0xd5, 0xe7, 0xe2, 0xff}, 0, false}, "rim": {told, 1, false},
	"heat": {color.NRGBA{0xf6, 0xe3, 0xb0, 0xff}, 0, false}, "warm": {ink, 3, false}, "level": {ink, 1.5, true},
	"year1": {other, 1.5, false}, "year2": {other, 1.5, true}, "year3": {other, 1, true}, "nowline": {ember, 3, false},
	"nowtag": {faint, 0, false},
	"tag":    {work, 0, false},
	"night":  {color.NRGBA{0xe3, 0xe8, 0xec, 0xff}, 0, false}, "hatch": {cold, 1, false}, "rain": {cold, 0, false},
	"snow": {frost, 0, false},
	"air":  {ink, 2.5, false}, "airahead": {ink, 2.5, true}, "bandedge": {told, 1, false}, "edge": {other, 1, false},
	"drop":    {ink, 1.5, true},
	"started": {ink, 0, false}, "measured": {ink, 0, false}, "expected": {paper, 0, false}, "startedge": {ink, 1.5, false},
	"otherfill": {thin(other, 0.25), 0, false},
}

func newRaster(width, height float64) (*raster, error) {
	r := &raster{on: image.NewRGBA(image.Rect(0, 0, int(width*finer), int(height*finer))), faces: map[string]font.Face{}}
	for name, f := range map[string]struct {
		ttf  []byte
		size float64
	}{"head": {gobold.TTF, 16}, "strong": {gobold.TTF, 14}, "ontag": {gobold.TTF, 14}, "small": {goregular.TTF, 14},
		"": {goregular.TTF, 14}} {
		parsed, err := opentype.Parse(f.ttf)
		if err != nil {
			return nil, fmt.Errorf("picture: %w", err)
		}
		if r.faces[name], err = opentype.NewFace(parsed,
			&opentype.FaceOptions{Size: f.size * finer, DPI: 72, Hinting: font.HintingFull}); err != nil {
			return nil, fmt.Errorf("picture: %w", err)
		}
	}
	draw.Draw(r.on, r.on.Bounds(), image.NewUniform(paper), image.Point{}, draw.Src)
	return r, nil
}

func (r *raster) line(class string, x1, y1, x2, y2 float64) {
	r.shape(class, []point{{x1, y1}, {x2, y2}}, false)
}

func (r *raster) rect(class string, x, y, width, height float64) {
	r.shape(class, []point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}, true)
}

func (r *raster) dot(class string, x, y, radius float64, _ string) {
	l := looks[class]
	centre := point{x * finer, y * finer}
	rim := l.width * finer / 2
	r.fill(paper, circle(centre, radius*finer+rim))
	r.fill(l.colour, circle(centre, radius*finer-rim))
}

func (r *raster) diamond(class string, x, y, radius float64, _ string) {
	r.shape(class, []point{{x, y - radius}, {x + radius, y}, {x, y + radius}, {x - radius, y}}, true)
}

func (r *raster) shape(class string, points []point, closed bool) {
	if len(points) == 0 {
		return
	}
	at := make([]point, len(points))
	for i, p := range points {
		at[i] = point{p.x * finer, p.y * finer}
	}
	l := looks[class]
	switch half := l.width * finer / 2; {
	case closed:
		r.fill(l.colour, at)
	case l.dashed:
		for _, dash := range dashes(at, 5*finer, 4*finer) {
			r.fill(l.colour, stroke(dash, half, false)...)
		}
	default:
		r.fill(l.colour, stroke(at, half, true)...)
	}
}

// fill lays a colour on what outlines enclose together; they turn the same way, or are one.
func (r *raster) fill(c color.NRGBA, outlines ...[]point) {
	box := image.Rectangle{}
	for _, o := range outlines {
		for _, p := range o {
			box = box.Union(image.Rect(int(math.Floor(p.x)), int(math.Floor(p.y)), int(math.Ceil(p.x))+1, int(math.Ceil(p.y))+1))
		}
	}
	if box = box.Intersect(r.on.Bounds()); box.Empty() {
		return
	}
	r.pen.Reset(box.Dx(), box.Dy())
	for _, o := range outlines {
		for i, p := range o {
			x, y := float32(p.x-float64(box.Min.X)), float32(p.y-float64(box.Min.Y))
			if i == 0 {
				r.pen.MoveTo(x, y)
			} else {
				r.pen.LineTo(x, y)
			}
		}
		r.pen.ClosePath()
	}
	r.pen.Draw(r.on, box, image.NewUniform(c), image.Point{})
}

// circle is the outline of one.
func circle(centre point, radius float64) []point {
	const corners = 32
	out := make([]point, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = point{centre.x + radius*cos, centre.y + radius*sin}
	}
	return out
}

// stroke is a line of some width as outlines that all turn one way: a bar for each stretch
// and a disc at each bend, and at the ends where they are round.
func stroke(line []point, half float64, round bool) [][]point {
	var out [][]point
	for i, p := range line {
		if bend := i > 0 && i < len(line)-1; bend || round {
			out = append(out, circle(p, half))
		}
		if i == 0 {
			continue
		}
		from := line[i-1]
		long := math.Hypot(p.x-from.x, p.y-from.y)
		if long == 0 {
			continue
		}
		x, y := (p.y-from.y)/long*half, (from.x-p.x)/long*half
		out = append(out, []point{{from.x + x, from.y + y}, {p.x + x, p.y + y}, {p.x - x, p.y - y}, {from.x - x, from.y - y}})
	}
	return out
}

// dashes cuts a line into stretches that are drawn, with gaps between.
func dashes(line []point, dash, gap float64) [][]point {
	var out [][]point
	on, left := true, dash
	now := line[:1:1]
	for i := 1; i < len(line); i++ {
		from, to := line[i-1], line[i]
		long := math.Hypot(to.x-from.x, to.y-from.y)
		done := 0.0
		for long-done > left {
			done += left
			cut := point{from.x + (to.x-from.x)*done/long, from.y + (to.y-from.y)*done/long}
			if on {
				out = append(out, append(now, cut))
			}
			if on, left, now = !on, gap, []point{cut}; on {
				left = dash
			}
		}
		left -= long - done
		now = append(now, to)
	}
	if on && len(now) > 1 {
		out = append(out, now)
	}
	return out
}

func (r *raster) text(class string, x, y float64, words string) {
	size, anchor := "", 0.0
	for c := range strings.FieldsSeq(class) {
		switch c {
		case "head", "small", "strong", "ontag":
			size = c
		case "mid":
			anchor = 0.5
		case "end":
			anchor = 1
		}
	}
	d := font.Drawer{Dst: r.on, Face: r.faces[size]}
	x -= float64(d.MeasureString(words)) / 64 * anchor / finer
	write := func(c color.NRGBA, dx, dy float64) {
		d.Src, d.Dot = image.NewUniform(c),
			fixed.Point26_6{X: fixed.Int26_6(math.Round((x + dx) * finer * 64)), Y: fixed.Int26_6(math.Round((y + dy) * finer * 64))}
		d.DrawString(words)
	}
	if size == "ontag" {
		write(paper, 0, 0)
		return
	}
	for i := range 8 { // a halo, so that words stand clear of lines
		sin, cos := math.Sincos(float64(i) * math.Pi / 4)
		write(paper, 1.5*cos, 1.5*sin)
	}
	write(ink, 0, 0)
}

func (r *raster) document() ([]byte, error) {
	var b bytes.Buffer
	if err := png.Encode(&b, r.on); err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	return b.Bytes(), nil
}
