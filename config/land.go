package config

import (
	"bytes"
	"compress/flate"
	_ "embed"
	"fmt"
	"io"
	"math"
	"sync"
)

// landBits holds one bit for each half degree of the earth, row by row from the
// north pole and the date line, set where any land lies in the cell. Facts from
// Natural Earth's 1:50m land (public domain), compressed with deflate.
//
//go:embed land.bin
var landBits []byte

const landColumns, landRows = 720, 360

var landMask = sync.OnceValue(func() []byte {
	mask, err := io.ReadAll(flate.NewReader(bytes.NewReader(landBits)))
	if err != nil || len(mask) != landColumns*landRows/8 {
		panic(fmt.Sprintf("config: the embedded map of land is damaged: %d bytes, %v", len(mask), err))
	}
	return mask
})

// atSea reports whether a place has no land in its own half degree nor in the
// eight around it. Lakes count as land.
func atSea(latitudeDeg, longitudeDeg float64) bool {
	row := int(math.Floor((90 - latitudeDeg) * 2))
	column := int(math.Floor((longitudeDeg + 180) * 2))
	mask := landMask()
	for y := max(row-1, 0); y <= min(row+1, landRows-1); y++ {
		for dx := -1; dx <= 1; dx++ {
			bit := y*landColumns + (column+dx+landColumns)%landColumns
			if mask[bit/8]&(0x80>>(bit%8)) != 0 {
				return false
			}
		}
	}
	return true
}

// Land reports whether any land lies in the half degree that a place is in.
func Land(latitudeDeg, longitudeDeg float64) bool {
	row := int(math.Floor((90 - latitudeDeg) * 2))
	if row < 0 || row >= landRows {
		return false
	}
	column := (int(math.Floor((longitudeDeg+180)*2)) + landColumns) % landColumns
	bit := row*landColumns + column
	return landMask()[bit/8]&(0x80>>(bit%8)) != 0
}
