package chart

import (
	"fmt"
	"html"
	"strings"
)

// canvas collects the marks of one picture as SVG. Coordinates are CSS pixels
// from the upper left.
type canvas struct{ body strings.Builder }

func (c *canvas) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&c.body, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`+"\n", class, x1, y1, x2, y2)
}

func (c *canvas) rect(class string, x, y, width, height float64) {
	fmt.Fprintf(&c.body, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", class, x, y, width, height)
}

func (c *canvas) dot(class string, x, y, radius float64, hint string) {
	fmt.Fprintf(&c.body, `<circle class="%s" cx="%.1f" cy="%.1f" r="%.1f"><title>%s</title></circle>`+"\n", class, x, y, radius,
		html.EscapeString(hint))
}

func (c *canvas) diamond(class string, x, y, radius float64, hint string) {
	fmt.Fprintf(&c.body, `<path class="%s" d="M%.1f %.1fl%.1f %.1fl%.1f %.1fl%.1f %.1fZ"><title>%s</title></path>`+"\n", class, x,
		y-radius, radius, radius, -radius, radius, -radius, -radius, html.EscapeString(hint))
}

func (c *canvas) text(class string, x, y float64, words string) {
	fmt.Fprintf(&c.body, `<text class="%s" x="%.1f" y="%.1f">%s</text>`+"\n", class, x, y, html.EscapeString(words))
}

func (c *canvas) shape(class string, points []point, closed bool) {
	if len(points) == 0 {
		return
	}
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
