// Package units reads and writes the trade's units at the edges of the program: gallons,
// feet, inches of mercury and degrees Fahrenheit for those who use them. Everything inside is
// litres, metres, hPa, kPa and °C.
//
// Each quantity has a reader such as [ParseVolume], which complains with a [ParseError], and
// a writer such as [Volume] or [Temperature], which takes the reader's [System].
package units

import "strings"

// System is the set of units a person reads and writes.
type System string

// The systems. Imperial is that of Canada's older trade: imperial gallons, but
// degrees Celsius.
const (
	US       System = "us"
	Imperial System = "imperial"
	Metric   System = "metric"
)

// ParseSystem reads the name of a system in any case. It fails with a
// *ParseError.
func ParseSystem(text string) (System, error) {
	names := []string{string(US), string(Imperial), string(Metric)}
	word := strings.ToLower(strings.TrimSpace(text))
	for _, name := range names {
		if word == name {
			return System(name), nil
		}
	}
	return "", &ParseError{
		Text: text, What: "not a system of units",
		Remedy: Suggest(word, names, "use us, imperial or metric"),
	}
}

// Exact sizes of the units that are read and written.
const (
	// LitresPerUSGallon is 231 cubic inches (NIST Handbook 44, appendix C, from
	// memory).
	LitresPerUSGallon = 3.785411784
	// LitresPerImperialGallon is by definition (UK Weights and Measures Act
	// 1985, schedule 1, and Canada's Weights and Measures Act, from memory).
	LitresPerImperialGallon = 4.54609
	// SteresPerCord: 128 cubic feet of stacked wood, in cubic metres.
	SteresPerCord = 3.624556363776
	// KilogramsPerPound is the international avoirdupois pound (1959).
	KilogramsPerPound = 0.45359237
	// MetresPerFoot is the international foot, 12 inches of 25.4 mm.
	MetresPerFoot = 0.3048
	// HPaPerMMHg is the conventional millimetre of mercury, 13.5951 g/cm³ under
	// 9.80665 m/s² (NIST SP 811, appendix B, from memory).
	HPaPerMMHg = 1.33322387415
	// KPaPerInHg is 25.4 mm of mercury in kPa.
	KPaPerInHg = 25.4 * HPaPerMMHg / 10
)

// CToF converts a temperature from °C to °F.
func CToF(c float64) float64 { return c*1.8 + 32 }
