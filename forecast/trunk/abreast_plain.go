//go:build !amd64

package trunk

// stepAbreast is step for several stems.
func stepAbreast(a *abreast, b *barks) {
	stepLanes(a, b, 0)
	stepLanes(a, b, 4)
}
