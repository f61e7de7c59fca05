package units

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// ParseError is a text that is not the quantity it should be. What says what
// is wrong with it, Remedy what to write.
type ParseError struct{ Text, What, Remedy string }

func (e *ParseError) Error() string {
	text := strings.TrimSpace(e.Text)
	if text == "" {
		text = "(nothing)"
	}
	return text + ": " + e.What + "; " + e.Remedy
}

// ParseVolume returns litres from a text such as "7.5 L", "750 ml", "1.5 hl",
// "1.2 m3", "2 gal", "3 qt", "2 US gal" or "2 imp gal". A gallon or quart
// without a country is that of the given system, and refused where that is
// Metric. Like all parsers here it takes a decimal point or a decimal comma,
// and fails with a *ParseError.
func ParseVolume(text string, gallons System) (litres float64, err error) {
	readable := volumeUnits
	switch gallons {
	case US:
		readable = slices.Concat(volumeUnits, usVolumes)
	case Imperial:
		readable = slices.Concat(volumeUnits, imperialVolumes)
	}
	v, err := volumes.parse(text, readable)
	if err == nil && v < 0 {
		return 0, &ParseError{text, "a volume can't be below zero", "write how much it holds, " + volumes.example}
	}
	return v, err
}

// ParseLength returns metres from a text such as "410 m", "1.2 km" or
// "1350 ft"; it may be below zero, as some ground is.
func ParseLength(text string) (metres float64, err error) {
	return lengths.parse(text, lengths.units)
}

// ParseArea returns square metres from a text such as "12 sqft" or "1.1 m2".
func ParseArea(text string) (m2 float64, err error) {
	v, err := areas.parse(text, areas.units)
	if err == nil && v <= 0 {
		return 0, &ParseError{text, "an area must be above zero", "write length times width, " + areas.example}
	}
	return v, err
}

// ParseDiameter returns metres from a text such as "30 cm" or "12 in".
func ParseDiameter(text string) (metres float64, err error) {
	v, err := diameters.parse(text, diameters.units)
	if err == nil && v <= 0 {
		return 0, &ParseError{text, "a diameter must be above zero", "write the width of the stem, " + diameters.example}
	}
	return v, err
}

// ParseVacuum returns kPa below the outside pressure from a text such as
// "20 inHg" or "68 kPa".
func ParseVacuum(text string) (kPa float64, err error) {
	v, err := vacuums.parse(text, vacuums.units)
	if err == nil && v < 0 {
		return 0, &ParseError{text, "a vacuum can't be below zero",
			"write how far it lies below the outside pressure, without a minus, " + vacuums.example}
	}
	return v, err
}

// ParsePressure returns hPa from a text such as "985 hPa", "98.5 kPa",
// "29.1 inHg" or "739 mmHg".
func ParsePressure(text string) (hPa float64, err error) {
	v, err := pressures.parse(text, pressures.units)
	if err == nil && v <= 0 {
		return 0, &ParseError{text, "a pressure must be above zero", "write the pressure of the air, " + pressures.example}
	}
	return v, err
}

// ParseTemperature returns °C from a text such as "-3 °C", "27F" or "27 °F".
func ParseTemperature(text string) (celsius float64, err error) {
	v, err := temperatures.parse(text, temperatures.units)
	if err == nil && v < -273.15 {
		return 0, &ParseError{text, "no temperature lies below -273.15 °C", "check the number and the unit"}
	}
	return v, err
}

// ParseSpeed returns metres a second from a text such as "60 km/h", "37 mph" or "17 m/s".
func ParseSpeed(text string) (metresPerSecond float64, err error) {
	v, err := speeds.parse(text, speeds.units)
	if err == nil && v < 0 {
		return 0, &ParseError{text, "a speed can't be below zero", "write how fast it blows, " + speeds.example}
	}
	return v, err
}

// unit is one unit with the ways to write it, the first as it is printed; the
// rest lower-case without spaces and points. SI value = (number - zero) · size.
type unit struct {
	name       string
	also       []string
	size, zero float64
}

