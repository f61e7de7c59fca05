package units

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*max(math.Abs(want), 1e-9)
}

func TestPublishedConversions(t *testing.T) {
	volume := func(s System) func(string) (float64, error) {
		return func(text string) (float64, error) { return ParseVolume(text, s) }
	}
	cases := []struct {
		parse func(string) (float64, error)
		text  string
		want  float64
	}{
		{volume(US), "1 gal", 3.785412},          // NIST SP 811, appendix B, from memory
		{volume(US), "1 qt", 0.9463529},          // NIST SP 811, appendix B, from memory
		{volume(Imperial), "1 gal", 4.54609},     // NIST SP 811, appendix B, from memory
		{volume(Imperial), "1 quart", 1.1365225}, // Canada Weights and Measures Act, schedule II, from memory
		{volume(Metric), "1 US gal", 3.785412},
		{volume(US), "1 imp gal", 4.54609},
		{volume(Metric), "2 U.S. gallons", 2 * 3.785412},
		{volume(Metric), "3 us qt", 3 * 0.9463529},
		{volume(Metric), "7.5L", 7.5},
		{volume(Metric), "7.5 l", 7.5},
		{volume(Metric), "7,5 litres", 7.5},
		{volume(Metric), "750 ml", 0.75},
		{volume(Metric), "1.5 hl", 150},
		{volume(Metric), "1.2 m³", 1200},
		{volume(Metric), " .5\u00a0L ", 0.5},
		{ParseLength, "1 ft", 0.3048}, // international foot, NIST SP 811, from memory
		{ParseLength, "410 m", 410},
		{ParseLength, "1350 feet", 411.48},
		{ParseLength, "1350'", 411.48},
		{ParseLength, "-12 m", -12},
		{ParseLength, "0.4 km", 400},
		{ParseDiameter, "30 cm", 0.3},
		{ParseDiameter, "300mm", 0.3},
		{ParseDiameter, "12 in", 0.3048},
		{ParseDiameter, "12″", 0.3048},
		{ParseVacuum, "1 inHg", 3.386389}, // NIST SP 811: inch of mercury, conventional, from memory
		{ParseVacuum, "20 in Hg", 67.72777},
		{ParseVacuum, "20 in. Hg", 67.72777},
		{ParseVacuum, "68 kPa", 68},
		{ParsePressure, "29.92 inHg", 1013.2075}, // ICAO standard atmosphere's 29.92 is 1013.25 rounded
		{ParsePressure, "760 mmHg", 1013.25},     // standard atmosphere, NIST SP 811, from memory
		{ParsePressure, "985hPa", 985},
		{ParsePressure, "98.5 kPa", 985},
		{ParsePressure, "985 mbar", 985},
		{ParseTemperature, "212 °F", 100},
		{ParseSpeed, "60 km/h", 16.6666667},
		{ParseSpeed, "37 mph", 16.54048},
		{ParseSpeed, "17 m/s", 17},
		{ParseSpeed, "30 kn", 15.4333333},
		{ParseTemperature, "-40 F", -40},
		{ParseTemperature, "−3 °C", -3},
		{ParseTemperature, "27F", -2.7777778},
		{ParseTemperature, "0 deg C", 0},
	}
	for _, c := range cases {
		got, err := c.parse(c.text)
		if err != nil || !near(got, c.want, 3e-7) {
			t.Errorf("%q: %v, %v, want %v", c.text, got, err, c.want)
		}
	}
}

