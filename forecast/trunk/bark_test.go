package trunk

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// conditions are two days of one weather at 44° N.
func conditions(t *testing.T, cloudPct, sunWM2 float64) (weather.Series, []weather.Sun) {
	t.Helper()
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	s := weather.NewSeries(time.Date(2026, 3, 20, 5, 0, 0, 0, time.UTC), 48)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i], s.Col(weather.DewPointC)[i] = -2, -6
		s.Col(weather.CloudCoverPct)[i], s.Col(weather.WindSpeedMS)[i] = cloudPct, 1
		s.Col(weather.ShortwaveWM2)[i] = sunWM2
	}
	return s, weather.Suns(&s, place)
}

func barksOf(t *testing.T, e Exposure, cloudPct, sunWM2 float64) (stem, branch []Bark) {
	t.Helper()
	s, suns := conditions(t, cloudPct, sunWM2)
	stem, branch = make([]Bark, s.Hours()), make([]Bark, s.Hours())
	Barks(stem, branch, e, &s, 0, e.beams(suns), newConvection(0.3), newConvection(0.024))
	return stem, branch
}

// Under a clear night sky wood is colder than the air, less so under cloud: the
// cause of ground frost (common practice).
func TestClearNightsCool(t *testing.T) {
	clear, branch := barksOf(t, Exposed(Open, math.NaN()), 0, 0)
	overcast, _ := barksOf(t, Exposed(Open, math.NaN()), 100, 0)
	if c, o := clear[0].SolAirC, overcast[0].SolAirC; c > -2.5 || c < -9 || o < c+0.5 || o > -2 || branch[0].SolAirC > -2.5 {
		t.Errorf("air of -2 °C feels like %.1f °C under a clear sky, %.1f under an overcast one", c, o)
	}
}

// The south side of a stem gets the most sun at noon, the north side the least, and
// the whole stem something between (common practice); sun warms, and more of it
// under an open canopy.
func TestSidesOfAStem(t *testing.T) {
	noon := 12 // 17 UTC
	at := func(canopy Canopy, faces, sun float64) float64 {
		stem, _ := barksOf(t, Exposed(canopy, faces), 20, sun)
		return stem[noon].SolAirC
	}
	south, whole, north, dark := at(Open, 180, 500), at(Open, math.NaN(), 500), at(Open, 0, 500), at(Open, 180, 0)
	if !(south > whole+0.5 && whole > north+0.5 && north > dark) {
		t.Errorf("south %.1f, whole %.1f, north %.1f, without sun %.1f °C", south, whole, north, dark)
	}
	if closed := at(Closed, 180, 500); closed > south-1 {
		t.Errorf("under a closed canopy %.1f °C, in the open %.1f", closed, south)
	}
}

// Several weathers side by side are what each is alone, from a state that frost has
// left behind.
func TestMembersAreRunAsAlone(t *testing.T) {
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	cold, suns := conditions(t, 30, 0)
	control := cold.Slice(0, 48)
	for i := range control.Hours() {
		control.Col(weather.TemperatureC)[i] = 3 * math.Sin(float64(i)/5)
		control.Col(weather.ShortwaveWM2)[i] = max(0, 300*math.Sin(float64(i-10)/4))
	}
	members := weather.ErrorMembers(&control, place, control.Start(), 11, 3)
	tree := NewTree(0.3, Exposed(Thinned, 180), place)
	out := make([][]Hour, len(members))
	alone, abreast := make([]State, len(members)), make([]State, len(members))
	for m := range out {
		out[m] = make([]Hour, 48)
		alone[m] = tree.Rest(float64(m) - 4)
		tree.Run(&alone[m], &cold, suns, make([]Hour, 48))
		abreast[m] = alone[m].Clone()
	}
	tree.RunMembers(abreast, members, suns, out)
	for m := range members {
		want := make([]Hour, 48)
		tree.Run(&alone[m], &members[m], suns, want)
		if !slices.Equal(alone[m].stem, abreast[m].stem) || alone[m].branch != abreast[m].branch {
			t.Errorf("member %d ends elsewhere beside others", m)
		}
		for i := range want {
			if out[m][i] != want[i] {
				t.Fatalf("member %d, hour %d: %+v beside others, %+v alone", m, i, out[m][i], want[i])
			}
		}
	}
}

// An hour of which the air is not known lets no heat through, and neither panics nor
// spoils the hours after it.
func TestUnknownAirLeavesWoodAlone(t *testing.T) {
	s, suns := conditions(t, 50, 0)
	for _, column := range []weather.Variable{weather.TemperatureC, weather.WindSpeedMS, weather.CloudCoverPct} {
		holed := s.Slice(0, s.Hours())
		holed.Col(column)[20] = math.NaN()
		tree := NewTree(0.3, Exposed(Closed, math.NaN()), weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300})
		state := tree.Rest(3)
		hours := make([]Hour, holed.Hours())
		tree.Run(&state, &holed, suns, hours)
		if math.Abs(hours[20].StemIce-hours[19].StemIce) > 0.01 || hours[20].BranchIce != hours[19].BranchIce {
			t.Errorf("the wood went from %+v to %+v", hours[19], hours[20])
		}
		if h := hours[47]; math.IsNaN(h.StemIce+h.BranchIce+h.WoodC) || h.BranchIce == 0 {
			t.Errorf("in the end the wood is %+v", h)
		}
	}
}
