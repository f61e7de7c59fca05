package units_test

import (
	"fmt"

	"thawline/forecast/units"
)

// What people write is read with its unit; without one it is in theirs.
func ExampleParseVolume() {
	litres, err := units.ParseVolume("10 gal", units.US)
	fmt.Printf("%.1f L, %v\n", litres, err)
	number, unit := units.Volume(litres, units.US)
	fmt.Println(number, unit)
	// Output:
	// 37.9 L, <nil>
	// 10 gal
}

func ExampleTemperature() {
	fmt.Println(units.Temperature(-4, units.US), units.Temperature(-4, units.Metric))
	// Output: 25 °F -4 °C
}
