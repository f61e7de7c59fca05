package members

import (
	"fmt"
	"math"
	"strconv"

	"thawline/config"
)

// degrees are the keys that say where a bush is.
var degrees = []string{"latitude", "longitude"}

// tellRoughly rounds where a bush is to a tenth of a degree, as everybody but its own
// people may know it, unless they agreed to more.
func tellRoughly(kind string, values map[string]any) {
	shares, _ := values["shares"].(map[string]any)
	if agreed := fmt.Sprint(shares["place"]); kind != config.Bush || agreed == "yes" || agreed == "true" {
		return
	}
	for _, key := range degrees {
		switch given := values[key].(type) {
		case float64:
			values[key] = math.Round(10*given) / 10
		case string:
			if x, err := strconv.ParseFloat(given, 64); err == nil {
				values[key] = strconv.FormatFloat(math.Round(10*x)/10, 'f', 1, 64)
			}
		}
	}
}

// keepPlace puts a bush back where it was, where it is written as it was told: whoever sends
// back what they were shown has not moved it.
func keepPlace(values map[string]any, before *Kept) {
	told := before.Shown()
	for _, key := range degrees {
		if given, is := values[key]; is && fmt.Sprint(given) == fmt.Sprint(told[key]) {
			values[key] = before.Values[key]
		}
	}
}
