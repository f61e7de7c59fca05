package boil_test

import (
	"fmt"

	"thawline/forecast/boil"
)

// An evening's sap at 2 °Brix on a flat pan, in the air pressure of a hill.
func ExampleBoil() {
	batch, err := boil.Boil(400, 2, boil.SyrupBrix, 965, boil.Usual())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f L of syrup; water boils at %.1f °C, draw off at %.1f °C\n", batch.SyrupL, batch.BoilingC, batch.DrawOffC)
	// Output: 9.2 L of syrup; water boils at 98.6 °C, draw off at 102.6 °C
}
