package units

import (
	"math"
	"strings"
	"testing"
)

func TestParsePlace(t *testing.T) {
	for text, want := range map[string][2]float64{
		"44.62, -72.68":                {44.62, -72.68},
		"44.62,-72.68":                 {44.62, -72.68},
		"44.62 -72.68":                 {44.62, -72.68},
		"44,62; -72,68":                {44.62, -72.68},
		"44,62, -72,68":                {44.62, -72.68},
		"44,-72":                       {44, -72},
		"44,72":                        {44, 72},
		"44.62 N, 72.68 W":             {44.62, -72.68},
		"44.62N72.68W":                 {44.62, -72.68},
		"N44.62 W72.68":                {44.62, -72.68},
		"72.68 W, 44.62 N":             {44.62, -72.68},
		"44.62, 72.68 W":               {44.62, -72.68},
		"44.62 N, -72.68 W":            {44.62, -72.68},
		"44.62° N, 72.68° W":           {44.62, -72.68},
		`44°37'12"N 72°40'48"W`:        {44.62, -72.68},
		"44° 37′ 12″ N, 72° 40′ 48″ W": {44.62, -72.68},
		"44°37.2'N 72°40.8'W":          {44.62, -72.68},
		"-44°37'12\", 72":              {-44.62, 72},
		"45,9 N; 71,2 O":               {45.9, -71.2},
		"45,9° nord, 71,2° ouest":      {45.9, -71.2},
		"45.9 Nord 71.2 Ouest":         {45.9, -71.2},
		"(44.62, −72.68)":              {44.62, -72.68},
		"43.1 S, 147.3 E":              {-43.1, 147.3},
	} {
		north, east, err := ParsePlace(text)
		if err != nil || math.Abs(north-want[0]) > 1e-9 || math.Abs(east-want[1]) > 1e-9 {
			t.Errorf("%s: %v %v %v", text, north, east, err)
		}
	}
	for text, says := range map[string]string{
		"": "not a place", "the hill": "not a place", "44.62": "not a place", "44.62 N": "not a place", "44.62,": "not a place",
		"1,2,3,4,5": "not a place", "44°61'N 72°W": "0 to 60", "44 N 45 N": "twice", "72 W 44 E": "twice",
		"-44 N, 72 W": "below zero, and n",
		"44.62.1, 3":  "not a place", "44, 72 N": "no degree east", strings.Repeat("4", 200): "not a place",
	} {
		if north, east, err := ParsePlace(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v %v %v", text, north, east, err)
		}
	}
}

func FuzzParsePlace(f *testing.F) {
	f.Add(`44°37'12"N 72°40'48"W`)
	f.Add("45,9 N; 71,2 O")
	f.Fuzz(func(t *testing.T, text string) {
		north, east, err := ParsePlace(text)
		if err == nil && (math.IsNaN(north) || math.IsNaN(east)) {
			t.Errorf("%q: %v %v", text, north, east)
		}
	})
}
