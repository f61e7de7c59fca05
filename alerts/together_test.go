package alerts

import (
	"fmt"
	"testing"
	"time"
)

// Groups gathered on one day keep until nearly the same hour, also over midnight, and one round serves them
// all: they are told of together. Other days, other hours, the sugarhouse and a group without any
// record are told of by themselves, and so is each alert that is no deadline of sap.
func TestTogether(t *testing.T) {
	zone := time.FixedZone("EDT", -4*3600)
	hour := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, zone) }
	keeps := func(group string, at time.Time, what string) Decision {
		return Decision{Kind: BoilBy, Site: "hill", Facts: Facts{GroupID: group, At: at, What: what}}
	}
	elsewhere := keeps("a", hour(24, 15), "")
	elsewhere.Site = "lake"
	over := keeps("b", hour(24, 15), "")
	over.Kind = Overflow
	for name, c := range map[string]struct {
		list []Decision
		want string
	}{
		"one day": {[]Decision{keeps("a", hour(24, 17), ""), keeps("b", hour(24, 15), ""), keeps("c", hour(24, 18), ""),
			keeps("d", hour(24, 15), ""), keeps("e", hour(24, 16), "")}, "[[1 3 4 0 2]]"},
		"over midnight":       {[]Decision{keeps("a", hour(24, 23), ""), keeps("b", hour(25, 1), "")}, "[[0 1]]"},
		"another day":         {[]Decision{keeps("a", hour(24, 15), ""), keeps("b", hour(25, 15), "")}, "[[0] [1]]"},
		"morning and evening": {[]Decision{keeps("a", hour(24, 9), ""), keeps("b", hour(24, 18), "")}, "[[0] [1]]"},
		"gone bad, whenever":  {[]Decision{keeps("a", hour(23, 9), goneBad), keeps("b", hour(24, 18), goneBad)}, "[[0 1]]"},
		"one bad, one good":   {[]Decision{keeps("a", hour(24, 15), goneBad), keeps("b", hour(24, 15), "")}, "[[0] [1]]"},
		"no record":           {[]Decision{keeps("a", hour(24, 15), firstRound), keeps("b", hour(24, 15), firstRound)}, "[[0] [1]]"},
		"the sugarhouse":      {[]Decision{keeps("a", hour(24, 15), ""), keeps("", hour(24, 15), inTank)}, "[[0] [1]]"},
		"the same group":      {[]Decision{keeps("a", hour(24, 15), ""), keeps("a", hour(24, 16), "")}, "[[0] [1]]"},
		"another bush":        {[]Decision{elsewhere, keeps("b", hour(24, 15), "")}, "[[0] [1]]"},
		"an overflow":         {[]Decision{keeps("a", hour(24, 15), ""), over}, "[[0] [1]]"},
		"nothing":             {nil, "[]"},
	} {
		if got := fmt.Sprint(Together(c.list)); got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
	}
}
