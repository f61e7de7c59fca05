//go:build !amd64

package trunk

// stepAbreast is step for several stems.
func stepAbreast(sides []*abreast, b *[2]barks) { stepPlain(sides, b) }

// readAbreast reads the ice in the tapped wood of stems, which is in so many rings.
func readAbreast(a *abreast, tapped int, ice *[lanes]float64) { readLanes(a, tapped, ice) }
