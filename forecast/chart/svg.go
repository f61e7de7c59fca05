// Package chart draws pictures as SVG: of skill, and of flow against weather.
package chart

import (
	"fmt"
	"html"
	"strings"
)

// surface is what a picture is drawn on. A class gives a mark its look.
type surface interface {
	line(class string, x1, y1, x2, y2 float64)
	shape(class string, points []point, closed bool)
	text(class string, x, y float64, words string)
}

type point struct{ x, y float64 }

// canvas collects the marks of one picture. Coordinates are CSS pixels from the
// upper left.
type canvas struct {
	width, height float64
	body          strings.Builder
}

// style gives every mark its look by class, for light and dark screens and for
// paper. The colours differ in lightness as well as hue, so that they hold for
// colour-blind eyes and in grey.
const style = `<style>
svg{--paper:#fffdf8;--ink:#2b2622;--faint:#d9d1c4;--told:#2f6690;--band:#a9c6dd;--seen:#b3541e;background:var(--paper)}
@media (prefers-color-scheme:dark){svg{--paper:#1d1a17;--ink:#ece4d8;--faint:#4a433b;--told:#8fc1e8;--band:#2f4d66;--seen:#f0a35e}}
@media print{svg{--paper:#fff;--ink:#000;--faint:#bbb;--told:#222;--band:#ccc;--seen:#000}}
text{font:14px system-ui,sans-serif;fill:var(--ink);paint-order:stroke;stroke:var(--paper);stroke-width:3px}
.head{font-size:18px;font-weight:600}.small{font-size:12px}.end{text-anchor:end}.mid{text-anchor:middle}
.axis{stroke:var(--ink);stroke-width:1;fill:none}.grid{stroke:var(--faint);stroke-width:1;fill:none}
.ideal{stroke:var(--ink);stroke-width:1.5;stroke-dasharray:5 4;fill:none}
.told{stroke:var(--told);stroke-width:2;fill:none}.toldfill{fill:var(--told)}
.band{fill:var(--band)}.whisker{stroke:var(--band);stroke-width:5;fill:none}
.freezing{stroke:var(--told);stroke-width:1.5;fill:none}
.seen{fill:var(--seen);stroke:var(--paper);stroke-width:1}.seenline{stroke:var(--seen);stroke-width:2;fill:none}
</style>`

func newCanvas(width, height float64) *canvas { return &canvas{width: width, height: height} }

// document closes the picture under a title and a description, which screen
// readers read out.
func (c *canvas) document(title, description string) []byte {
	return fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="t d">
<title id="t">%s</title>
<desc id="d">%s</desc>
%s
<rect width="100%%" height="100%%" style="fill:var(--paper)"/>
%s</svg>
`, c.width, c.height, html.EscapeString(title), html.EscapeString(description), style, c.body.String())
}

func (c *canvas) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&c.body, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`+"\n", class, x1, y1, x2, y2)
}

func (c *canvas) rect(class string, x, y, width, height float64) {
	fmt.Fprintf(&c.body, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", class, x, y, width, height)
}

// dot carries a text that shows when it is pointed at.
func (c *canvas) dot(class string, x, y, radius float64, hint string) {
	fmt.Fprintf(&c.body, `<circle class="%s" cx="%.1f" cy="%.1f" r="%.1f"><title>%s</title></circle>`+"\n", class, x, y, radius, html.EscapeString(hint))
}

func (c *canvas) text(class string, x, y float64, words string) {
	fmt.Fprintf(&c.body, `<text class="%s" x="%.1f" y="%.1f">%s</text>`+"\n", class, x, y, html.EscapeString(words))
}

func (c *canvas) shape(class string, points []point, closed bool) {
	var d strings.Builder
	for i, p := range points {
		command := "L"
		if i == 0 {
			command = "M"
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", command, p.x, p.y)
	}
	if closed {
		d.WriteString("Z")
	}
	fmt.Fprintf(&c.body, `<path class="%s" d="%s"/>`+"\n", class, d.String())
}
