package source

import "testing"

// Each service that settings may name has an adapter of that name.
func TestEveryNameHasItsAdapter(t *testing.T) {
	c := newTestClient(t, nil)
	var s Services
	for _, name := range Names() {
		if f, known := s.Forecaster(name, c); !known || f.Name() != name {
			t.Errorf("%s: %v %v", name, f, known)
		}
	}
	if f, known := s.Forecaster("nvs", c); known || f != nil {
		t.Error("an adapter for no service")
	}
}

// What the operator says of a bound replaces that part of the usual alone.
func TestBoundsAreTheUsualButForWhatIsGiven(t *testing.T) {
	s := Services{OpenMeteo: OpenMeteoOptions{Bound: Bound{PerSecond: 2}}, NWS: NWSOptions{Bound: Bound{PerDay: 70}}}
	want := usualBounds(false)
	want[OpenMeteoName] = Bound{2, want[OpenMeteoName].PerDay}
	want[NWSName] = Bound{want[NWSName].PerSecond, 70}
	got := s.Bounds()
	for _, name := range Names() {
		if got[name] != want[name] {
			t.Errorf("%s: %+v, want %+v", name, got[name], want[name])
		}
	}
}