type quantity struct {
	name    string // "volume"
	article string // "a volume"
	example string // "such as 7.5 L or 2 gal"
	units   []unit
}

var (
	volumeUnits = []unit{
		{name: "L", also: []string{"litre", "litres", "liter", "liters"}, size: 1},
		{name: "ml", also: []string{"millilitre", "millilitres", "milliliter", "milliliters"}, size: 1e-3},
		{name: "hl", also: []string{"hectolitre", "hectolitres", "hectoliter", "hectoliters"}, size: 100},
		{name: "m3", also: []string{"m³"}, size: 1000},
		{name: "US gal", also: []string{"usgals", "usgallon", "usgallons"}, size: LitresPerUSGallon},
		{name: "imp gal", also: []string{"impgals", "impgallon", "impgallons", "imperialgal", "imperialgallon", "imperialgallons",
			"ukgal"}, size: LitresPerImperialGallon},
		{name: "US qt", also: []string{"usquart", "usquarts"}, size: LitresPerUSGallon / 4},
		{name: "imp qt", also: []string{"impquart", "impquarts", "imperialquart", "imperialquarts"}, size: LitresPerImperialGallon / 4},
	}
	usVolumes       = bareGallons(LitresPerUSGallon)
	imperialVolumes = bareGallons(LitresPerImperialGallon)

	volumes = quantity{
		name: "volume", article: "a volume", example: "such as 7.5 L or 2 gal",
		units: slices.Concat(volumeUnits, usVolumes),
	}
	lengths = quantity{
		name: "length", article: "a length", example: "such as 410 m or 1350 ft",
		units: []unit{
			{name: "m", also: []string{"metre", "metres", "meter", "meters"}, size: 1},
			{name: "km", also: []string{"kilometre", "kilometres", "kilometer", "kilometers"}, size: 1000},
			{name: "ft", also: []string{"foot", "feet", "'"}, size: MetresPerFoot},
		},
	}
	areas = quantity{
		name: "area", article: "an area", example: "such as 12 sqft or 1.1 m2",
		units: []unit{
			{name: "m2", also: []string{"m²", "sqm"}, size: 1},
			{name: "sqft", also: []string{"ft2", "ft²", "squarefeet", "squarefoot"}, size: MetresPerFoot * MetresPerFoot},
		},
	}
	diameters = quantity{
		name: "diameter", article: "a diameter", example: "such as 30 cm or 12 in",
		units: []unit{
			{name: "cm", also: []string{"centimetre", "centimetres", "centimeter", "centimeters"}, size: 0.01},
			{name: "mm", also: []string{"millimetre", "millimetres", "millimeter", "millimeters"}, size: 1e-3},
			{name: "in", also: []string{"inch", "inches", `"`}, size: 0.0254},
		},
	}
	vacuums = quantity{
		name: "vacuum", article: "a vacuum", example: "such as 20 inHg or 68 kPa",
		units: []unit{
			{name: "inHg", also: []string{"inchhg", "incheshg", `"hg`}, size: KPaPerInHg},
			{name: "kPa", size: 1},
			{name: "hPa", size: 0.1},
			{name: "mbar", size: 0.1},
			{name: "mmHg", size: HPaPerMMHg / 10},
		},
	}
	pressures = quantity{
		name: "pressure", article: "a pressure", example: "such as 985 hPa or 29.1 inHg",
		units: []unit{
			{name: "hPa", size: 1},
			{name: "kPa", size: 10},
			{name: "mbar", also: []string{"mb"}, size: 1},
			{name: "inHg", also: []string{"inchhg", "incheshg", `"hg`}, size: KPaPerInHg * 10},
			{name: "mmHg", also: []string{"torr"}, size: HPaPerMMHg},
		},
	}
	temperatures = quantity{
		name: "temperature", article: "a temperature", example: "such as -3 °C or 27 °F",
		units: []unit{
			{name: "°C", also: []string{"degc", "degreesc", "celsius", "degreescelsius"}, size: 1},
			{name: "°F", also: []string{"degf", "degreesf", "fahrenheit", "degreesfahrenheit"}, size: 1 / 1.8, zero: 32},
		},
	}
	speeds = quantity{
		name: "speed", article: "a speed", example: "such as 60 km/h or 37 mph",
		units: []unit{
			{name: "km/h", also: []string{"kmh", "kph"}, size: 1 / 3.6},
			{name: "mph", also: []string{"mi/h"}, size: 0.44704},
			{name: "m/s", also: []string{"mps"}, size: 1},
			{name: "kn", also: []string{"kt", "kts", "knots", "knot"}, size: 1852.0 / 3600},
		},
	}
	quantities = []*quantity{&volumes, &lengths, &areas, &diameters, &vacuums, &pressures, &temperatures, &speeds}
)

