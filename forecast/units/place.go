package units

import (
	"regexp"
	"strconv"
	"strings"
)

// A degree with what may follow it, and the letters of a compass as English and
// French write them: "71,2 O" lies in the west.
const (
	degreePattern = `([+-]?\d+(?:[.,]\d+)?)\s*(?:°\s*(?:(\d+(?:[.,]\d+)?)\s*'\s*(?:(\d+(?:[.,]\d+)?)\s*"\s*)?)?)?`
	sidePattern   = `(n|s|e|w|o|north|south|east|west|nord|sud|est|ouest)?`
	betweenDegree = `(?:\s*[,;/]\s*|\s+)`
)

var (
	sideLast  = regexp.MustCompile(`^` + degreePattern + `\s*` + sidePattern + betweenDegree + degreePattern + `\s*` + sidePattern + `$`)
	sideFirst = regexp.MustCompile(`^` + sidePattern + `\s*` + degreePattern + betweenDegree + sidePattern + `\s*` + degreePattern + `$`)
	placeMark = strings.NewReplacer("−", "-", "–", "-", "º", "°", "˚", "°", "′", "'", "’", "'", "‘", "'", "´", "'",
		"″", `"`, "”", `"`, "“", `"`, "''", `"`, "\u00a0", " ", "\u202f", " ")
	sideBeforeDigit = regexp.MustCompile(`([a-z])([\d])`)
)

// ParsePlace reads degrees north and east as maps, phones and notebooks write them:
// 44.62, -72.68 or 44,62; -72,68 or 44.62 N 72.68 W or 44°37'12"N 72°40'48"W. It
// fails with a *ParseError.
func ParsePlace(text string) (northDeg, eastDeg float64, err error) {
	wrong := func(what string) (float64, float64, error) {
		return 0, 0, &ParseError{Text: text, What: what, Remedy: "write degrees north and east, such as 44.21, -72.84 or 44.21 N, 72.84 W"}
	}
	if len(text) > 100 {
		return wrong("not a place")
	}
	s := sideBeforeDigit.ReplaceAllString(strings.ToLower(placeMark.Replace(strings.TrimSpace(text))), "$1 $2")
	s = strings.Trim(s, "() ")
	var degrees [2][3]string
	var sides [2]string
	if m := sideLast.FindStringSubmatch(s); m != nil {
		degrees, sides = [2][3]string{{m[1], m[2], m[3]}, {m[5], m[6], m[7]}}, [2]string{m[4], m[8]}
	} else if m := sideFirst.FindStringSubmatch(s); m != nil {
		degrees, sides = [2][3]string{{m[2], m[3], m[4]}, {m[6], m[7], m[8]}}, [2]string{m[1], m[5]}
	} else {
		return wrong("not a place")
	}
	var values [2]float64
	for i, d := range degrees {
		var known bool
		if values[i], known = angle(d); !known {
			return wrong("minutes and seconds go from 0 to 60")
		}
		switch side := sides[i]; {
		case side == "":
		case strings.ContainsAny(side[:1], "swo"):
			if values[i] > 0 { // "-72.68 W" means the west too
				values[i] = -values[i]
			}
		case values[i] < 0:
			return wrong("below zero, and " + side)
		}
	}
	across := func(side string) bool { return side != "" && strings.ContainsAny(side[:1], "ewo") }
	switch {
	case across(sides[0]) && !across(sides[1]):
		values[0], values[1] = values[1], values[0]
	case sides[0] != "" && sides[1] != "" && across(sides[0]) == across(sides[1]):
		return wrong("twice the same direction")
	case sides[1] != "" && !across(sides[1]):
		return wrong("the second is no degree east or west")
	}
	return values[0], values[1], nil
}

// angle adds minutes and seconds to degrees, away from zero.
func angle(parts [3]string) (deg float64, ok bool) {
	share := 1.0
	for i, p := range parts {
		if p == "" {
			break
		}
		v, err := strconv.ParseFloat(strings.Replace(p, ",", ".", 1), 64)
		if err != nil || i > 0 && v >= 60 {
			return 0, false
		}
		if strings.HasPrefix(parts[0], "-") && i > 0 {
			v = -v
		}
		deg += v / share
		share *= 60
	}
	return deg, true
}
