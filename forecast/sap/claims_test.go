package sap

import "testing"

// Long warmth without frost runs dry after two days: what a frost has charged gives less
// than counts as a run (half a litre) on the third. An hour of thaw gives little.
func TestWarmthRunsDryAfterTwoDays(t *testing.T) {
	frost := night(1)[:12]
	days := func(vacuumKPa float64) (litres [7]float64) {
		s := State{heat: 10 * Usual.WakingHeat} // a tree that is awake
		out := make([]float64, 12+7*24)
		Usual.Run(&s, wood(append(append([]float64{}, frost...), make([]float64, 7*24)...), 6), vacuumKPa, out)
		for i, q := range out[12:] {
			litres[i/24] += q * 30 / 45 // a pail's season against a usual tap's
		}
		return litres
	}
	if d := days(0); d[0] < 2 || d[1] < 0.5 || d[2] > 0.5 {
		t.Errorf("litres a tap by warm day: %.2f", d)
	}
	if d := days(67.7); d[2] < 0.5 || d[6] > 0.5 { // vacuum draws on (common practice)
		t.Errorf("under vacuum: %.2f", d)
	}
	ice := append([]float64{}, frost...)
	for h := range 18 {
		ice = append(ice, map[bool]float64{true: 0.5, false: 1}[h == 6])
	}
	var s State
	out, sum := make([]float64, len(ice)), 0.0
	Usual.Run(&s, wood(ice, 0), 0, out)
	for _, q := range out {
		sum += q
	}
	if sum > 0.5 {
		t.Errorf("an hour of thaw gives %.2f L", sum)
	}
}
