package verify

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// A keeper who always carries in about as much is foretold by that habit, and the rank of
// the flow does not depend on what visits taught.
func TestHabitAndFlowAreToldApart(t *testing.T) {
	w := forestHours(t)
	o := hillOptions(t)
	visits := tapLog(t, 2014)
	plain, err := BacktestSap(context.Background(), &w, visits, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	taught, err := BacktestSap(context.Background(), &w, visits, []Season{{Visits: tapLog(t, 2013)}}, o)
	if err != nil {
		t.Fatal(err)
	}
	if plain.FlowSpearman != taught.FlowSpearman || plain.FlowSpearman < 0.7 {
		t.Errorf("rank of the flow %.3f, and %.3f once taught", plain.FlowSpearman, taught.FlowSpearman)
	}
	if plain.HabitSkill > plain.CRPSSkill-0.2 {
		t.Errorf("habit alone %.2f, the model %.2f", plain.HabitSkill, plain.CRPSSkill)
	}
	even := evenVisits(visits, func(i int) float64 { return 150 * math.Exp(0.35*float64(i*7%5-2)) })
	r, err := BacktestSap(context.Background(), &w, even, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	if r.HabitSkill < -0.4 || r.CRPSSkill < r.HabitSkill-0.1 { // the model learns the habit too
		t.Errorf("about the same fill each time: habit %.2f, model %.2f", r.HabitSkill, r.CRPSSkill)
	}
}

// evenVisits are visits at the same times with other volumes.
func evenVisits(visits []records.Visit, volume func(i int) float64) []records.Visit {
	var out []records.Visit
	for i, v := range visits {
		if v.Collected() {
			v.VolumeL, v.Note = volume(i), ""
		}
		out = append(out, v)
	}
	return out
}

// Volumes that are all the same have no rank and no skill, and are written all the same.
func TestEqualVolumesAreWritten(t *testing.T) {
	w := forestHours(t)
	r, err := BacktestSap(context.Background(), &w, evenVisits(tapLog(t, 2014), func(int) float64 { return 80 }), nil, hillOptions(t))
	if err != nil {
		t.Fatal(err)
	}
	out, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"crps_skill", "habit_crps_skill", "spearman", "flow_spearman"} {
		if !strings.Contains(string(out), `"`+key+`":null`) {
			t.Errorf("%s is not null", key)
		}
	}
	if strings.Contains(string(out), `"crps_l":null`) || strings.Count(string(out), `"spearman":`) != 1 {
		t.Error("other figures went with them, or one is there twice")
	}
}

// Training seasons are of the same bush: what makes it warmer does so for them.
func TestTrainingKeepsWarmer(t *testing.T) {
	w := forestHours(t)
	o := hillOptions(t)
	colder := w.Slice(0, w.Hours())
	for i, c := range colder.Col(weather.TemperatureC) {
		colder.Col(weather.TemperatureC)[i] = c - 2
	}
	visits := tapLog(t, 2014)[:12]
	var crps [2]float64
	for i, one := range []struct {
		w      *weather.Series
		warmer float64
	}{{&w, 0.5}, {&colder, 2.5}} {
		o.WarmerK = one.warmer
		r, err := BacktestSap(context.Background(), one.w, visits, []Season{{Weather: one.w, Visits: tapLog(t, 2013)}}, o)
		if err != nil {
			t.Fatal(err)
		}
		crps[i] = r.CRPSL
	}
	if math.Abs(crps[0]-crps[1]) > 0.5 {
		t.Errorf("CRPS %.2f L, and %.2f where the weather is 2 K colder and the bush as much warmer", crps[0], crps[1])
	}
	if _, err := BacktestSap(context.Background(), &w, tapLog(t, 2013), []Season{{Weather: &w, Visits: visits}}, o); err == nil ||
		!strings.Contains(err.Error(), "is not earlier than the first one to foretell, of 2013-02-22") {
		t.Errorf("a later season taught: %v", err)
	}
}
