package app

import (
	"testing"
	"time"

	"thawline/alerts"
	"thawline/config"
	"thawline/forecast"
)

// Bounds of the settings are those of the rules.
func TestBoundsOfTheSettingsAreTaken(t *testing.T) {
	file := written(t, "c.yaml", "sites: [{id: hill, latitude: 44.2, longitude: -72.8, elevation: 400 m, zone: America/New_York, groups: [{id: south, taps: 50, collected_by: pail, container: 8 L}]}]\nalerts: {run_chance: 60 %, overflow_chance: 40 %, hard_freeze: -12 °C, learners_score: 90, stale_after: 12h}\n")
	c, err := config.Load(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := alerts.Usual
	want.RunProbability, want.OverflowProbability, want.FreezeC, want.TeachingScore, want.StaleAfter = 0.6, 0.4, -12, 90, 12*time.Hour
	want.RunChosen, want.OverflowChosen = true, true // answers do not move them
	if got := c.Alerts; got != want {
		t.Errorf("%+v\nwant %+v", got, want)
	}
}

// Taps of groups at one tank are their shares of it.
func TestSharesOfATankAreByTaps(t *testing.T) {
	tanks := gaugedTanks(&forecast.Site{ID: "hill", Tanks: []forecast.Tank{{ID: "big", VolumeL: 600}},
		Groups: []forecast.Group{{ID: "a", Taps: 300, TankID: "big"}, {ID: "b", Taps: 100, TankID: "big"}, {ID: "c", Taps: 9}}})
	if len(tanks) != 1 || len(tanks[0].Groups) != 2 || tanks[0].Groups[0].Part != 0.75 || tanks[0].Groups[1].Part != 0.25 {
		t.Errorf("%+v", tanks)
	}
}
