package config

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/secret"
	"thawline/forecast/units"
)

// kind is how the value of a setting is written: what stands in the file, and how
// that becomes a checked value. given is false where there is none or it is wrong.
type kind[V any] struct {
	shape shape
	read  func(r *reader, path string) (value V, given bool)
}

// needed makes a kind of which there must be a value.
func (k kind[V]) needed(what, remedy string) kind[V] {
	read := k.read
	k.read = func(r *reader, path string) (V, bool) {
		if r.text(path) == "" {
			var none V
			r.fail(path, what+" is missing", remedy)
			return none, false
		}
		return read(r, path)
	}
	return k
}

// parsed is any single text; parse complains of one that is wrong.
func parsed[V any](parse func(r *reader, path, text string) (V, bool)) kind[V] {
	return kind[V]{text, func(r *reader, path string) (value V, given bool) {
		if s := r.text(path); s != "" {
			return parse(r, path, s)
		}
		return value, false
	}}
}

// words are taken as they stand.
func words() kind[string] {
	return parsed(func(_ *reader, _, text string) (string, bool) { return text, true })
}

// fileName is a path; a relative one lies beside the settings file.
func fileName() kind[string] {
	return parsed(func(r *reader, path, text string) (string, bool) { return r.besideFile(path, text), true })
}

// address is that of a server, without a slash at its end.
func address() kind[string] {
	return kind[string]{text, func(r *reader, path string) (string, bool) {
		s := r.baseURL(path)
		return s, s != ""
	}}
}

// confidential is a secret: it stands in a file of its own or in the environment.
func confidential(read func(*reader, string) secret.Text) kind[secret.Text] {
	return kind[secret.Text]{hidden, func(r *reader, path string) (secret.Text, bool) {
		s := read(r, path)
		return s, s.Given()
	}}
}

// oneOf is a word of a known list, in any case.
func oneOf[T ~string](what string, known ...T) kind[T] {
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	return parsed(func(r *reader, path, text string) (T, bool) {
		word := r.known(path, text, what, names)
		return T(word), word != ""
	})
}

// neededOneOf is a word of a known list that must be there.
func neededOneOf[T ~string](what string, known ...T) kind[T] {
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	return oneOf(what, known...).needed("the "+what, "write one of "+strings.Join(names, ", "))
}

// whether is one of two words, of which one is true.
func whether(truth, what string, known ...string) kind[bool] {
	of := oneOf(what, known...)
	return kind[bool]{text, func(r *reader, path string) (bool, bool) {
		word, given := of.read(r, path)
		return word == truth, given
	}}
}

// measured is a quantity with its unit between two bounds in the unit that parse
// gives.
func measured(parse func(string) (float64, error), low, high float64, absurd, remedy string) kind[float64] {
	return kind[float64]{text, func(r *reader, path string) (float64, bool) {
		return r.measure(path, parse, low, high, absurd, remedy)
	}}
}

// litres is a volume in the units of the settings.
func litres(low, high float64, absurd, remedy string) kind[float64] {
	return kind[float64]{text, func(r *reader, path string) (float64, bool) {
		parse := func(text string) (float64, error) { return units.ParseVolume(text, r.in.Units) }
		return r.measure(path, parse, low, high, absurd, remedy)
	}}
}

// number is one without a unit, from low to high. wrong says what a text is not,
// absurd what is the matter with a figure beyond the bounds.
func number(low, high float64, wrong, absurd, remedy string) kind[float64] {
	return parsed(func(r *reader, path, text string) (float64, bool) {
		x, err := strconv.ParseFloat(text, 64)
		switch {
		case err != nil || x-x != 0: // infinite or not a number
			r.fail(path, text+": "+wrong, remedy)
		case x < low || x > high:
			r.fail(path, text+absurd, remedy)
		default:
			return x, true
		}
		return 0, false
	})
}

// aboveZero is the least number that a setting above zero may have.
const aboveZero = math.SmallestNonzeroFloat64

// brix is sugar in degrees Brix.
func brix(low, high float64, absurd string) kind[float64] {
	return number(low, high, "not a number", ": "+absurd, "write degrees Brix, such as 66")
}

// questions is how often a service may be asked.
func questions(most float64) kind[float64] {
	const wrong = "not a number of questions"
	return number(aboveZero, most, wrong, ": "+wrong, fmt.Sprintf("write a number above 0, at most %g, as the service's terms allow", most))
}

// port is one of a server; the usual depends on what stands before it.
func port(usual int) kind[int] {
	return whole(65535, ": not a port", fmt.Sprintf("write a number from 1 to 65535, such as %d", usual))
}

// whole is a whole number from one to a bound.
func whole(high int, wrong, remedy string) kind[int] {
	return parsed(func(r *reader, path, text string) (int, bool) {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > high {
			r.fail(path, text+wrong, remedy)
			return 0, false
		}
		return n, true
	})
}

// chance is in per cent, and 0 to 1 as a value.
func chance() kind[float64] {
	return parsed(func(r *reader, path, text string) (float64, bool) {
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(text, "%")), 64)
		if err != nil || !(x >= 1 && x <= 99) {
			r.fail(path, text+": not a chance", "write 1 % to 99 %, such as 30 %")
			return 0, false
		}
		return x / 100, true
	})
}

// lasting is a stretch of time between two bounds.
func lasting(low, high time.Duration, wrong, remedy string) kind[time.Duration] {
	return parsed(func(r *reader, path, text string) (time.Duration, bool) {
		d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
		if err != nil || d < low || d > high {
			r.fail(path, text+wrong, remedy)
			return 0, false
		}
		return d, true
	})
}

// pattern is a regular expression.
func pattern(remedy string) kind[*regexp.Regexp] {
	return parsed(func(r *reader, path, text string) (*regexp.Regexp, bool) {
		re, err := regexp.Compile(text)
		if err != nil {
			r.fail(path, text+": not a regular expression", remedy)
		}
		return re, err == nil
	})
}

// day is a date, midnight in a zone that the reader knows by then.
func day() kind[time.Time] {
	return parsed(func(r *reader, path, text string) (time.Time, bool) {
		zone := r.zone
		if zone == nil {
			zone = time.UTC
		}
		t, err := time.ParseInLocation(time.DateOnly, text, zone)
		if err != nil {
			r.fail(path, text+": not a date", "write year-month-day, such as 2026-02-20")
		}
		return t, err == nil
	})
}

// several is a list of which each value is read alone.
func several[V any](read func(r *reader, one item) (values []V, ok bool)) kind[[]V] {
	return kind[[]V]{list, func(r *reader, path string) (out []V, given bool) {
		for _, one := range r.list(path) {
			if values, ok := read(r, one); ok {
				out = append(out, values...)
			}
		}
		return out, out != nil
	}}
}

// ids is a list of ids of entries that are described elsewhere.
func ids(what, remedy string, known func(r *reader) []string) kind[[]string] {
	return several(func(r *reader, one item) ([]string, bool) {
		for _, id := range known(r) {
			if id == one.text {
				return []string{id}, true
			}
		}
		r.fail(one.at, fmt.Sprintf("%s: no such %s", one.text, what), units.Suggest(one.text, known(r), remedy))
		return nil, false
	})
}