func bareGallons(litresPerGallon float64) []unit {
	return []unit{
		{name: "gal", also: []string{"gals", "gallon", "gallons"}, size: litresPerGallon},
		{name: "qt", also: []string{"qts", "quart", "quarts"}, size: litresPerGallon / 4},
	}
}

var (
	numberAndUnit = regexp.MustCompile(`^([+\-−]?)\s*([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)\s*(.*)$`)
	thousands     = regexp.MustCompile(`^[1-9][0-9]{0,2},[0-9]{3}$`)
)

// parse reads a number and one of the given units of the quantity.
func (q *quantity) parse(text string, units []unit) (float64, error) {
	fail := func(what, remedy string) (float64, error) {
		return 0, &ParseError{text, what, remedy}
	}
	if strings.TrimSpace(text) == "" {
		return fail(q.article+" is missing", "write a number and a unit, "+q.example)
	}
	m := numberAndUnit.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return fail("not "+q.article, "write a number and a unit, "+q.example)
	}
	digits, word := m[2], m[3]
	if thousands.MatchString(digits) {
		return fail("the comma may part thousands or decimals", fmt.Sprintf("write %s or %s",
			strings.Replace(digits, ",", "", 1), strings.Replace(digits, ",", ".", 1)))
	}
	number, err := strconv.ParseFloat(strings.Replace(digits, ",", ".", 1), 64)
	if err != nil || math.IsInf(number, 0) {
		return fail("the number is too large", "check its digits")
	}
	if m[1] == "-" || m[1] == "−" {
		number = -number
	}
	if word == "" {
		return fail("a number without a unit", "add a unit, "+q.example)
	}
	if u, ok := find(word, units); ok {
		return (number - u.zero) * u.size, nil
	}
	if _, ok := find(word, q.units); ok { // only the bare gallon and quart are ever left out
		return fail(fmt.Sprintf("%q may be US or imperial", word),
			fmt.Sprintf("write %[1]s US %[2]s, %[1]s imp %[2]s or litres", digits, word))
	}
	for _, other := range quantities {
		if _, ok := find(word, other.units); ok {
			return fail(fmt.Sprintf("%q is a unit of %s, not of %s", word, other.name, q.name),
				fmt.Sprintf("write %s %s", q.article, q.example))
		}
	}
	var names []string
	for _, u := range units {
		names = append(append(names, u.name), u.also...)
	}
	remedy := fmt.Sprintf("write %s %s", q.article, q.example)
	if u, ok := find(Nearest(plain(word), names), units); ok {
		remedy = fmt.Sprintf("did you mean %s?", u.name)
	}
	return fail(fmt.Sprintf("%q is not a unit of %s", word, q.name), remedy)
}

func find(word string, units []unit) (unit, bool) {
	word = plain(word)
	for _, u := range units {
		if word == plain(u.name) {
			return u, true
		}
		for _, a := range u.also {
			if word == a {
				return u, true
			}
		}
	}
	return unit{}, false
}

var plainer = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "", ".", "", "°", "", "º", "", "″", `"`, "”", `"`, "′", "'", "’", "'")

// plain takes case, spaces, points and degree signs away.
func plain(word string) string { return plainer.Replace(strings.ToLower(word)) }
