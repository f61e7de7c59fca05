package web

import (
	"strings"
	"testing"
)

// A QR code has its three finders, quiet paper around it, and nothing but numbers in it.
func TestAddressAsQRCode(t *testing.T) {
	svg := string(qrOf("https://bush.example/l/0123456789abcdef"))
	const quiet, finder = 4, 7
	for y := range finder {
		for _, x := range []int{0, finder - 1} {
			if want := "M" + string(rune('0'+quiet+x)) + " "; x+quiet < 10 && !strings.Contains(svg, want) {
				t.Errorf("no module at %d, %d", x, y)
			}
		}
	}
	if !strings.Contains(svg, "M4 4h1") || strings.Contains(svg, "M3 ") || strings.Contains(svg, "bush") {
		t.Errorf("%.300s", svg)
	}
	if got := qrOf(strings.Repeat("x", 5000)); got != "" {
		t.Errorf("an address that is too long: %.80s", got)
	}
}
