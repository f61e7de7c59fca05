package verify

import (
	"math"
	"strings"
	"testing"

	"thawline/testdata/beside"
)

// pairsFile reads archived US forecasts with what was observed, nine northern
// stations, 2021 (public-domain bulletins, data set speegled/weather_forecasts),
// where they lie beside the checkout.
func pairsFile(t *testing.T) []Pair {
	t.Helper()
	f := beside.Open(t, "data/low-high-forecasts-2021-dev.csv")
	pairs, err := ReadPairs(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return pairs
}

func TestThawSkillOnStationsHeldOut(t *testing.T) {
	pairs := pairsFile(t)
	r, err := BacktestThaw(pairs, pairs, true)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("n %d, base rate %.3f, skill %.4f, rule %.4f, ROC %.3f", r.N, r.BaseRate, r.BrierSkill, r.RuleBrierSkill, r.ROCArea)
	if r.BrierSkill < 0.55 || r.RuleBrierSkill > r.BrierSkill-0.15 {
		t.Errorf("skill %.4f, of the bare rule %.4f", r.BrierSkill, r.RuleBrierSkill)
	}
	off := 0
	for _, b := range r.Reliability {
		if math.Abs(b.Frequency-b.MeanProbability) > 2*b.StandardError {
			off++
		}
	}
	if off > 1 { // one bin in twenty strays that far by chance
		t.Errorf("%d bins stray by more than two standard errors: %+v", off, r.Reliability)
	}
}

func TestNothingObservedEntersTheProbability(t *testing.T) {
	pairs := pairsFile(t)
	m, err := FitThaw(pairs)
	if err != nil {
		t.Fatal(err)
	}
	for i := range pairs {
		p := pairs[i]
		if !p.forecasted {
			continue
		}
		before := m.Probability(&p)
		p.LowSeen, p.HighSeen, p.High24 = -40, 99, 99 // the 24 h high is issued after the night
		if after := m.Probability(&p); after != before || before < 0 || before > 1 || math.IsNaN(before) {
			t.Fatalf("%s %s: %.4f, then %.4f", p.Station, p.Night, before, after)
		}
	}
}

func TestBrokenPairs(t *testing.T) {
	header := strings.Join(pairColumns, ",")
	for _, c := range []struct{ body, want string }{
		{"station,night_of\nA,2021-03-01\n", "f.csv:1: no column low_forecast_12h_f"},
		{header + "\nA,March 1,1,1,1,1,1,1,1,1\n", "f.csv:2: night_of: March 1 is no date; write it like 2021-03-05"},
		{header + "\nA,2021-03-01,cold,1,1,1,1,1,1,1\n", "f.csv:2: low_forecast_12h_f: "},
		{header + "\nA,2021-03-01,271,1,1,1,1,1,1,1\n", "f.csv:2: low_forecast_12h_f: 271 °F is no temperature of any station; check the column and its unit"},
		{header + "\nA,2021-03-01,1,1,1,1,1,1,1,1\nA,2021-03-01,1,1,1,1,1,1,1,1\n", "f.csv:3: night_of: the same night of the same station as line 2; leave one of them out"},
	} {
		_, err := ReadPairs(strings.NewReader(c.body), "f.csv")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
	if _, err := FitThaw(nil); err == nil || !strings.Contains(err.Error(), "give a longer file") {
		t.Errorf("%v", err)
	}
}
