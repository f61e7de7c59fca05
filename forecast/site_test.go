package forecast

import (
	"testing"

	"thawline/forecast/records"
)

// Tanks that tubing ends in belong to its groups by their taps; of the others those
// that are drawn count for a trip, and those that stand for the sugarhouse.
func TestTanksAreShared(t *testing.T) {
	s := Site{
		Groups: []Group{{ID: "a", Taps: 300, TankID: "big"}, {ID: "b", Taps: 100, TankID: "big"}, {ID: "c", Taps: 9, ContainerL: 7.5}},
		Tanks: []Tank{{"big", 600, StorageTank}, {"sled", 400, GatheringTank}, {"barrel", 200, GatheringTank},
			{"house", 1500, StorageTank}},
	}
	for range 2 { // nothing is added up twice
		s.ShareTanks()
		if a, b, c := s.Groups[0].TankL, s.Groups[1].TankL, s.Groups[2].TankL; a != 450 || b != 150 || c != 0 {
			t.Errorf("groups have %g, %g and %g L", a, b, c)
		}
		if s.Gathering.TankL != 600 || s.Boiling.StoreL != 1500 {
			t.Errorf("a trip carries %g L, the sugarhouse holds %g", s.Gathering.TankL, s.Boiling.StoreL)
		}
	}
}

// A tank that two groups share is what can be carried away from either.
func TestCapacity(t *testing.T) {
	s := Site{
		Groups: []Group{{ID: "a", Taps: 300, TankID: "big"}, {ID: "b", Taps: 100, TankID: "big"}, {ID: "c", Taps: 9, ContainerL: 7.5},
			{ID: "d", Taps: 7, TankL: 100}, {ID: "e", Taps: 5}},
		Tanks: []Tank{{"big", 600, StorageTank}, {"house", 1500, StorageTank}},
	}
	s.ShareTanks()
	for group, want := range map[string]records.Capacity{"a": {Taps: 300, VolumeL: 600}, "b": {Taps: 100, VolumeL: 600},
		"c": {Taps: 9, VolumeL: 67.5}, "d": {Taps: 7, VolumeL: 100}, "e": {Taps: 5}, "none": {}} {
		if got := s.Capacity(group); got != want {
			t.Errorf("%s holds %+v, want %+v", group, got, want)
		}
	}
}
