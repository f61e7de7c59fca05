package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// A run that began before it is told of is told without the hour at which it began: "from
// midnight" says nothing at half past eight in the morning.
func TestRunThatHasBegun(t *testing.T) {
	now := time.Date(2026, 3, 20, 8, 30, 0, 0, time.UTC)
	o := &forecast.Outlook{Site: "hill", IssuedAt: now}
	o.Bush.Name = "Hill"
	for _, what := range []string{"earlier", "seen", "after_all"} {
		for hour, hourless := range map[int]bool{0: true, 8: true, 11: false} {
			d := alerts.Decision{Kind: alerts.Change, Facts: alerts.Facts{What: what, Date: "2026-03-20", VolumeL: 100,
				Window: time.Date(2026, 3, 20, hour, 0, 0, 0, time.UTC)}}
			for language, says := range map[string]string{"en": "from", "fr": "dès"} {
				text := strings.ReplaceAll(words(t, language, units.Metric).Alert(&d, o), "dès maintenant", "maintenant")
				if strings.Contains(text, says+" ") == hourless || strings.Contains(text, "alert_") {
					t.Errorf("%s, %s at %d: %s", language, what, hour, text)
				}
			}
		}
	}
}

// A low that a rule forgot is no 0 degrees: the text shows that it lacks something, which tests of
// whole seasons look for.
func TestForgottenLowIsNoZero(t *testing.T) {
	o := &forecast.Outlook{Site: "hill", IssuedAt: time.Date(2026, 3, 20, 18, 0, 0, 0, time.UTC)}
	d := alerts.Decision{Kind: alerts.HardFreeze, Facts: alerts.Facts{Group: "pails", VolumeL: 100, Date: "2026-03-21"}}
	for language, zero := range map[string]string{"en": "32", "fr": "0 C"} {
		system := map[string]units.System{"en": units.US, "fr": units.Metric}[language]
		if text := words(t, language, system).Alert(&d, o); strings.Contains(text, " "+zero) {
			t.Errorf("%s: %s", language, text)
		}
	}
	low := 0.0
	d.Facts.LowC = &low
	if text := words(t, "en", units.US).Alert(&d, o); !strings.Contains(text, "32 F") {
		t.Error(text)
	}
}

// A danger that ends at midnight ends on its evening: "tomorrow midnight" is a day later.
func TestDangerUntilMidnight(t *testing.T) {
	o := worked(0.1)
	o.IssuedAt = time.Date(2026, 3, 20, 18, 30, 0, 0, time.UTC)
	o.Work.Until = o.IssuedAt.Add(24 * time.Hour)
	from := time.Date(2026, 3, 20, 23, 0, 0, 0, time.UTC)
	o.Work.Groups = []forecast.GroupWork{{Group: "pails", Decision: forecast.Leave, HeldL: forecast.Range{P10: 90, P50: 100, P90: 110}}}
	o.Work.Dangers = []forecast.Danger{{What: forecast.DangerFreezingRain, From: from, To: from.Add(time.Hour)}}
	if text := words(t, "en", units.US).Evening(&o); !strings.Contains(text, "to midnight") || strings.Contains(text, "tomorrow midnight") {
		t.Error(text)
	}
	if text := words(t, "fr", units.US).Evening(&o); strings.Contains(text, "demain à minuit") || strings.Contains(text, "dès aujourd'hui") {
		t.Error(text)
	}
	o.Work.Dangers[0].From, o.Work.Dangers[0].To = from.Add(time.Hour), from.Add(6*time.Hour) // and so does one that begins then
	for language, want := range map[string]string{"en": "from today midnight to 5 am", "fr": "aujourd'hui à minuit, jusqu'à 5 h"} {
		if text := words(t, language, units.US).Evening(&o); !strings.Contains(text, want) {
			t.Errorf("got %q, want %q in it", text, want)
		}
	}
}

// What most likely is next to nothing, and may be a whole tank, is told by what there may be: "Gather
// Lane tubing: 1 gallon (0 to 230)" made nobody bring a barrel.
func TestGatherNextToNothingOrATank(t *testing.T) {
	for p50, want := range map[float64]string{4: "up to 230 gallons", 400: "110 gallons (0 to 230)"} {
		o := worked(0.1)
		at := o.IssuedAt.Add(14 * time.Hour)
		litres := forecast.Range{P50: p50, P90: 870}
		o.Work.Until = o.IssuedAt.Add(24 * time.Hour)
		o.Work.Groups = []forecast.GroupWork{{Group: "pails", Decision: forecast.Gather, GoAt: &at, VolumeL: &litres}}
		o.Work.Rounds = []forecast.CrewRound{{Start: at, End: at.Add(time.Hour), Groups: []forecast.RoundGroup{{Group: "pails", VolumeL: p50, HighL: 870}}}}
		if text := words(t, "en", units.US).Evening(&o); !strings.Contains(text, want) {
			t.Errorf("got %q, want %q in it", text, want)
		}
	}
}
