package forecast

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/maple"
	"thawline/forecast/records"
	"thawline/forecast/volume"
)

// mixed are groups of which some run alike, whatever their size.
func mixed() []Group {
	tapped := march.Add(-9 * 24 * time.Hour)
	return []Group{
		{ID: "pails", Taps: 50, Method: volume.Pail, ContainerL: 7.5},
		{ID: "bags", Taps: 10, Method: volume.Bag, ContainerL: 12},
		{ID: "dated", Taps: 10, Method: volume.Bag, Tapped: tapped},
		{ID: "gravity", Taps: 90, Method: volume.TubingGravity, TankL: 900},
		{ID: "vacuum", Taps: 70, Method: volume.TubingVacuum, VacuumKPa: 60, TankL: 900},
		{ID: "strong", Taps: 70, Method: volume.TubingVacuum, VacuumKPa: 80, TankL: 900},
		{ID: "red", Taps: 20, Method: volume.Pail, Species: maple.Red},
		{ID: "dated too", Taps: 11, Method: volume.Pail, Tapped: tapped},
		{ID: "named", Taps: 20, Method: volume.Pail, Species: maple.Sugar},
		{ID: "again", Taps: 20, Method: volume.Pail, Tapped: tapped, Before: []Span{{tapped.AddDate(0, 0, -9), tapped.AddDate(0, 0, -5)}}},
		{ID: "pulled", Taps: 20, Method: volume.Pail, Tapped: tapped, Pulled: march.Add(-24 * time.Hour)},
	}
}

// Groups are alike whose taps run alike, and no others.
func TestAlikeGroups(t *testing.T) {
	want := []int{0, 0, 2, 3, 4, 5, 6, 2, 0, 9, 10}
	if got := alikeOf(mixed()); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// A group among others runs as it does alone, whichever it shares its stems and holes with.
func TestGroupsRunAsAlone(t *testing.T) {
	of := func(groups []Group) *Prospect {
		site := bush(t)
		site.Groups = groups
		p, err := Foresee(Inputs{Site: site, Bulletin: waves(1, 7, 14, 16), Now: march, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	all := of(mixed())
	for g, group := range mixed() {
		alone := of([]Group{group})
		for what, pair := range map[string][2]any{
			"past":    {all.strands.flow[g].strands, alone.strands.flow[0].strands},
			"futures": {all.strands.flow[g].futures, alone.strands.flow[0].futures},
		} {
			if d := cmp.Diff(pair[1], pair[0]); d != "" {
				t.Errorf("the %s of %s is not as it is alone", what, group.ID)
			}
		}
	}
}

// manyGroups are some groups of one bush with a visit every day and a half.
func manyGroups(t testing.TB, groups, visits int) Inputs {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 60, 17), Now: march, Seed: 1}
	rng := rand.New(rand.NewPCG(1, 2))
	pails := in.Site.Groups[0]
	in.Site.Groups = nil
	for g := range groups {
		one := pails
		one.ID, one.Taps = fmt.Sprintf("g%d", g), 20+g
		in.Site.Groups = append(in.Site.Groups, one)
		for v := range visits {
			in.Visits = append(in.Visits, records.Visit{Group: one.ID, CollectedAt: march.Add(-time.Duration(visits-v) * 36 * time.Hour),
				VolumeL: float64(one.Taps) * (2 + 2*rng.Float64())})
		}
	}
	return in
}

// An outlook that remembers what visits taught is the same as one that learns it anew.
func TestMemoryChangesNoOutlook(t *testing.T) {
	in := manyGroups(t, 3, 20)
	want := mustMake(t, in)
	in.Memory = new(volume.Memory)
	for range 2 {
		if d := cmp.Diff(want, mustMake(t, in)); d != "" {
			t.Fatal(d)
		}
	}
}

// One outlook of many groups, before any visit and with thirty of each, learnt anew or
// remembered.
func BenchmarkMakeOfGroups(b *testing.B) {
	for _, groups := range []int{1, 25, 50, 100} {
		for _, c := range []struct {
			name   string
			visits int
			memory *volume.Memory
		}{{"none", 0, nil}, {"anew", 30, nil}, {"remembered", 30, new(volume.Memory)}} {
			in := manyGroups(b, groups, c.visits)
			in.Memory = c.memory
			if _, err := Make(in); err != nil {
				b.Fatal(err)
			}
			b.Run(fmt.Sprintf("groups=%d/visits=%s", groups, c.name), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := Make(in); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
