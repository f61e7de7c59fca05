package records

import (
	"testing"
	"time"
)

// Two who carried the same load write it in litres and in whole gallons: it counts once. What
// differs by more, or came later, is another load.
func TestOneLoadInTwoUnits(t *testing.T) {
	const gallon = 3.785411784 // US, exact
	at := time.Date(2026, 4, 2, 17, 10, 0, 0, time.UTC)
	litres := Visit{Group: "lane", VolumeL: 91, CollectedAt: at}
	for name, c := range map[string]struct {
		v    Visit
		want bool
	}{
		"24 gallons, five minutes later": {Visit{Group: "lane", VolumeL: 24 * gallon, CollectedAt: at.Add(5 * time.Minute)}, true},
		"25 gallons":                     {Visit{Group: "lane", VolumeL: 25 * gallon, CollectedAt: at.Add(5 * time.Minute)}, false},
		"24 gallons, an hour later":      {Visit{Group: "lane", VolumeL: 24 * gallon, CollectedAt: at.Add(time.Hour)}, false},
		"nothing":                        {Visit{Group: "lane", CollectedAt: at}, false},
	} {
		if got := c.v.IsAgain(&litres); got != c.want {
			t.Errorf("%s: again %t, want %t", name, got, c.want)
		}
	}
}
