package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"strings"

	"github.com/fogleman/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// raster draws the same marks as pixels, twice as fine as they are measured, in
// the colours of paper.
type raster struct {
	c     *gg.Context
	faces map[string]font.Face
}

const finer = 2

var (
	paper = color.RGBA{0xff, 0xfd, 0xf8, 0xff}
	ink   = color.RGBA{0x2b, 0x26, 0x22, 0xff}
	looks = map[string]struct {
		colour color.RGBA
		width  float64
		dashed bool
	}{
		"grid": {color.RGBA{0xd9, 0xd1, 0xc4, 0xff}, 1, false}, "axis": {ink, 1, false}, "ideal": {ink, 1.5, true},
		"freezing": {color.RGBA{0x2f, 0x66, 0x90, 0xff}, 1.5, false}, "told": {color.RGBA{0x2f, 0x66, 0x90, 0xff}, 2, false},
		"seenline": {color.RGBA{0xb3, 0x54, 0x1e, 0xff}, 2, false}, "band": {color.RGBA{0xa9, 0xc6, 0xdd, 0xff}, 0, false},
	}
)

func newRaster(width, height float64) (*raster, error) {
	r := &raster{c: gg.NewContext(int(width*finer), int(height*finer)), faces: map[string]font.Face{}}
	for name, f := range map[string]struct {
		ttf  []byte
		size float64
	}{"head": {gobold.TTF, 18}, "small": {goregular.TTF, 12}, "": {goregular.TTF, 14}} {
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

func (r *raster) shape(class string, points []point, closed bool) {
	look := looks[class]
	for i, p := range points {
		if i == 0 {
			r.c.MoveTo(p.x*finer, p.y*finer)
		} else {
			r.c.LineTo(p.x*finer, p.y*finer)
		}
	}
	r.c.SetColor(look.colour)
	if closed {
		r.c.ClosePath()
		r.c.Fill()
		return
	}
	r.c.SetLineWidth(look.width * finer)
	r.c.SetDash()
	if look.dashed {
		r.c.SetDash(5*finer, 4*finer)
	}
	r.c.Stroke()
}

func (r *raster) text(class string, x, y float64, words string) {
	size, anchor := "", 0.0
	for c := range strings.FieldsSeq(class) {
		switch c {
		case "head", "small":
			size = c
		case "mid":
			anchor = 0.5
		case "end":
			anchor = 1
		}
	}
	r.c.SetFontFace(r.faces[size])
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
