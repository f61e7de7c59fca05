package config

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

func (r *reader) gathering(at string, system units.System) forecast.Gathering {
	var g forecast.Gathering
	if r.text(join(at, "minutes_per_tap")) != "" {
		if m, ok := r.number(join(at, "minutes_per_tap"), "the minutes", "write how many minutes one person takes for a tap, such as 1"); ok {
			if g.MinutesPerTap = m; m <= 0 || m > 30 {
				r.fail(join(at, "minutes_per_tap"), fmt.Sprintf("%g minutes for one tap", m), "write how many minutes one person takes for a tap, such as 1")
			}
		}
	}
	parse := func(text string) (float64, error) { return units.ParseVolume(text, system) }
	g.TripWorthL, _ = r.measure(join(at, "trip_worth"), parse, 0.5, 5000, "nobody goes for nothing, or for that much", "write the least sap that a trip must save, such as 25 L or 6 gal; 1 L where every trip is worth it")
	return g
}

func (r *reader) boiling(at string, system units.System) forecast.Boiling {
	b := forecast.Boiling{RoomC: math.NaN()}
	b.Pan.Kind = boil.Kind(r.oneOf(join(at, "pan"), "kind of pan", []string{string(boil.Flat), string(boil.Flue)}, string(boil.Flat)))
	b.Pan.Fuel = boil.Fuel(r.oneOf(join(at, "fuel"), "fuel", []string{string(boil.Wood), string(boil.Gas)}, string(boil.Wood)))
	b.Pan.AreaM2, _ = r.measure(join(at, "area"), units.ParseArea, 0.05, 50, "no pan is that large or small", "write length times width, such as 12 sqft or 1.1 m2")
	rate := func(text string) (float64, error) {
		number, found := strings.CutSuffix(strings.ReplaceAll(text, " ", ""), "/h")
		if !found {
			return 0, &units.ParseError{Text: text, What: "not a rate", Remedy: "write the water boiled away in an hour, such as 45 L/h or 12 gal/h"}
		}
		return units.ParseVolume(number, system)
	}
	b.Pan.RateLH, _ = r.measure(join(at, "rate"), rate, 0.5, 20000, "no pan boils that", "write the water boiled away in an hour, such as 45 L/h or 12 gal/h")
	b.Pan.ReachBrix = r.brix(join(at, "concentrate"), 0, 4, 40, "sap is concentrated to 4 to 40 °Brix")
	b.SyrupBrix = r.brix(join(at, "syrup"), 66, 65, 69, "syrup has 66 to 68.9 °Brix")
	if c, ok := r.measure(join(at, "room"), units.ParseTemperature, 5, 45, "nobody stirs sugar in such a room", "write its temperature, such as 20 °C or 68 °F"); ok {
		b.RoomC = c
	}
	return b
}

func (r *reader) brix(path string, otherwise, low, high float64, absurd string) float64 {
	if r.text(path) == "" {
		return otherwise
	}
	x, ok := r.number(path, "the sugar", "write degrees Brix, such as 66")
	if ok && (x < low || x > high) {
		r.fail(path, fmt.Sprintf("%g: %s", x, absurd), "write degrees Brix, such as 66")
	}
	return x
}

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

var weekHours = regexp.MustCompile(`^([a-z]{3})(?:\s*-\s*([a-z]{3}))?\s+([01]?[0-9]|2[0-3]):([0-5][0-9])\s*[-–]\s*([01]?[0-9]|2[0-3]):([0-5][0-9])$`)

// week reads when somebody is free, such as "mon-fri 15:30-19:00, sat
// 9:00-17:00".
func (r *reader) week(path, who string) []forecast.Free {
	const remedy = "write days and times, such as mon-fri 15:30-19:00, sat 9:00-17:00"
	var out []forecast.Free
	for _, given := range r.list(path) {
		path, part := given.at, strings.ToLower(given.text)
		m := weekHours.FindStringSubmatch(part)
		if m == nil {
			r.fail(path, part+": not days and times", remedy)
			continue
		}
		first, last := slices.Index(weekdays, m[1]), slices.Index(weekdays, m[1])
		if m[2] != "" {
			last = slices.Index(weekdays, m[2])
		}
		from, to := clock(m[3], m[4]), clock(m[5], m[6])
		switch {
		case first < 0 || last < 0:
			r.fail(path, part+": no such day", "write "+strings.Join(weekdays, ", "))
			continue
		case to <= from:
			r.fail(path, part+": ends before it begins", remedy)
			continue
		}
		for d := first; ; d = (d + 1) % 7 {
			out = append(out, forecast.Free{Who: who, Weekday: time.Weekday(d), From: from, To: to})
			if d == last {
				break
			}
		}
	}
	return out
}
