package daemon

import (
	"strings"
	"testing"

	"thawline/forecast"
)

// "tapped" is of all groups where nobody has said yet this season that taps are in: whoever was
// told to write it has nothing else to say. Once some are known to be in, it is of the others.
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
	// "tapped" without a group is of all that are not in yet; the others stay as they are.
	if got := some.answers("tapped"); !strings.HasPrefix(got, "Noted") || !strings.Contains(got, "pails") || strings.Contains(got, "lane") {
		t.Errorf("some are in: %q", got)
	}
	// Once all are in, a group has to be named.
	if got := some.answers("tapped"); !strings.HasPrefix(got, "Which group?") {
		t.Errorf("all are in: %q", got)
	}
}

// Of "pails tapped" the plan takes that lane is not in yet: no round, nothing that hangs, and
// "where" says so, until somebody writes that it is, or writes down what was gathered there.
func TestSomeGroupsTapped(t *testing.T) {
	for _, how := range []string{"lane tapped", "tapped", "all tapped", "lane 20 L"} {
		w := writing(t, march, func(s *Settings) {
			s.Sites[0].Groups = append(s.Sites[0].Groups,
				forecast.Group{ID: "lane", Name: "lane", Taps: 20, Method: "tubing_gravity", TankL: 200})
		})
		if got := w.answers("pails tapped"); !strings.Contains(got, "pails") || strings.Contains(got, "lane") {
			t.Fatalf("%q", got)
		}
		o, err := w.d.look(t.Context(), &w.d.settings.Sites[0], w.at, false)
		if err != nil {
			t.Fatal(err)
		}
		if o.Work.Untapped || !o.Work.Group("lane").Untapped || o.Work.Group("pails").Untapped || o.Bush.TapsIn() != o.Bush.Taps-20 {
			t.Errorf("pails are in: %+v, %d of %d taps", o.Work.Groups, o.Bush.TapsIn(), o.Bush.Taps)
		}
		if got := w.answers("where"); !strings.Contains(got, "lane: not tapped yet") {
			t.Errorf("where: %q", got)
		}
		w.answers(how)
		if o, err = w.d.look(t.Context(), &w.d.settings.Sites[0], w.at, false); err != nil {
			t.Fatal(err)
		}
		if o.Work.Group("lane").Untapped || o.Bush.TapsIn() != o.Bush.Taps {
			t.Errorf("%s: %+v", how, o.Work.Groups)
		}
	}
}
