package forecast

import (
	"fmt"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// stormsOver are storms of a season, of one to two and a half days, every fifth day, each
// warned of six hours to a day and a half before, by day and by night. Every third is called off when it is half over, every fourth is only moderate.
func stormsOver(from, to time.Time) (storms []issued) {
	for k, at := 0, from.Add(30*time.Hour); at.Before(to); k, at = k+1, at.Add(5*24*time.Hour+7*time.Hour) {
		w := storm(weather.Severe, at, at.Add(time.Duration(24+12*(k%4))*time.Hour))
		w.ID = fmt.Sprint("storm-", k)
		one := issued{warning: w, at: at.Add(-time.Duration(6+10*(k%4)) * time.Hour)}
		if k%3 == 2 {
			one.off = at.Add(w.To.Sub(at) / 2)
		}
		if k%4 == 3 {
			one.warning.Severity = weather.Moderate
		}
		storms = append(storms, one)
	}
	return storms
}

type issued struct {
	warning weather.Warning
	at, off time.Time // off is zero where it is never called off
}

// watchAt is what is warned of at a moment.
func watchAt(storms []issued, now time.Time) Watch {
	w := known()
	w.KnownAt = now
	for _, s := range storms {
		if !s.at.After(now) && (s.off.IsZero() || s.off.After(now)) {
			w.List = append(w.List, s.warning)
		}
	}
	return w
}

// Seasons with storms that are warned of: no round lies in a severe one, and what that
// costs is printed. A moderate one, and one that was called off, keep nobody at home.
func TestSeasonsWithStorms(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	all := replays(t)
	for _, w := range all[:min(3, len(all))] {
		calm := *w
		calm.play(t)
		w.storms = stormsOver(w.from, w.to)
		w.play(t)
		severe := 0
		for _, s := range w.storms {
			if s.warning.Severe() {
				severe++
			}
		}
		t.Logf("%-26s %d storms, %d severe: %d visits and %.0f L lost, without storms %d visits and %.0f L; storms cost %.0f L, %.0f L if nobody goes at all",
			w.name, len(w.storms), severe, w.gathers, w.lossL, calm.gathers, calm.lossL, w.lossL-calm.lossL, w.without)
		if w.inStorm > 0 {
			t.Errorf("%s: %d rounds planned in a severe storm", w.name, w.inStorm)
		}
		if w.gathers == 0 || w.lossL > 0.7*w.without {
			t.Errorf("%s: %d visits, lost %.0f L of %.0f", w.name, w.gathers, w.lossL, w.without)
		}
	}
}
