package inbound

import (
	"fmt"
	"strings"
	"testing"

	"thawline/forecast/units"
)

// Two groups and more go into one text, in either order and either language; where one
// part is not clear nothing of it is taken.
func TestSeveralGroupsInOneText(t *testing.T) {
	l, _ := spoken(t, Table)
	groups := []Group{{"north", "North slope"}, {"south", "South"}, {"haut", "Chaudières du haut"}}
	for _, c := range []struct{ text, want string }{
		{"North 120 South 80", "north 120 0 , south 80 0 "},
		{"120 north, 80 south", "north 120 0 , south 80 0 "},
		{"north slope 120 2.1 and south 80 L 2.2% full", "north 120 2.1 , south 80 2.2 full"},
		{"emptied north 120 south 80 thanks", "north 120 0 , south 80 0 "},
		{"ramassé North 120 L South 80 L", "north 120 0 , south 80 0 "},
		{"north 120 south 80, left some ice", "north 120 0 , south 80 0 ice"},
		{"boiled north 120 south 80", ""}, {"3 north 120 south 80", ""},
		{"nord", ""},
		{"south vide; chaudieres du haut 40 L et north 7,5 L", "south 0 0 , haut 40 0 , north 7.5 0 "},
		{"north 120", ""}, {"north 120 south", ""}, {"north 120 north 80", ""}, {"north 120 south soon", ""},
		{"120 north 80 south 3", ""}, {"north pulled south pulled", ""}, {"", ""},
	} {
		var said []string
		for _, u := range l.Several(c.text, groups, units.Metric) {
			said = append(said, fmt.Sprintf("%s %g %g %s", u.Group, u.VolumeL, u.BrixPct, u.Note))
		}
		if got := strings.Join(said, ", "); got != c.want {
			t.Errorf("%q: got %q, want %q", c.text, got, c.want)
		}
	}
}

// What is asked back of such a text is the word that is not clear, never the name of the next
// group.
func TestSeveralAskBackTheWord(t *testing.T) {
	l, _ := spoken(t, Table)
	groups := []Group{{"north", "North slope"}, {"south", "South"}}
	if u, is := l.Unclear("north 120 wobbly south 80", groups, units.Metric); !is || u.Word != "wobbly" || u.Group != "north" {
		t.Errorf("%v %+v", is, u)
	}
	for _, clear := range []string{"north 120 south 80", "north 120", "hello"} {
		if u, is := l.Unclear(clear, groups, units.Metric); is {
			t.Errorf("%q: %+v", clear, u)
		}
	}
}
