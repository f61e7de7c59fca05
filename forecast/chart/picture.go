// Package chart draws pictures as SVG and PNG: flow against weather, seasons
// beside each other, and skill.
package chart

import (
	"fmt"
	"html"
)

// Picture is one drawing, to be shown as a file, within a page, or as pixels.
type Picture struct {
	width, height      float64
	title, description string
	frame              frame
	draw               func(surface)
}

// frame is where in a picture its steps lie, for reading values by finger.
type frame struct {
	left, right, top, foot float64
	rows, now              int // steps from left to right, and the one at now
}

// surface is what a picture is drawn on. A class gives a mark its look; a hint
// shows when a mark is pointed at.
type surface interface {
	line(class string, x1, y1, x2, y2 float64)
	rect(class string, x, y, width, height float64)
	dot(class string, x, y, radius float64, hint string)
	diamond(class string, x, y, radius float64, hint string)
	shape(class string, points []point, closed bool)
	text(class string, x, y float64, words string)
}

type point struct{ x, y float64 }

// Style gives every mark its look by class, for light and dark screens and for
// paper. The colours differ in lightness as well as hue, so that they hold for
// colour-blind eyes and in grey. Pages that show pictures inline need it.
const Style = `
svg.picture{--paper:#fff;--ink:#14201c;--faint:#cbd3ce;--told:#0b4f4a;--wash:#d5e7e2;--seen:#14201c;--air:#46544e;--line:#2a62a0;--frost:#cfe0f1;--thaw:#f6e3b0;--other:#46544e;--due:#a32f0c;--cold:#2a62a0;--dark:#e3e8ec;--work:#a32f0c;--onwork:#fff;background:var(--paper)}
@media (prefers-color-scheme:dark){svg.picture{--paper:#18211e;--ink:#f0f5f2;--faint:#34403b;--told:#7fdcc8;--wash:#1e3a35;--seen:#f0f5f2;--air:#b3c0ba;--line:#8cbef2;--frost:#1c3550;--thaw:#7a5f1e;--other:#b3c0ba;--due:#ff9b6e;--cold:#8cbef2;--dark:#080d0c;--work:#ff9b6e;--onwork:#14201c}}
@media print{svg.picture{--paper:#fff;--ink:#000;--faint:#bfbfbf;--told:#000;--wash:#dadada;--seen:#000;--air:#404040;--line:#000;--frost:#e2e2e2;--thaw:#f4f4f4;--other:#404040;--due:#000;--cold:#404040;--dark:#ededed;--work:#000;--onwork:#fff}}
svg.picture text{font:14px system-ui,sans-serif;fill:var(--ink);paint-order:stroke;stroke:var(--paper);stroke-width:3px}
svg.picture .head{font-size:16px;font-weight:700}svg.picture .end{text-anchor:end}svg.picture .mid{text-anchor:middle}
svg.picture .paper{fill:var(--paper)}
svg.picture .axis{stroke:var(--ink);stroke-width:1.5;fill:none}svg.picture .grid{stroke:var(--faint);stroke-width:1;fill:none}
svg.picture .ideal{stroke:var(--ink);stroke-width:1.5;stroke-dasharray:5 4;fill:none}svg.picture .now{stroke:var(--due);stroke-width:3;fill:none}
svg.picture .told{stroke:var(--told);stroke-width:3;fill:none}svg.picture .bold{stroke:var(--told);stroke-width:3.5;fill:none}
svg.picture .ahead{stroke:var(--told);stroke-width:3;stroke-dasharray:5 4;fill:none}
svg.picture .other{stroke:var(--other);stroke-width:1.5;fill:none}
svg.picture .band{fill:var(--wash);stroke:var(--told);stroke-width:1}svg.picture .warmband{fill:var(--air);fill-opacity:.25}
svg.picture .sap{fill:var(--told)}svg.picture .sapahead{fill:var(--wash);stroke:var(--told);stroke-width:1.5}
svg.picture .frost{fill:var(--frost)}svg.picture .thaw{fill:var(--thaw)}
svg.picture .whisker{stroke:var(--told);stroke-opacity:.4;stroke-width:5;fill:none}
svg.picture .freezing{stroke:var(--line);stroke-width:3;fill:none}
svg.picture .seen{fill:var(--seen);stroke:var(--paper);stroke-width:1.5}svg.picture .seenline{stroke:var(--seen);stroke-width:2.5;fill:none}
svg.picture .visit{stroke:var(--seen);stroke-width:1.5;fill:none}
svg.picture .strong{font-weight:600}svg.picture .night{fill:var(--dark)}
svg.picture .hatch{stroke:var(--cold);stroke-width:1;fill:none}svg.picture .rain{fill:var(--cold)}svg.picture .snow{fill:var(--frost);stroke:var(--cold);stroke-width:1.5;stroke-dasharray:2 2}
svg.picture .air{stroke:var(--ink);stroke-width:2.5;fill:none}svg.picture .airahead{stroke:var(--ink);stroke-width:2.5;stroke-dasharray:5 4;fill:none}
svg.picture .bandedge,svg.picture .edge{stroke:var(--told);stroke-width:1;fill:none}svg.picture .edge{stroke:var(--other)}
svg.picture .drop{stroke:var(--ink);stroke-width:1.5;stroke-dasharray:2 4;fill:none}
svg.picture .started,svg.picture .measured{fill:var(--ink)}svg.picture .expected{fill:var(--paper)}svg.picture .startedge{stroke:var(--ink);stroke-width:1.5;fill:none}
svg.picture .otherfill{fill:var(--other);fill-opacity:.25}
svg.picture .tag{fill:var(--work)}svg.picture text.ontag{fill:var(--onwork);stroke:none;font-weight:600}
svg.picture .reading{stroke:var(--ink);stroke-width:1.5}
`

// SVG is the picture as a file of its own.
func (p Picture) SVG() []byte { return p.svg("p", "<style>"+Style+SeasonStyle+"</style>\n") }

// Inline is the picture for a page that has Style: without any style of its own,
// under an id that no other picture of the page has.
func (p Picture) Inline(id string) []byte { return p.svg(id, "") }

func (p Picture) svg(id, style string) []byte {
	c := &canvas{}
	p.draw(c)
	f := p.frame
	data := ""
	if f.rows > 0 {
		data = fmt.Sprintf(` data-left="%g" data-right="%g" data-top="%g" data-foot="%g" data-rows="%d" data-now="%d"`, f.left, f.right,
			f.top, f.foot, f.rows, f.now)
	}
	id = html.EscapeString(id)
	return fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" class="picture" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-t %s-d"%s>
<title id="%s-t">%s</title>
<desc id="%s-d">%s</desc>
%s<rect class="paper" width="%g" height="%g"/>
%s</svg>
`, p.width, p.height, id, id, data, id, html.EscapeString(p.title), id, html.EscapeString(p.description), style, p.width, p.height, c.body.String())
}

// PNG is the picture as pixels, for e-mails and other places without SVG: twice
// as fine as it is measured, in the colours of paper.
func (p Picture) PNG() ([]byte, error) {
	r, err := newRaster(p.width, p.height)
	if err != nil {
		return nil, err
	}
	p.draw(r)
	return r.document()
}

// Size is the shape of a picture: for a desk or paper, or for a phone.
type Size struct {
	width  float64
	narrow bool
}

// The sizes, in CSS pixels.
var (
	Wide   = Size{width: 760}
	Narrow = Size{width: 328, narrow: true}
)

// fewer is a number of ticks that fits.
func (s Size) fewer(n int) int {
	if s.narrow {
		return (n + 1) / 2
	}
	return n
}
