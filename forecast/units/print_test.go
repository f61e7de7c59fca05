package units

import (
	"math"
	"testing"
)

func TestVolumesForPailsAndTanks(t *testing.T) {
	cases := []struct {
		litres       float64
		s            System
		number, unit string
	}{
		{180.4, Metric, "180", "L"},
		{180, US, "48", "gal"}, // 180 / 3.785411784 = 47.55
		{180, Imperial, "40", "imp gal"},
		{7.5, Metric, "7.5", "L"},
		{7.57, US, "2.0", "gal"},
		{9.94, Metric, "9.9", "L"},
		{9.96, Metric, "10", "L"},
		{0, Metric, "0", "L"},
		{0.04, Metric, "0", "L"},
		{-0.04, Metric, "0", "L"},
		{12345, Metric, "12345", "L"},
		{math.NaN(), US, "?", "gal"},
	}
	for _, c := range cases {
		if number, unit := Volume(c.litres, c.s); number != c.number || unit != c.unit {
			t.Errorf("%v L in %s: %s %s, want %s %s", c.litres, c.s, number, unit, c.number, c.unit)
		}
	}
}

func TestTemperatures(t *testing.T) {
	cases := []struct {
		got, want string
	}{
		{Temperature(-2.8, Metric), "-3 °C"},
		{Temperature(-2.8, Imperial), "-3 °C"},
		{Temperature(-2.8, US), "27 °F"},
		{Temperature(-0.4, Metric), "0 °C"},
		{PlainTemperature(-2.8, US), "27 F"},
		{PlainTemperature(-2.8, Metric), "-3 C"},
		{FineTemperature(103.92, Metric), "103.9 °C"},
		{FineTemperature(100, US), "212.0 °F"},
		{Temperature(math.NaN(), US), "? °F"},
	}
	for _, c := range cases {
		if c.got != c.want {
			t.Errorf("%s, want %s", c.got, c.want)
		}
	}
}
