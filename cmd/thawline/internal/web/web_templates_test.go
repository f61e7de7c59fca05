package web

import "testing"

// Pages are parsed when they are first shown; every one of them can be.
func TestEveryPageCanBeParsed(t *testing.T) {
	for name, p := range templates {
		if p().Lookup("frame.html") == nil {
			t.Errorf("%s has no frame", name)
		}
	}
}
