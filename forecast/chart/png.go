package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strings"

	"github.com/fogleman/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// raster draws the same marks as pixels.
type raster struct {
	c     *gg.Context
	faces map[string]font.Face
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
	"freezing": {color.NRGBA{0x2a, 0x62, 0xa0, 0xff}, 3, false}, "told": {told, 3, false}, "bold": {told, 3.5, false}, "ahead": {told, 3, true}, "other": {other, 1.5, false},
	"seenline": {seen, 2.5, false}, "visit": {seen, 1.5, false}, "seen": {seen, 1.5, false}, "whisker": {thin(told, 0.4), 5, false},
	"band": {wash, 0, false}, "warmband": {thin(soft, 0.25), 0, false}, "sap": {told, 0, false}, "sapahead": {wash, 0, false},
	"frost": {color.NRGBA{0xcf, 0xe0, 0xf1, 0xff}, 0, false}, "thaw": {color.NRGBA{0xf6, 0xe3, 0xb0, 0xff}, 0, false}, "paper": {paper, 0, false},
	"came": {told, 0, false}, "likely": {color.NRGBA{0x5e, 0x9c, 0x92, 0xff}, 0, false}, "turning": {ember, 0, false}, "box": {ink, 0, false},
	"fade": {color.NRGBA{0xd5, 0xe7, 0xe2, 0xff}, 0, false}, "rim": {told, 1, false}, "heat": {color.NRGBA{0xf6, 0xe3, 0xb0, 0xff}, 0, false}, "warm": {ink, 3, false}, "level": {ink, 1.5, true},
	"year1": {other, 1.5, false}, "year2": {other, 1.5, true}, "year3": {other, 1, true}, "nowline": {ember, 3, false}, "nowtag": {faint, 0, false},
	"tag":   {work, 0, false},
	"night": {color.NRGBA{0xe3, 0xe8, 0xec, 0xff}, 0, false}, "hatch": {cold, 1, false}, "rain": {cold, 0, false}, "snow": {frost, 0, false},
	"air": {ink, 2.5, false}, "airahead": {ink, 2.5, true}, "bandedge": {told, 1, false}, "edge": {other, 1, false}, "drop": {ink, 1.5, true},
	"started": {ink, 0, false}, "measured": {ink, 0, false}, "expected": {paper, 0, false}, "startedge": {ink, 1.5, false}, "otherfill": {thin(other, 0.25), 0, false},
}

func newRaster(width, height float64) (*raster, error) {
	r := &raster{c: gg.NewContext(int(width*finer), int(height*finer)), faces: map[string]font.Face{}}
	for name, f := range map[string]struct {
		ttf  []byte
		size float64
	}{"head": {gobold.TTF, 16}, "strong": {gobold.TTF, 14}, "ontag": {gobold.TTF, 14}, "small": {goregular.TTF, 14}, "": {goregular.TTF, 14}} {
		parsed, err := opentype.Parse(f.ttf)
		if err != nil {
			return nil, fmt.Errorf("picture: %w", err)
		}
		if r.faces[name], err = opentype.NewFace(parsed, &opentype.FaceOptions{Size: f.size * finer, DPI: 72, Hinting: font.HintingFull}); err != nil {
			return nil, fmt.Errorf("picture: %w", err)
		}
	}
	r.c.SetColor(paper)
	r.c.Clear()
	return r, nil
}

func (r *raster) line(class string, x1, y1, x2, y2 float64) {
	r.shape(class, []point{{x1, y1}, {x2, y2}}, false)
}

func (r *raster) rect(class string, x, y, width, height float64) {
	r.shape(class, []point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}, true)
}

func (r *raster) dot(class string, x, y, radius float64, _ string) {
	r.c.DrawCircle(x*finer, y*finer, radius*finer)
	r.c.SetColor(looks[class].colour)
	r.c.FillPreserve()
	r.c.SetColor(paper)
	r.c.SetDash()
	r.c.SetLineWidth(looks[class].width * finer)
	r.c.Stroke()
}

func (r *raster) diamond(class string, x, y, radius float64, _ string) {
	r.shape(class, []point{{x, y - radius}, {x + radius, y}, {x, y + radius}, {x - radius, y}}, true)
}

func (r *raster) shape(class string, points []point, closed bool) {
	if len(points) == 0 {
		return
	}
	l := looks[class]
	for i, p := range points {
		if i == 0 {
			r.c.MoveTo(p.x*finer, p.y*finer)
		} else {
			r.c.LineTo(p.x*finer, p.y*finer)
		}
	}
	r.c.SetColor(l.colour)
	if closed {
		r.c.ClosePath()
		r.c.Fill()
		return
	}
	r.c.SetLineWidth(l.width * finer)
	r.c.SetDash()
	if l.dashed {
		r.c.SetDash(5*finer, 4*finer)
	}
	r.c.Stroke()
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
	r.c.SetFontFace(r.faces[size])
	if size == "ontag" {
		r.c.SetColor(paper)
		r.c.DrawStringAnchored(words, x*finer, y*finer, anchor, 0)
		return
	}
	r.c.SetColor(paper) // a halo, so that words stand clear of lines
	for i := range 8 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 4)
		r.c.DrawStringAnchored(words, x*finer+1.5*finer*cos, y*finer+1.5*finer*sin, anchor, 0)
	}
	r.c.SetColor(ink)
	r.c.DrawStringAnchored(words, x*finer, y*finer, anchor, 0)
}

func (r *raster) document() ([]byte, error) {
	var b bytes.Buffer
	if err := r.c.EncodePNG(&b); err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	return b.Bytes(), nil
}
