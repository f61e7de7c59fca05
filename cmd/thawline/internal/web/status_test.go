package web

import (
	"slices"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/daemon"
	"thawline/forecast"
	"thawline/forecast/units"
)

// twoBushes knows of two bushes of one name, and nothing else.
type twoBushes struct{ Outlooks }

func (twoBushes) Sites() []forecast.Site {
	return []forecast.Site{{ID: "a", Name: "Otter Creek", Zone: time.UTC}, {ID: "b", Name: "Otter Creek", Zone: time.UTC}}
}

// What went wrong in a bush is one line, however many jobs the same outage stopped: of an association's
// fifty it was two hundred.
func TestStatusOneLineABush(t *testing.T) {
	for language, want := range map[string][]string{
		"en": {"Otter Creek, went wrong the last time: Fetch weather, Morning check.", "Otter Creek, went wrong the last time: Fetch weather."},
		"fr": {"Otter Creek, échec la dernière fois : Aller chercher la météo, Coup d'œil du matin.", "Otter Creek, échec la dernière fois : Aller chercher la météo."},
	} {
		p, v, b := &Pages{Outlooks: twoBushes{}}, speaking(t, language, units.Metric), &statusBody{}
		p.statusJobs(v, b, []daemon.Standing{{Site: "a", Job: "refresh", Fault: "no answer"}, {Site: "b", Job: "refresh", Fault: "no answer"},
			{Site: "a", Job: "morning", Fault: "no answer"}, {Site: "b", Job: "morning"}}, map[string]string{"a": "Otter Creek", "b": "Otter Creek"})
		if !slices.Equal(b.Fix, want) {
			t.Errorf("got  %q\nwant %q", b.Fix, want)
		}
	}
}
