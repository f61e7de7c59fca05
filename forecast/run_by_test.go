package forecast

import "testing"

// The chance that sap runs by a day is that of the same draws: it begins with tomorrow, never falls,
// is at least the chance of the likeliest day since then and at most the sum of them all (bounds of
// a union: Boole, Fréchet, from memory). Weak weather, each of whose days is unlikely, may well bring a run
// between them.
func TestRunByADay(t *testing.T) {
	for name, c := range map[string]struct{ mean, swing float64 }{"frost and thaw": {1, 7}, "weak": {-4, 4}, "hard frost": {-14, 5}} {
		o := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(c.mean, c.swing, 14, 10), Now: march, Seed: 1})
		sum, most, before := 0.0, 0.0, 0.0
		for i := range o.Days {
			d := &o.Days[i]
			if i == 0 {
				if d.RunByProbability != 0 {
					t.Errorf("%s: of today %.3f", name, d.RunByProbability)
				}
				continue
			}
			sum, most = sum+d.RunProbability, max(most, d.RunProbability)
			if by := d.RunByProbability; by < before || by < most || by > min(sum, 1)+0.001*float64(i) {
				t.Errorf("%s, day %d: %.3f by then; the day before %.3f, the likeliest %.3f, all %.3f", name, i, by, before, most, sum)
			}
			before = d.RunByProbability
		}
		if name == "weak" && (most >= 0.5 || before < 1.2*most) {
			t.Errorf("%s: %.3f by the last day, %.3f on the likeliest", name, before, most)
		}
		t.Logf("%s: likeliest day %.3f, by the last %.3f", name, most, before)
	}
}
