package verify

import (
	"math"
	"strings"
	"testing"

	"thawline/forecast/weather"
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
	r, err := BacktestThaw(pairs, pairs, ThawOptions{ByStation: true})
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
	m, err := FitThaw(pairs, 12)
	if err != nil {
		t.Fatal(err)
	}
	for i := range pairs {
		p := pairs[i]
		if !When(12).knows(&p) {
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
		{header + "\nA,2021-03-01,271,1,1,1,1,1,1,1\n",
			"f.csv:2: low_forecast_12h_f: 271 °F is no temperature of any station; check the column and its unit"},
		{header + "\nA,2021-03-01,1,1,1,1,1,1,1,1\nA,2021-03-01,1,1,1,1,1,1,1,1\n",
			"f.csv:3: night_of: the same night of the same station as line 2; leave one of them out"},
	} {
		_, err := ReadPairs(strings.NewReader(c.body), "f.csv")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
	if _, err := FitThaw(nil, 12); err == nil || !strings.Contains(err.Error(), "give a longer file") {
		t.Errorf("%v", err)
	}
}

// eveningPairs are the same stations with the bulletin of the evening (public-domain
// bulletins, data set speegled/weather_forecasts), where they lie beside the checkout.
func eveningPairs(t *testing.T) []Pair {
	t.Helper()
	f := beside.Open(t, "data/evening-forecasts-2021-dev.csv")
	pairs, err := ReadPairs(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return pairs
}

func TestEveningUsesAllThatWasKnown(t *testing.T) {
	pairs := eveningPairs(t)
	r, err := BacktestThaw(pairs, pairs, ThawOptions{ByStation: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("n %d, skill %.4f, rule %.4f, told ahead %+v", r.N, r.BrierSkill, r.RuleBrierSkill, r.Told)
	if r.N != 741 || r.BrierSkill < 0.555 { // a plain two-way regression: 0.553
		t.Errorf("%d nights, skill %.4f", r.N, r.BrierSkill)
	}
	if len(r.Told) != len(Whens) || r.Told[0].BrierSkill-r.Told[2].BrierSkill > 0.06 {
		t.Errorf("a day earlier costs too much: %+v", r.Told)
	}
	for i, l := range r.Told {
		if l.RuleBrierSkill >= l.BrierSkill || i > 0 && l.BrierSkill >= r.Told[i-1].BrierSkill {
			t.Errorf("%d h earlier: skill %.3f, bare thresholds %.3f", l.HoursEarlier, l.BrierSkill, l.RuleBrierSkill)
		}
	}
}

// What was not yet known at a time moves no chance of that time, and a night whose
// earlier forecasts are blank is foretold all the same.
func TestOnlyWhatWasKnownCounts(t *testing.T) {
	pairs := eveningPairs(t)
	for _, w := range Whens {
		m, err := FitThaw(pairs, w)
		if err != nil {
			t.Fatal(err)
		}
		for i := range pairs {
			p := pairs[i]
			if !w.knows(&p) || p.before == nil {
				continue
			}
			before := m.Probability(&p)
			later := *p.before
			p.before, p.LowSeen, p.HighSeen = &later, -40, 99
			if w >= 12 {
				p.LowEvening, p.High24, later.HighSeen = -40, 99, 99
			}
			if w >= 24 {
				p.Low12, p.High36 = -40, 99
			}
			if w >= 36 {
				p.Low24, p.High48, later.LowSeen, later.LowEvening, later.High24 = -40, 99, -40, -40, 99
			}
			if after := m.Probability(&p); after != before {
				t.Fatalf("%d h before %s %s: %.4f, then %.4f", w, p.Station, p.Night, before, after)
			}
			if w == 0 {
				p.Low12, p.Low24, p.Low36, p.High36, p.High48, p.before = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN(), nil
				if c := m.Probability(&p); !(c >= 0 && c <= 1) {
					t.Fatalf("%s %s with the evening's two alone: %v", p.Station, p.Night, c)
				}
			}
		}
	}
}

// The members that the evening text is made from carry the same model; drawn one by
// one they would lose 0.01 to chance.
func TestAsSentIsTheModelThatIsTested(t *testing.T) {
	pairs := eveningPairs(t)
	r, err := BacktestThaw(pairs, pairs, ThawOptions{ByStation: true, AsSent: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("skill as sent %.4f", r.BrierSkill)
	if r.BrierSkill < 0.553 {
		t.Errorf("skill as sent %.4f, of the model 0.558", r.BrierSkill)
	}
}

// The terms that texts are made with are what the archive teaches.
func TestUsualErrorsAreThoseOfTheArchive(t *testing.T) {
	pairs := eveningPairs(t)
	morning, err := FitThaw(pairs, 12)
	if err != nil {
		t.Fatal(err)
	}
	evening, err := FitThaw(pairs, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name         string
		fitted, used []float64
	}{{"low", morning.low, weather.UsualErrors.Low}, {"high", evening.high, weather.UsualErrors.High}} {
		for i := range c.fitted {
			if math.Abs(c.fitted[i]-c.used[i]) > 5e-4 {
				t.Errorf("%s: term %d is %.4f, fitted %.4f", c.name, i, c.used[i], c.fitted[i])
			}
		}
	}
}

// With the terms that texts are made with, what a service said before makes the
// chance better, and without it the evening's own forecasts still beat the rule.
func TestWhatWasToldBeforeHelps(t *testing.T) {
	sent := ThawModel{low: weather.UsualErrors.Low, high: weather.UsualErrors.High}
	cases := thawCases(eveningPairs(t), 0)
	climatology, happened := climatologyOf(cases, &Bush{})
	skill := func(forget bool) float64 {
		var chances []float64
		for i, p := range cases {
			night := *p
			if forget {
				nan := math.NaN()
				night.Low12, night.Low24, night.High36, night.High48, night.before = nan, nan, nan, nan, nil
			}
			c, err := sent.asSent(&night, [2]float64{}, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			chances = append(chances, c)
		}
		return BrierSkill(chances, climatology, happened)
	}
	with, without := skill(false), skill(true)
	t.Logf("skill with what was told before %.3f, without %.3f", with, without)
	if with < without+0.015 || without < 0.5 {
		t.Errorf("skill with what was told before %.3f, without %.3f", with, without)
	}
}
