package web

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/boombuler/barcode/qr"
)

// qrOf draws an address as a QR code (ISO/IEC 18004), for a phone to be set up with its
// camera; "" for one that is too long.
func qrOf(address string) template.HTML {
	code, err := qr.Encode(address, qr.M, qr.Auto)
	if err != nil {
		return ""
	}
	const quiet = 4 // modules of paper around it, as the standard wants
	size := code.Bounds()
	var path strings.Builder
	for y := size.Min.Y; y < size.Max.Y; y++ {
		for x := size.Min.X; x < size.Max.X; x++ {
			if r, _, _, _ := code.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x-size.Min.X+quiet, y-size.Min.Y+quiet)
			}
		}
	}
	n := size.Dx() + 2*quiet
	return template.HTML(fmt.Sprintf(`<svg class="qr" viewBox="0 0 %d %d" aria-hidden="true" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="%s"/></svg>`, n, n, n, n, path.String())) //nolint:gosec // numbers alone
}