func TestRefusedTexts(t *testing.T) {
	us := func(text string) (float64, error) { return ParseVolume(text, US) }
	metric := func(text string) (float64, error) { return ParseVolume(text, Metric) }
	cases := []struct {
		parse func(string) (float64, error)
		text  string
		want  string
	}{
		{us, "", "(nothing): a volume is missing; write a number and a unit, such as 7.5 L or 2 gal"},
		{us, "7.5", "7.5: a number without a unit; add a unit, such as 7.5 L or 2 gal"},
		{us, "2 pints", `2 pints: "pints" is not a unit of volume; write a volume such as 7.5 L or 2 gal`},
		{us, "2 galons", `2 galons: "galons" is not a unit of volume; did you mean gal?`},
		{us, "2 m", `2 m: "m" is a unit of length, not of volume; write a volume such as 7.5 L or 2 gal`},
		{us, "-2 gal", "-2 gal: a volume can't be below zero; write how much it holds, such as 7.5 L or 2 gal"},
		{us, "NaN L", "NaN L: not a volume; write a number and a unit, such as 7.5 L or 2 gal"},
		{us, "Inf L", "Inf L: not a volume; write a number and a unit, such as 7.5 L or 2 gal"},
		{us, "many", "many: not a volume; write a number and a unit, such as 7.5 L or 2 gal"},
		{us, "1,350 L", "1,350 L: the comma may part thousands or decimals; write 1350 or 1.350"},
		{metric, "2 gal", `2 gal: "gal" may be US or imperial; write 2 US gal, 2 imp gal or litres`},
		{ParseLength, "20 gal", `20 gal: "gal" is a unit of volume, not of length; write a length such as 410 m or 1350 ft`},
		{ParseLength, "410", "410: a number without a unit; add a unit, such as 410 m or 1350 ft"},
		{ParseVacuum, "-20 inHg", "-20 inHg: a vacuum can't be below zero; write how far it lies below the outside pressure, without a minus, such as 20 inHg or 68 kPa"},
		{ParseVacuum, "20 inhq", `20 inhq: "inhq" is not a unit of vacuum; did you mean inHg?`},
		{ParsePressure, "0 hPa", "0 hPa: a pressure must be above zero; write the pressure of the air, such as 985 hPa or 29.1 inHg"},
		{ParsePressure, "98500 Pa", `98500 Pa: "Pa" is not a unit of pressure; did you mean hPa?`},
		{ParseDiameter, "0 cm", "0 cm: a diameter must be above zero; write the width of the stem, such as 30 cm or 12 in"},
		{ParseSpeed, "-5 km/h", "-5 km/h: a speed can't be below zero; write how fast it blows, such as 60 km/h or 37 mph"},
		{ParseTemperature, "-300 °C", "-300 °C: no temperature lies below -273.15 °C; check the number and the unit"},
		{ParseTemperature, "27", "27: a number without a unit; add a unit, such as -3 °C or 27 °F"},
	}
	for _, c := range cases {
		_, err := c.parse(c.text)
		var parseError *ParseError
		if !errors.As(err, &parseError) || err.Error() != c.want {
			t.Errorf("%q:\n got %v\nwant %s", c.text, err, c.want)
		}
	}
}

func TestSystems(t *testing.T) {
	for text, want := range map[string]System{"us": US, " Imperial ": Imperial, "METRIC": Metric} {
		if got, err := ParseSystem(text); got != want || err != nil {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	if _, err := ParseSystem("metrik"); err == nil || err.Error() != `metrik: not a system of units; did you mean "metric"?` {
		t.Error(err)
	}
	if _, err := ParseSystem("stones"); err == nil || err.Error() != `stones: not a system of units; use us, imperial or metric` {
		t.Error(err)
	}
}

func TestNearestWord(t *testing.T) {
	known := []string{"taps", "tank", "species", "collected_by"}
	for word, want := range map[string]string{
		"tap": "taps", "tasp": "taps", "Species": "species", "collectedby": "collected_by",
		"colected_bye": "collected_by", "x": "", "": "", "weather": "",
	} {
		if got := Nearest(word, known); got != want {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}

func TestWhatIsPrintedIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		litres := rapid.Float64Range(0, 1e6).Draw(t, "litres")
		s := rapid.SampledFrom([]System{US, Imperial, Metric}).Draw(t, "system")
		number, unit := Volume(litres, s)
		back, err := ParseVolume(number+" "+unit, s)
		if err != nil {
			t.Fatal(err)
		}
		if step := 4.6; math.Abs(back-litres) > step/2+1e-6 {
			t.Fatalf("%v L came back from %s %s as %v", litres, number, unit, back)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"7.5 L", "2 imp gal", "-3 °C", "20 in. Hg", "1,350 ft", "", "9e9", "−.5\u00a0°F", "12″"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		volume, err := ParseVolume(text, US)
		if err == nil && (volume < 0 || math.IsNaN(volume) || math.IsInf(volume, 0)) {
			t.Errorf("volume %q: %v", text, volume)
		}
		for _, parse := range []func(string) (float64, error){ParseLength, ParseDiameter, ParseVacuum, ParsePressure, ParseTemperature,
			ParseSpeed} {
			if v, err := parse(text); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%q: %v", text, v)
			}
		}
	})
}
