package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/cmd/thawline/internal/access"
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
	if got := c.Alerts; got != want {
		t.Errorf("%+v\nwant %+v", got, want)
	}
}

// Taps of groups at one tank are their shares of it.
func TestSharesOfATankAreByTaps(t *testing.T) {
	tanks := gaugedTanks(&forecast.Site{ID: "hill", Tanks: []forecast.Tank{{ID: "big", VolumeL: 600}}, Groups: []forecast.Group{{ID: "a", Taps: 300, TankID: "big"}, {ID: "b", Taps: 100, TankID: "big"}, {ID: "c", Taps: 9}}})
	if len(tanks) != 1 || len(tanks[0].Groups) != 2 || tanks[0].Groups[0].Part != 0.75 || tanks[0].Groups[1].Part != 0.25 {
		t.Errorf("%+v", tanks)
	}
}

// Figures are for tokens with their scope, and for no other from elsewhere.
func TestFiguresForTokens(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	for _, c := range []struct {
		scope access.Scope
		want  int
	}{{access.ReadMetrics, 200}, {access.ReadOutlook, 401}} {
		token, err := p.h.gate.MakeToken(t.Context(), access.Token{Name: "x", Scopes: []access.Scope{c.scope}, Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		p.must(c.want, "GET", "/metrics", nil, "Authorization", "Bearer "+token)
	}
}

// Exit codes, as scripts see them.
func TestExitCodes(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "thawline")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	for code, args := range map[int]string{0: "boil --sap 400L", 1: "db restore /none --config /none.yaml", 2: "forecast --tap 5"} {
		cmd := exec.CommandContext(t.Context(), binary, strings.Fields(args)...)
		_ = cmd.Run()
		if got := cmd.ProcessState.ExitCode(); got != code {
			t.Errorf("thawline %s ends with %d, not %d", args, got, code)
		}
	}
}
