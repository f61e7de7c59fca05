package daemon

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/forecast"
)

// noService is a feed that never answers.
type noService struct{}

func (noService) Ask(context.Context, *forecast.Site, time.Time) (forecast.Inputs, error) {
	return forecast.Inputs{}, errors.New("no service answered and nothing is kept")
}

// A feed that is dead for a month is told once and then weekly, in one message, and only in
// season; the keeper hears of it an evening before the others. Nobody is told in summer.
func TestAMonthWithoutWeather(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	for _, c := range []struct {
		month                time.Month
		tapped               time.Time
		keeper, crew, viewer int
	}{
		{time.March, time.Time{}, 6, 5, 5},
		{time.July, time.Time{}, 0, 0, 0},
		{time.July, time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC), 0, 0, 0},
		{time.November, time.Time{}, 0, 0, 0},
		{time.January, time.Time{}, 0, 0, 0},
		{time.January, time.Date(2025, 12, 28, 8, 0, 0, 0, time.UTC), 6, 5, 5},
	} {
		box := &recorder{}
		s := evenSettings("")
		s.Channels, s.Asker = map[string]channel.Channel{"text": box}, noService{}
		s.People[1].Role, s.People[2].Role = "crew", "viewer"
		s.Sites[0].Groups[0].Tapped = c.tapped
		begin := time.Date(2026, c.month, 1, 12, 0, 0, 0, s.Sites[0].Zone)
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, begin)
		through(d, begin, begin.AddDate(0, 1, 0))
		got, first := map[string]int{}, map[string]time.Time{}
		for _, m := range box.got {
			if got[m.Person]++; got[m.Person] == 1 {
				first[m.Person] = m.MadeAt
			}
			if m.Person != "ann" && m.Says(alerts.StaleFeed) {
				t.Errorf("%s hears of the machine: %s", m.Person, m.Text)
			}
		}
		if got["ann"] != c.keeper || got["bob"] != c.crew || got["cy"] != c.viewer {
			t.Errorf("%s, tapped %s: %d to the keeper, %d to the crew, %d to the viewer, want %d, %d and %d", c.month,
				c.tapped.Format(time.DateOnly), got["ann"], got["bob"], got["cy"], c.keeper, c.crew, c.viewer)
		}
		if c.crew > 0 && first["bob"].Sub(first["ann"]) < 23*time.Hour {
			t.Errorf("%s: the keeper hears at %s, the crew at %s", c.month, first["ann"], first["bob"])
		}
	}
}
