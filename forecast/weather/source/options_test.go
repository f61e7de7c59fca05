package source

import (
	"strings"
	"testing"
)

// A service that lacks a part of its row would be asked without bounds, under another's
// name, or never for its warnings.
func TestEveryServiceIsWhole(t *testing.T) {
	c := newTestClient(t, nil)
	var given Services
	bounds := (&Services{}).Bounds()
	seen := map[string]bool{}
	for _, s := range All() {
		t.Run(s.Name(), func(t *testing.T) {
			if seen[s.Name()] {
				t.Error("two rows have this name")
			}
			seen[s.Name()] = true
			f, known := given.Forecaster(s.Name(), c)
			if !known || f.Name() != s.Name() {
				t.Fatalf("the adapter is %v, known %v", f, known)
			}
			if b := bounds[s.Name()]; b.PerSecond <= 0 {
				t.Errorf("no usual bound: %+v", b)
			}
			if _, warner := f.(Warner); warner != Warns(s.Name()) {
				t.Errorf("the adapter gives official warnings: %v, the row names zones: %v", warner, Warns(s.Name()))
			}
			if !strings.HasPrefix(s.Example, "https://") {
				t.Errorf("the address shown as an example is %q", s.Example)
			}
			*s.BaseURL(&given), *s.Bound(&given) = s.Name(), Bound{PerDay: 7}
			for _, other := range All() {
				if here := other.Name() == s.Name(); (*other.BaseURL(&given) == s.Name()) != here || !here && !seen[other.Name()] &&
					other.Bound(&given).PerDay != 0 {
					t.Errorf("the settings are those of %s", other.Name())
				}
			}
			for _, o := range s.Options {
				if o.Key == "" || o.Example == "" || (o.Text == nil) == (o.Secret == nil) || o.Address && o.Text == nil {
					t.Errorf("the option %q lacks its key, its example, or is not one of text and secret", o.Key)
				}
			}
		})
	}
	if f, known := given.Forecaster("nvs", c); known || f != nil {
		t.Error("an adapter for no service")
	}
	if len(DefaultNames()) == 0 {
		t.Error("no service is asked by default")
	}
}

// What the operator says of a bound replaces that part of the usual alone.
func TestBoundsAreTheUsualButForWhatIsGiven(t *testing.T) {
	s := Services{OpenMeteo: OpenMeteoOptions{Bound: Bound{PerSecond: 2}}, NWS: NWSOptions{Bound: Bound{PerDay: 70}}}
	want := (&Services{}).Bounds()
	want[OpenMeteoName] = Bound{2, want[OpenMeteoName].PerDay}
	want[NWSName] = Bound{want[NWSName].PerSecond, 70}
	got := s.Bounds()
	for _, name := range Names() {
		if got[name] != want[name] {
			t.Errorf("%s: %+v, want %+v", name, got[name], want[name])
		}
	}
}
