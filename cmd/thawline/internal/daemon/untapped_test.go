package daemon

import (
	"strings"
	"testing"

	"thawline/forecast"
)

// "tapped" is of all groups where nobody has said yet this season that taps are in: whoever was
// told to write it has nothing else to say. Once some are known to be in, a group has to be named.
func TestTheFirstTappedIsOfAllGroups(t *testing.T) {
	w := writing(t, march, func(s *Settings) {
		s.Sites[0].Groups = append(s.Sites[0].Groups, forecast.Group{ID: "lane", Name: "lane", Taps: 20, Method: "tubing_gravity", TankL: 200})
	})
	if got := w.answers("tapped"); !strings.Contains(got, "lane") || !strings.Contains(got, "pails") || !strings.HasPrefix(got, "Noted, tapped") {
		t.Errorf("the first word of it: %q", got)
	}
	some := writing(t, march, func(s *Settings) {
		s.Sites[0].Groups = append(s.Sites[0].Groups, forecast.Group{ID: "lane", Name: "lane", Taps: 20, Method: "tubing_gravity", TankL: 200,
			Tapped: march.AddDate(0, 0, -5)})
	})
	if got := some.answers("tapped"); !strings.HasPrefix(got, "Which group?") {
		t.Errorf("some are in: %q", got)
	}
}
